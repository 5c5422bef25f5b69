//! Reads `[opcua]`: where the OPC UA server listens, and the name by which its clients reach this machine.

use super::OpcuaConfig;
use super::faults::{At, Fault, Faults, quoted};
use super::page::{address, is_host, is_public};
use super::table::Table;
use core::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Address if `listen` is left out; the port is the one that IANA has registered for OPC UA.
const LISTEN: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 4840);

/// The settings; `None` without this section.
pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> Option<OpcuaConfig> {
    let mut table = root.table(faults, "opcua", "[opcua]")?;
    let listen = table.text(faults, "listen");
    let listen = listen.and_then(|text| address("listen", "127.0.0.1:4840", text, faults));
    if let Some(listen) = &listen
        && is_public(listen.value.ip())
    {
        let got = format!("OPC UA is served to the internet at {}", listen.value);
        let fault = Fault::new(
            got,
            "want an address of the shop's own network, such as 192.168.1.5:4840",
        );
        let fault = fault
            .help("name that address, or let a firewall accept connections of that network only");
        faults.warn(&listen.place, fault);
    }
    let host = table.text(faults, "host");
    let host = host.and_then(|text| host_alone(text, faults));
    table.finish(faults);
    Some(OpcuaConfig {
        listen: listen.map_or(LISTEN, |listen| listen.value),
        host,
    })
}

fn host_alone(text: At<String>, faults: &mut Faults) -> Option<String> {
    if is_host(&text.value) && !text.value.contains(':') {
        return Some(text.value);
    }
    let fault = Fault::new(
        format!("host is {}", quoted(&text.value)),
        "want the name or IPv4 address of this machine, such as \"bench-1.shop.example\"",
    );
    faults.add(&text.place, fault.help("write it without scheme and port"));
    None
}
