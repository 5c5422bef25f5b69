//! Why a subcommand could not answer, and how standard error shows it.
//!
//! One line of what was got and expected, its causes, then `help:` with the remedy.

use crate::entry::words::safe;
use anstyle::{AnsiColor, Style};
use std::error::Error;
use std::fmt;
use std::io::{self, ErrorKind};

const ERROR: Style = AnsiColor::Red.on_default().bold();
const HELP: Style = AnsiColor::Cyan.on_default().bold();

/// Whose fault it is; decides the exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FailureKind {
    /// Wrong use or configuration, or a command that the daemon refused: exit code 2.
    Usage,
    /// No daemon answers: exit code 3.
    NoDaemon,
    /// Reading or writing failed: exit code 4.
    Io,
    /// Whoever read our output has gone, as `head` does: exit code 0 without a message.
    ReaderGone,
}

impl FailureKind {
    /// As in the contract.
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::Usage => 2,
            Self::NoDaemon => 3,
            Self::Io => 4,
            Self::ReaderGone => 0,
        }
    }
}

/// Why a subcommand could not answer.
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

    /// No daemon answers: exit code 3.
    pub fn no_daemon(message: impl Into<String>) -> Self {
        Self::new(FailureKind::NoDaemon, message)
    }

    /// Reading or writing failed: exit code 4.
    pub fn io(message: impl Into<String>) -> Self {
        Self::new(FailureKind::Io, message)
    }

    /// What a person can do about it.
    #[must_use]
    pub fn with_remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = Some(remedy.into());
        self
    }

    /// The same, where there is a remedy.
    #[must_use]
    pub fn with_remedy_of(mut self, remedy: Option<impl Into<String>>) -> Self {
        self.remedy = remedy.map(Into::into);
        self
    }

    /// Texts that are shown before it, such as faults with the line they are in.
    #[must_use]
    pub fn with_details(mut self, details: Vec<String>) -> Self {
        self.details = details;
        self
    }

    /// The error behind it, with all of its own.
    #[must_use]
    pub fn because(mut self, error: &dyn Error) -> Self {
        let mut next = Some(error);
        while let Some(cause) = next {
            self.causes.push(cause.to_string());
            next = cause.source();
        }
        self
    }

    /// Whose fault it is.
    pub fn kind(&self) -> FailureKind {
        self.kind
    }

    /// What a person can do about it, if that is known.
    pub fn remedy(&self) -> Option<&str> {
        self.remedy.as_deref()
    }

    /// Tells it on standard error, with colours only on a terminal.
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

/// Line by line without what could steer a terminal: names of files and ports may hold anything.
fn plain(text: &str) -> String {
    text.split('\n').map(safe).collect::<Vec<_>>().join("\n")
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

/// For what is written to standard output; anything else says what it read or wrote.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            return Self::new(FailureKind::ReaderGone, "the reader has gone");
        }
        Self::io("standard output cannot be written").because(&error)
    }
}
