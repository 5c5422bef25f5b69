//! `tallyjaw-opcua`: exit 0 after a stop, 2 if the configuration has no `[opcua]` or is faulty, 4 if it cannot listen or
//! has no certificate.

use super::logging::{self, LogFormat};
use super::{Context, Exit, Failure};
use crate::opcua::{self, OpcuaError, Ready, Setup};
use std::io::Write;

/// Clients could flood the log with messages about themselves. Only a certificate that is not trusted is named.
const USUAL: &str =
    "info,opcua_server=off,opcua_core=off,opcua_types=off,opcua_nodes=off,opcua_crypto=warn";

/// Serve stations, instruments and readings over OPC UA, read-only
///
/// It is a client of the daemon's feed, and a program of its own: whatever its clients do, the daemon goes on measuring.
#[derive(Debug, clap::Parser)]
#[command(
    name = "tallyjaw-opcua",
    version,
    after_help = "\
It runs in the foreground until SIGTERM or Ctrl-C, and waits for the daemon as long as that is not there. The \
configuration has its address under [opcua]. Its messages go to standard error; $TALLYJAW_LOG sets the level: error, \
warn, info, debug.

Examples:
  tallyjaw-opcua
  tallyjaw-opcua --config bench/tallyjaw.toml
  tallyjaw token add plant          a user name and a password for a client of another machine"
)]
pub(in crate::cli) struct Opcua {
    #[command(flatten)]
    context: Context,

    /// Form of the messages on standard error; what ends a start that fails is always text
    #[arg(long, value_name = "FORM", value_enum, default_value_t)]
    log_format: LogFormat,
}

impl Opcua {
    pub(in crate::cli) fn run(self, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (path, config) = self.context.load()?;
        logging::on_stderr(self.log_format, USUAL);
        let Some(opcua) = config.opcua else {
            let got = format!("{} has no [opcua]", path.display());
            return Err(Failure::usage(got)
                .with_remedy("write that line into it; every key below it has a default"));
        };
        let setup = Setup {
            opcua,
            daemon: config.daemon,
        };
        let ready = |ready: &Ready| drop(say(ready, self.context.json, out));
        opcua::run(&setup, ready).map_err(|error| failure(&error))?;
        Ok(Exit::Yes)
    }
}

fn say(ready: &Ready, json: bool, out: &mut dyn Write) -> std::io::Result<()> {
    let Ready {
        url,
        thumbprint,
        trusted,
        rejected,
        open,
    } = ready;
    if json {
        let object = serde_json::json!({
            "kind": "ready", "url": url, "thumbprint": thumbprint,
            "trusted": trusted.display().to_string(), "rejected": rejected.display().to_string(),
        });
        writeln!(out, "{object}")?;
        return out.flush();
    }
    writeln!(out, "tallyjaw-opcua is ready")?;
    writeln!(out, "  address      {url}")?;
    writeln!(out, "  certificate  SHA-1 {thumbprint}")?;
    if *open {
        writeln!(
            out,
            "  who          anybody on this machine, no token; nobody else"
        )?;
    } else {
        writeln!(
            out,
            "  who          clients with a token (tallyjaw token add NAME), whose certificate is in\n               {}\n               \
             one that is not known is put into\n               {}\n               move it over to trust it",
            trusted.display(),
            rejected.display()
        )?;
    }
    writeln!(out, "stop it with Ctrl-C or SIGTERM")?;
    out.flush()
}

fn failure(error: &OpcuaError) -> Failure {
    let message = error.to_string();
    let failure = match error {
        OpcuaError::Listen { source, .. } | OpcuaError::System { source, .. } => {
            Failure::io(message).because(source)
        }
        OpcuaError::Certificate { .. } | OpcuaError::Server(_) | OpcuaError::Tokens(_) => {
            Failure::io(message)
        }
    };
    failure.with_remedy_of(error.remedy())
}
