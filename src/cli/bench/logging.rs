//! The log of the daemon on standard error, for a person, a service manager or, as JSON, a program.
//!
//! A service manager such as systemd (found by `$JOURNAL_STREAM`) records time and level itself. For it each line
//! begins with its priority, `<3>` to `<7>` as in sd-daemon(3), and has no time.

use crate::clock;
use serde_json::{Map, Value, json};
use std::env;
use std::fmt;
use tracing::field::{Field, Visit};
use tracing::{Event, Level, Subscriber};
use tracing_subscriber::EnvFilter;
use tracing_subscriber::fmt::FmtContext;
use tracing_subscriber::fmt::format::{FormatEvent, FormatFields, Writer};
use tracing_subscriber::registry::LookupSpan;

/// The form of the lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub(super) enum LogFormat {
    /// For a person, or for the service manager where that reads them
    #[default]
    Text,
    /// An object on each line, for a collector of logs
    Json,
}

/// Writes events to standard error from here on, at the level of `$TALLYJAW_LOG`, or those that `usual` names.
pub(super) fn on_stderr(format: LogFormat, usual: &str) {
    let filter = EnvFilter::try_from_env("TALLYJAW_LOG").unwrap_or_else(|_| EnvFilter::new(usual));
    let logger = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_target(false);
    // Fails only if a logger is already set in this process.
    let _ = if format == LogFormat::Json {
        logger.with_ansi(false).event_format(Objects).try_init()
    } else if stderr_is_the_journal_of_the_system() {
        logger.with_ansi(false).event_format(Prioritised).try_init()
    } else {
        let coloured = std::io::IsTerminal::is_terminal(&std::io::stderr());
        logger.with_ansi(coloured).try_init()
    };
}

/// `$JOURNAL_STREAM` holds device and inode of standard error at the time when the manager opened it.
fn stderr_is_the_journal_of_the_system() -> bool {
    let Some(stream) = env::var_os("JOURNAL_STREAM") else {
        return false;
    };
    rustix::fs::fstat(rustix::stdio::stderr())
        .is_ok_and(|file| stream == *format!("{}:{}", file.st_dev, file.st_ino))
}

/// A line with its priority: `<6>the port is open instrument="caliper-1"`.
struct Prioritised;

impl<S, N> FormatEvent<S, N> for Prioritised
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(
        &self,
        context: &FmtContext<'_, S, N>,
        mut writer: Writer<'_>,
        event: &Event<'_>,
    ) -> fmt::Result {
        write!(writer, "<{}>", priority(*event.metadata().level()))?;
        context
            .field_format()
            .format_fields(writer.by_ref(), event)?;
        writeln!(writer)
    }
}

/// A line as JSON: `{"at":"…","level":"info","message":"the port is open","fields":{"instrument":"caliper-1"}}`.
struct Objects;

impl<S, N> FormatEvent<S, N> for Objects
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(
        &self,
        _: &FmtContext<'_, S, N>,
        mut writer: Writer<'_>,
        event: &Event<'_>,
    ) -> fmt::Result {
        let mut said = Said::default();
        event.record(&mut said);
        let at = clock::wall().to_string();
        let level = event.metadata().level().as_str().to_ascii_lowercase();
        let (message, fields) = (said.message, Value::Object(said.fields));
        writeln!(
            writer,
            r#"{{"at":{},"level":{},"message":{},"fields":{fields}}}"#,
            json!(at),
            json!(level),
            json!(message)
        )
    }
}

/// What an event says, as JSON.
#[derive(Default)]
struct Said {
    message: String,
    fields: Map<String, Value>,
}

impl Said {
    fn take(&mut self, field: &Field, value: Value) {
        match (field.name(), value) {
            ("message", Value::String(text)) => self.message = text,
            (name, value) => drop(self.fields.insert(name.to_owned(), value)),
        }
    }
}

impl Visit for Said {
    fn record_str(&mut self, field: &Field, value: &str) {
        self.take(field, value.into());
    }

    fn record_i64(&mut self, field: &Field, value: i64) {
        self.take(field, value.into());
    }

    fn record_u64(&mut self, field: &Field, value: u64) {
        self.take(field, value.into());
    }

    fn record_bool(&mut self, field: &Field, value: bool) {
        self.take(field, value.into());
    }

    fn record_debug(&mut self, field: &Field, value: &dyn fmt::Debug) {
        self.take(field, format!("{value:?}").into());
    }
}

/// The priority of syslog(3) for a level.
const fn priority(level: Level) -> u8 {
    match level {
        Level::ERROR => 3,
        Level::WARN => 4,
        Level::INFO => 6,
        Level::DEBUG | Level::TRACE => 7,
    }
}
