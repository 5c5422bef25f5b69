//! `tallyjaw serve`: exit 0 after a stop, 2 if the configuration has errors or another daemon runs, 4 if the journal or
//! the sockets cannot be written.

use super::logging::{self, LogFormat};
use super::{Context, Exit, Failure};
use crate::daemon::{self, DaemonError, Ready, Setup};
use crate::entry::Seq;
use crate::journal::{self, JournalError};
use crate::message::reply::TabletStatus;
use crate::page::tablet::CODE_LASTS;
use std::io::Write;
use std::time::Duration;

/// Set by the benchmark only: entries are shown before they are on disk.
const WITHOUT_SYNC: &str = "TALLYJAW_BENCHMARK_WITHOUT_SYNC";

/// Set by tests only: the size of a full segment in bytes.
const SEGMENT_BYTES: &str = "TALLYJAW_TEST_SEGMENT_BYTES";

/// Set by tests only: number of milliseconds without an answer after which the disk counts as stalled.
const STALL_MILLIS: &str = "TALLYJAW_TEST_STALL_MILLIS";

/// Run the daemon: read the ports, judge, keep the journal, serve the sockets
#[derive(Debug, clap::Args)]
#[command(after_help = "\
It runs in the foreground until SIGTERM or Ctrl-C. On SIGHUP it reads its configuration again. Its messages go to \
standard error; $TALLYJAW_LOG sets the level: error, warn, info, debug.

Examples:
  tallyjaw serve
  tallyjaw --config bench/tallyjaw.toml serve
  tallyjaw serve --log-format json 2>> daemon.log
  tail -f state/verdicts.log")]
pub(in crate::cli) struct Serve {
    /// Start although the journal is damaged from this entry on; run `tallyjaw verify` first
    #[arg(long, value_name = "SEQ")]
    accept_damage: Option<u64>,

    /// Start although the log or a sink knows later entries than this last one of the journal; 0 if the whole journal is
    /// gone
    #[arg(long, value_name = "SEQ")]
    accept_rollback: Option<u64>,

    /// Form of the messages on standard error; what ends a start that fails is always text
    #[arg(long, value_name = "FORM", value_enum, default_value_t)]
    log_format: LogFormat,
}

impl Serve {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (config_path, config) = context.load()?;
        logging::on_stderr(self.log_format, "info");
        let sync = std::env::var_os(WITHOUT_SYNC).is_none();
        if !sync {
            tracing::warn!("{WITHOUT_SYNC} is set: what is announced may be lost");
        }
        let setup = Setup {
            config_path,
            config,
            accept_damage: self.accept_damage.map(Seq),
            accept_rollback: self.accept_rollback.map(Seq),
            sync,
            segment_bytes_most: number_of(SEGMENT_BYTES)?.unwrap_or(journal::SEGMENT_BYTES),
            stall_after: number_of(STALL_MILLIS)?
                .map_or(daemon::STALL_AFTER, Duration::from_millis),
            code_lasts: number_of(CODE_MILLIS)?.map_or(CODE_LASTS, Duration::from_millis),
        };
        // Closed standard output does not stop the daemon.
        let measures = !setup.config.catalog.instruments.is_empty();
        let ready = |ready: &Ready| drop(say(ready, measures, context.json, out));
        daemon::run(setup, ready).map_err(failure)?;
        Ok(Exit::Yes)
    }
}

/// Set by tests only: a pairing code is good for this number of milliseconds.
const CODE_MILLIS: &str = "TALLYJAW_TEST_CODE_MILLIS";

/// The number in an environment variable, if it is set.
fn number_of(variable: &str) -> Result<Option<u64>, Failure> {
    let Some(text) = std::env::var_os(variable) else {
        return Ok(None);
    };
    let number = text.to_str().and_then(|text| text.parse().ok());
    number
        .map(Some)
        .ok_or_else(|| Failure::usage(format!("{variable} is {}, want a number", text.display())))
}

fn say(ready: &Ready, measures: bool, json: bool, out: &mut dyn Write) -> std::io::Result<()> {
    let places = [
        ("feed", &ready.feed),
        ("control", &ready.control),
        ("journal", &ready.journal_dir),
        ("log", &ready.log),
    ];
    let page = ready.page.map(|address| format!("http://{address}/"));
    if json {
        let mut object = serde_json::Map::new();
        object.insert("kind".to_owned(), "ready".into());
        for (name, path) in places {
            object.insert(name.to_owned(), path.display().to_string().into());
        }
        object.extend(page.map(|page| ("page".to_owned(), page.into())));
        if let Some(tablet) = &ready.tablet {
            object.insert("tablet".to_owned(), tablet.listen.clone().into());
            object.insert("sha256".to_owned(), tablet.sha256.clone().into());
        }
        writeln!(out, "{}", serde_json::Value::Object(object))?;
        return out.flush();
    }
    writeln!(out, "tallyjaw {} is ready", daemon::VERSION)?;
    for (name, path) in places {
        writeln!(out, "  {name:<8} {}", path.display())?;
    }
    if let Some(page) = page {
        writeln!(
            out,
            "  {:<8} {page}   (tallyjaw page prints it with its token)",
            "page"
        )?;
    }
    if let Some(tablet) = &ready.tablet {
        let TabletStatus {
            listen,
            sha256,
            paired,
        } = tablet;
        writeln!(
            out,
            "  {:<8} {listen}, {paired} paired   (tallyjaw page --pair pairs one)\n  {:<8} certificate SHA-256 {sha256}",
            "tablets", ""
        )?;
    }
    if !measures {
        writeln!(
            out,
            "no instrument is configured, so nothing can be measured; plug the caliper's adapter in, then, in another terminal:\n  \
             tallyjaw ports                  names its port\n  \
             tallyjaw listen PORT --write    finds the caliper's settings, and writes them into the configuration\n  \
             tallyjaw reload                 makes this daemon read it"
        )?;
    }
    writeln!(out, "stop it with Ctrl-C or SIGTERM")?;
    out.flush()
}

fn failure(error: DaemonError) -> Failure {
    let remedy = error.remedy();
    let message = error.to_string();
    let failure = match error {
        DaemonError::Journal(
            JournalError::Locked { .. }
            | JournalError::OtherDamage { .. }
            | JournalError::OtherRollback { .. }
            | JournalError::Newer { .. },
        ) => Failure::usage(message),
        DaemonError::Page(error) if error.is_wrong_configuration() => Failure::usage(message),
        DaemonError::Socket(error) if error.is_wrong_configuration() => Failure::usage(message),
        DaemonError::Journal(
            JournalError::Io(_)
            | JournalError::WrongKind { .. }
            | JournalError::Damaged(_)
            | JournalError::RolledBack(_)
            | JournalError::OutOfOrder { .. }
            | JournalError::Missing { .. }
            | JournalError::NoEntry { .. }
            | JournalError::Write { .. }
            | JournalError::Sync { .. }
            | JournalError::Full { .. }
            | JournalError::Poisoned { .. },
        )
        | DaemonError::Socket(_)
        | DaemonError::Page(_)
        | DaemonError::JournalFailed { .. }
        | DaemonError::System { .. } => Failure::io(message),
    };
    failure.with_remedy_of(remedy)
}
