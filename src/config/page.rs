//! Reads `[page]`: address of the bench page, and the host names that it answers to.

use super::PageConfig;
use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use core::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Address if `listen` is left out.
const LISTEN: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 8354);

/// No machine has more names.
const MOST_HOSTS: usize = 32;

/// The settings; `None` without this section, which means that no page is served.
pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> Option<PageConfig> {
    let mut table = root.table(faults, "page", "[page]")?;
    let listen = table.text(faults, "listen");
    let listen = listen.and_then(|text| address(text, faults));
    if let Some(listen) = &listen
        && !listen.value.ip().is_loopback()
    {
        faults.warn(&listen.place, open_to_the_network(listen.value));
    }
    let given = table.texts(faults, "hosts");
    let hosts = hosts(given, faults);
    table.finish(faults);
    Some(PageConfig {
        listen: listen.map_or(LISTEN, |listen| listen.value),
        hosts,
    })
}

fn address(text: At<String>, faults: &mut Faults) -> Option<At<SocketAddr>> {
    if let Ok(value) = text.value.parse() {
        let place = text.place;
        return Some(At { value, place });
    }
    let fault = Fault::new(
        format!("listen is {}", quoted(&text.value)),
        "want an address with a port, such as \"127.0.0.1:8354\"",
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
fn is_host(text: &str) -> bool {
    if text.parse::<SocketAddr>().is_ok() {
        return true;
    }
    let (name, port) = text.split_once(':').unwrap_or((text, "80"));
    let may_stand = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
    port.parse::<u16>().is_ok_and(|port| port > 0)
        && (1..=253).contains(&name.len())
        && name.chars().all(may_stand)
}
