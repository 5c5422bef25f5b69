//! `tallyjaw page`: exit 0; 2 if no page is configured or this user may not read the token; 3 without a daemon.

use super::{Context, Exit, Failure, client};
use crate::message::reply::Status;
use crate::page::{Token, TokenError};
use std::io::{ErrorKind, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Print the address of the bench page, with the token that commands need
///
/// Whoever has this address can start series, retract readings and enter notes as the operator does: open it at the
/// bench and give it to nobody. The token stands after a #, so that a browser does not send it with the address.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  xdg-open \"$(tallyjaw page)\"         open the page
  curl -H \"Authorization: Bearer $(tallyjaw --json page | jq -r .token)\" …   a command from a program")]
pub(super) struct Page {}

impl Page {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        let (_, config) = context.load()?;
        if config.page.is_none() {
            return Err(Failure::usage("no page is served by this configuration")
                .with_remedy("write [page] into it, then start the daemon again"));
        }
        let control = config.daemon.runtime_dir.join("control.sock");
        let answer = client::call_at(&control, "status", &client::params([]))?;
        let status: Status = client::read(&answer)?;
        let Some(address) = status.page.and_then(|page| page.parse().ok()) else {
            return Err(Failure::no_daemon("the daemon that runs serves no page")
                .with_remedy("start it again: [page] came into its configuration later"));
        };
        let token = Token::read(&config.daemon.state_dir).map_err(|error| unreadable(&error))?;
        let address = format!("http://{}/", reachable(address));
        if context.json {
            let line = serde_json::json!({
                "kind": "page",
                "address": address,
                "token": token.text(),
            });
            writeln!(out, "{line}")?;
        } else {
            writeln!(out, "{address}#token={}", token.text())?;
        }
        Ok(Exit::Yes)
    }
}

/// An address of this machine that reaches the page, if the page listens on all addresses.
fn reachable(address: SocketAddr) -> SocketAddr {
    if address.ip().is_unspecified() {
        SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), address.port())
    } else {
        address
    }
}

fn unreadable(error: &TokenError) -> Failure {
    let message = error.to_string();
    let failure = match error {
        TokenError::Io(failed) if failed.cause.kind() == ErrorKind::PermissionDenied => {
            Failure::usage(message)
        }
        TokenError::Open { .. } => Failure::usage(message),
        TokenError::Io(_) | TokenError::NoToken { .. } => Failure::io(message),
    };
    failure.with_remedy(error.remedy())
}
