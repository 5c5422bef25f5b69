//! Reads `[page]`: address of the bench page, the host names that it answers to, and whether tablets connect.

use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use super::{PageConfig, TabletConfig};
use core::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Address if `listen` is left out.
const LISTEN: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 8354);

/// Address for tablets if `tablet_listen` is left out: every address of this machine.
const TABLET_LISTEN: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::UNSPECIFIED), 8355);

/// No machine has more names.
const MOST_HOSTS: usize = 32;

/// The settings; `None` without this section, which means that no page is served.
pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> Option<PageConfig> {
    let mut table = root.table(faults, "page", "[page]")?;
    let listen = table.text(faults, "listen");
    let listen = listen.and_then(|text| address("listen", "127.0.0.1:8354", text, faults));
    if let Some(listen) = &listen
        && !listen.value.ip().is_loopback()
    {
        faults.warn(&listen.place, open_to_the_network(listen.value));
    }
    let given = table.texts(faults, "hosts");
    let hosts = hosts(given, faults);
    let tablet = tablet(&mut table, faults);
    let edit = table.boolean(faults, "edit");
    table.finish(faults);
    Some(PageConfig {
        listen: listen.map_or(LISTEN, |listen| listen.value),
        hosts,
        tablet,
        edit: edit.is_some_and(|edit| edit.value),
    })
}

/// The settings of the page for tablets; `None` unless `tablet` is true, so that no port is opened.
fn tablet(table: &mut Table<'_>, faults: &mut Faults) -> Option<TabletConfig> {
    let wanted = table.boolean(faults, "tablet");
    let listen = table.text(faults, "tablet_listen");
    let listen = listen.and_then(|text| address("tablet_listen", "0.0.0.0:8355", text, faults));
    let is_wanted = wanted.is_some_and(|wanted| wanted.value);
    if let Some(listen) = &listen {
        let fault = if !is_wanted {
            Some(
                Fault::new(
                    "tablet_listen without tablet = true",
                    "want both, or neither",
                )
                .help("tablets connect only where tablet = true"),
            )
        } else if listen.value.ip().is_loopback() {
            Some(
                Fault::new(
                    format!("tablets are to connect to {}", listen.value),
                    "want an address that they can reach",
                )
                .help("leave tablet_listen out: then they connect to every address of this machine, port 8355"),
            )
        } else if is_public(listen.value.ip()) {
            Some(
                Fault::new(
                    format!(
                        "the page for tablets is open to the internet at {}",
                        listen.value
                    ),
                    "want an address of the shop's own network, such as 192.168.1.5",
                )
                .help("name that address, or have a firewall accept that network only"),
            )
        } else {
            None
        };
        if let Some(fault) = fault {
            faults.warn(&listen.place, fault);
        }
    }
    let listen = listen.map_or(TABLET_LISTEN, |listen| listen.value);
    is_wanted.then_some(TabletConfig { listen })
}

/// Whether the address can be reached from the whole internet.
pub fn is_public(ip: IpAddr) -> bool {
    match ip.to_canonical() {
        IpAddr::V4(ip) => {
            let [first, second, ..] = ip.octets();
            let is_shared = first == 100 && (64..128).contains(&second);
            !(ip.is_private()
                || ip.is_loopback()
                || ip.is_link_local()
                || ip.is_unspecified()
                || ip.is_documentation()
                || is_shared)
        }
        IpAddr::V6(ip) => {
            !(ip.is_loopback()
                || ip.is_unspecified()
                || ip.is_unique_local()
                || ip.is_unicast_link_local())
        }
    }
}

pub(super) fn address(
    key: &str,
    example: &str,
    text: At<String>,
    faults: &mut Faults,
) -> Option<At<SocketAddr>> {
    if let Ok(value) = text.value.parse() {
        let place = text.place;
        return Some(At { value, place });
    }
    let fault = Fault::new(
        format!("{key} is {}", quoted(&text.value)),
        format!("want an address with a port, such as {example:?}"),
    );
    let is_address = text.value.parse::<IpAddr>().is_ok();
    let help = if is_address {
        Some("add a port".to_owned())
    } else if text.value.starts_with("localhost") {
        Some("localhost is 127.0.0.1, or [::1]".to_owned())
    } else {
        None
    };
    faults.add(&text.place, fault.help_of(help));
    None
}

fn open_to_the_network(listen: SocketAddr) -> Fault {
    Fault::new(
        format!("the page is served to the network at {listen}"),
        "want 127.0.0.1 or [::1]: over the network everything, the token too, would go unencrypted",
    )
    .help(
        "serve it on 127.0.0.1 behind a reverse proxy with TLS, and put the name of the proxy into `hosts`",
    )
}

fn hosts(given: Vec<At<String>>, faults: &mut Faults) -> Vec<String> {
    if let Some(surplus) = given.get(MOST_HOSTS) {
        let got = format!("{} names in hosts", given.len());
        faults.add(
            &surplus.place,
            Fault::new(got, format!("want at most {MOST_HOSTS}")),
        );
    }
    let mut hosts = Vec::new();
    for host in given {
        if is_host(&host.value) {
            hosts.push(host.value.to_ascii_lowercase());
            continue;
        }
        let help = if host.value.contains("://") {
            "write the host alone, without scheme and path"
        } else if host.value.contains('*') {
            "name each host; a pattern is not allowed"
        } else {
            "a name has letters, digits, `-` and `.`"
        };
        let fault = Fault::new(
            format!("hosts names {}", quoted(&host.value)),
            "want a host name of the address, such as \"bench-1.shop.example\", with its port if that is not the default",
        );
        faults.add(&host.place, fault.help(help));
    }
    hosts
}

/// Whether the text is a host name or address, with or without a port.
pub(super) fn is_host(text: &str) -> bool {
    if text.parse::<SocketAddr>().is_ok() {
        return true;
    }
    let (name, port) = text.split_once(':').unwrap_or((text, "80"));
    let may_stand = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
    port.parse::<u16>().is_ok_and(|port| port > 0)
        && (1..=253).contains(&name.len())
        && name.chars().all(may_stand)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_of_a_home_or_shop_is_not_public() {
        for ip in [
            "10.1.2.3",
            "192.168.1.9",
            "172.16.0.1",
            "100.64.1.1",
            "fd00::1",
            "fe80::1",
            "127.0.0.1",
            "::",
        ] {
            assert!(!is_public(ip.parse().unwrap()), "{ip}");
        }
        for ip in [
            "8.8.8.8",
            "172.32.0.1",
            "100.128.0.1",
            "2600::1",
            "::ffff:8.8.8.8",
        ] {
            assert!(is_public(ip.parse().unwrap()), "{ip}");
        }
    }
}
