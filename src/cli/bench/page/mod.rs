//! `tallyjaw page`: exit 0, 2 if no page is configured, this user may not read the token, or there is no such tablet, 3
//! without a daemon, 4 if a file cannot be written.

mod qr;
mod tablets;

pub(super) use tablets::{check_owner, daemon_runs, shown, unusable};

use super::{Context, Exit, Failure, client};
use crate::message::reply::Status;
use crate::page::{SecretError, Token, TokenError};
use std::io::{ErrorKind, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Print the address of the bench page, with the token that commands need; pair tablets
///
/// Whoever has this address, and whoever pairs a tablet, can start series, retract readings and enter notes as the
/// operator does: open it at the bench and give it to nobody. The token is after a #, so that a browser does not send
/// it with the address.
///
/// Tablets connect over the network only where [page] has tablet = true. A code lets each in, once.
#[derive(Debug, clap::Args)]
#[group(multiple = false)]
#[command(after_help = "\
Examples:
  xdg-open \"$(tallyjaw page)\"         open the page
  curl -H \"Authorization: Bearer $(tallyjaw --json page | jq -r .token)\" …    from a program
  tallyjaw page --pair bench-left      show a code that lets one tablet in, under this name
  tallyjaw page --revoke bench-left    revoke its pairing, at once")]
pub(in crate::cli) struct Page {
    /// Show a code that pairs one tablet within ten minutes; NAME is the name of the tablet
    #[arg(long, value_name = "NAME", num_args = 0..=1, default_missing_value = "")]
    pair: Option<String>,

    /// Revoke the pairing of a tablet, even while it is connected or no daemon runs
    #[arg(long, value_name = "NAME")]
    revoke: Option<String>,

    /// List the paired tablets
    #[arg(long)]
    tablets: bool,

    /// Make a new certificate for tablets; each tablet shows a warning once after that
    #[arg(long)]
    new_certificate: bool,
}

impl Page {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {
            pair,
            revoke,
            tablets,
            new_certificate,
        } = self;
        if let Some(name) = pair {
            return tablets::pair(context, out, Some(name).filter(|name| !name.is_empty()));
        }
        if let Some(name) = revoke {
            return tablets::revoke(context, out, &name);
        }
        if tablets {
            return tablets::list(context, out);
        }
        if new_certificate {
            return tablets::new_certificate(context, out);
        }
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
        TokenError::Secret(SecretError::Io(failed))
            if failed.cause.kind() == ErrorKind::PermissionDenied =>
        {
            Failure::usage(message)
        }
        TokenError::Secret(SecretError::Open { .. }) => Failure::usage(message),
        TokenError::Secret(SecretError::Io(_)) | TokenError::NoToken { .. } => Failure::io(message),
    };
    failure.with_remedy(error.remedy())
}
