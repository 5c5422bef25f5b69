//! The names and addresses at which a tablet reaches this machine.

use crate::config::is_public;
use std::net::{IpAddr, Ipv4Addr, UdpSocket};

/// An address reserved for documentation. The route to it is the default route; nothing is sent to it.
const FAR: (Ipv4Addr, u16) = (Ipv4Addr::new(192, 0, 2, 1), 9);

/// The addresses of this machine on its networks, the most likely one first.
pub fn addresses() -> Vec<IpAddr> {
    let mut found = Vec::new();
    let by_route = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).and_then(|socket| {
        socket.connect(FAR)?;
        socket.local_addr()
    });
    found.extend(by_route.map(|address| address.ip()));
    // The sandbox of the service may hide the list; the address on the default route is known even then.
    let mut others: Vec<IpAddr> = if_addrs::get_if_addrs()
        .unwrap_or_default()
        .iter()
        .map(if_addrs::Interface::ip)
        .collect();
    others.sort_by_key(|ip| (ip.is_ipv6(), is_public(*ip)));
    found.extend(others);
    found.retain(|ip| is_reachable(*ip));
    let mut seen = Vec::new();
    found.retain(|ip| {
        let is_new = !seen.contains(ip);
        seen.push(*ip);
        is_new
    });
    found
}

/// Whether another device can use the address: not the loopback, and not one that needs the name of an interface.
fn is_reachable(ip: IpAddr) -> bool {
    let needs_interface = matches!(ip, IpAddr::V6(ip) if ip.is_unicast_link_local());
    !ip.is_loopback() && !ip.is_unspecified() && !needs_interface
}

/// The names in a new certificate: the machine's name, its addresses, and the configured names.
pub fn names(listen: IpAddr, hosts: &[String]) -> Vec<String> {
    let mut names = Vec::new();
    let name = rustix::system::uname()
        .nodename()
        .to_string_lossy()
        .to_ascii_lowercase();
    let may_stand = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
    if !name.is_empty() && name.chars().all(may_stand) {
        names.push(name.clone());
        if !name.contains('.') && name != "localhost" {
            names.push(format!("{name}.local"));
        }
    }
    for host in hosts {
        let bare = super::bare_host(host);
        names.push(bare.trim_matches(['[', ']']).to_owned());
    }
    if !listen.is_unspecified() {
        names.push(listen.to_string());
    }
    names.extend(addresses().iter().map(IpAddr::to_string));
    let mut seen = Vec::new();
    names.retain(|name| {
        let is_new = !seen.contains(name);
        seen.push(name.clone());
        is_new
    });
    names
}
