//! A failure of a subcommand, and its form on standard error.
//!
//! First what was found and expected, then the causes, then `help:` with the remedy.

use crate::entry::words::safe;
use anstyle::{AnsiColor, Style};
use std::error::Error;
use std::fmt;
use std::io::{self, ErrorKind};

const ERROR: Style = AnsiColor::Red.on_default().bold();
const HELP: Style = AnsiColor::Cyan.on_default().bold();

/// The kind of failure, which decides the exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FailureKind {
    /// Wrong use or configuration, or a command that the daemon refused: exit code 2.
    Usage,
    /// The question is valid, and no reading matches: exit code 2.
    NoReadings,
    /// No daemon answers: exit code 3.
    NoDaemon,
    /// Reading or writing failed: exit code 4.
    Io,
    /// The reader of the output has closed it, as `head` does: exit code 0 without a message.
    ReaderGone,
}

impl FailureKind {
    /// The exit code, which is part of the documented interface.
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::Usage | Self::NoReadings => 2,
            Self::NoDaemon => 3,
            Self::Io => 4,
            Self::ReaderGone => 0,
        }
    }
}

/// A failure of a subcommand, with causes and remedy.
#[derive(Debug)]
pub struct Failure {
    kind: FailureKind,
    message: String,
    causes: Vec<String>,
    details: Vec<String>,
    remedy: Option<String>,
}

impl Failure {
    fn new(kind: FailureKind, message: impl Into<String>) -> Self {
        Self {
            kind,
            message: message.into(),
            causes: Vec::new(),
            details: Vec::new(),
            remedy: None,
        }
    }

    /// Wrong use or configuration: exit code 2.
    pub fn usage(message: impl Into<String>) -> Self {
        Self::new(FailureKind::Usage, message)
    }

    /// No reading matches a valid question: exit code 2.
    pub fn no_readings(message: impl Into<String>) -> Self {
        Self::new(FailureKind::NoReadings, message)
    }

    /// No daemon answers: exit code 3.
    pub fn no_daemon(message: impl Into<String>) -> Self {
        Self::new(FailureKind::NoDaemon, message)
    }

    /// Reading or writing failed: exit code 4.
    pub fn io(message: impl Into<String>) -> Self {
        Self::new(FailureKind::Io, message)
    }

    /// Adds a remedy.
    #[must_use]
    pub fn with_remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = Some(remedy.into());
        self
    }

    /// Adds a remedy, if there is one.
    #[must_use]
    pub fn with_remedy_of(mut self, remedy: Option<impl Into<String>>) -> Self {
        self.remedy = remedy.map(Into::into);
        self
    }

    /// Adds texts to show before the message, such as errors with their lines.
    #[must_use]
    pub fn with_details(mut self, details: Vec<String>) -> Self {
        self.details = details;
        self
    }

    /// Adds the error that caused it, with its own causes.
    #[must_use]
    pub fn because(mut self, error: &dyn Error) -> Self {
        let mut next = Some(error);
        while let Some(cause) = next {
            self.causes.push(cause.to_string());
            next = cause.source();
        }
        self
    }

    /// The kind of failure.
    pub fn kind(&self) -> FailureKind {
        self.kind
    }

    /// The remedy; `None` if none is known.
    pub fn remedy(&self) -> Option<&str> {
        self.remedy.as_deref()
    }

    /// Writes the failure to standard error, with colours only on a terminal.
    pub fn tell(&self) {
        if self.kind == FailureKind::ReaderGone {
            return;
        }
        for detail in &self.details {
            anstream::eprintln!("{detail}\n");
        }
        anstream::eprintln!("{ERROR}error{ERROR:#}: {}", plain(&self.message));
        for cause in &self.causes {
            anstream::eprintln!("  because: {}", plain(cause));
        }
        if let Some(remedy) = &self.remedy {
            anstream::eprintln!("{HELP}help{HELP:#}: {}", plain(remedy));
        }
    }
}

/// Escapes what could steer a terminal, line by line: names of files and ports may hold any characters.
fn plain(text: &str) -> String {
    text.split('\n').map(safe).collect::<Vec<_>>().join("\n")
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

/// Only for standard output. Other errors of reading and writing must name the file.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            return Self::new(FailureKind::ReaderGone, "the reader has gone");
        }
        Self::io("standard output cannot be written").because(&error)
    }
}
