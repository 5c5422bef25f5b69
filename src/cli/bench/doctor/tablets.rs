//! Checks the page for tablets: its certificate, its tokens, and who can reach it.

use super::{Finding, Is};
use crate::clock;
use crate::config::{Config, DaemonConfig, TabletConfig, is_public};
use crate::page::tablet::{Certificate, TabletError, Tokens, addresses};
use std::net::IpAddr;

/// Returns nothing if tablets may not connect.
pub(super) fn look(config: &Config) -> Vec<Finding> {
    let tablet = config.page.as_ref().and_then(|page| page.tablet.as_ref());
    tablet.map_or_else(Vec::new, |tablet| of(tablet, &config.daemon))
}

fn of(tablet: &TabletConfig, daemon: &DaemonConfig) -> Vec<Finding> {
    let new = |is, says: String| Finding::new("tablets", is, says);
    let wrong = |error: &TabletError| new(Is::Wrong, error.to_string()).help(error.remedy());
    let (listen, port) = (tablet.listen, tablet.listen.port());
    let own: Vec<IpAddr> = if listen.ip().is_unspecified() {
        let all = addresses().into_iter();
        all.filter(|ip| ip.is_ipv4() || listen.is_ipv6()).collect()
    } else {
        vec![listen.ip()]
    };
    let mut findings = vec![match Tokens::of_tablets(&daemon.state_dir) {
        Err(error) => wrong(&error),
        Ok(tokens) => {
            let (count, tablets) = (tokens.count(), tokens.list());
            let finding = new(
                Is::Good,
                format!("they connect to {listen}; {count} paired"),
            );
            if tablets.iter().any(|tablet| tablet.used.is_some()) {
                finding
            } else {
                finding.help(format!(
                    "if one cannot connect, let its network in, such as: sudo ufw allow from 192.168.1.0/24 to any port {port} proto tcp"
                ))
            }
        }
    }];
    for ip in own.iter().filter(|ip| is_public(**ip)) {
        let says = format!("the internet may reach them at {ip}");
        findings.push(new(Is::Note, says).help(
            "give `tablet_listen` the address in the shop's own network, or have a firewall refuse everybody else",
        ));
    }
    findings.push(match Certificate::read(&daemon.state_dir) {
        Err(error) => wrong(&error),
        Ok(None) => new(
            Is::Note,
            "there is no certificate yet; the daemon makes it at its start".to_owned(),
        ),
        Ok(Some(certificate)) => {
            let unnamed = own.iter().map(IpAddr::to_string);
            let unnamed: Vec<_> = unnamed
                .filter(|ip| !certificate.names.contains(ip))
                .collect();
            let until = &certificate.until;
            if **until < *clock::wall().to_string() {
                new(Is::Note, format!("the certificate is over since {until}"))
                    .help("tallyjaw page --new-certificate, then start the daemon again")
            } else if unnamed.is_empty() {
                new(Is::Good, format!("the certificate is good until {until}"))
            } else {
                let says = format!("the certificate does not name {}", unnamed.join(", "));
                new(Is::Note, says).help(
                    "tablets that accepted it go on; to have them named: tallyjaw page --new-certificate, then start the daemon again",
                )
            }
        }
    });
    findings
}
