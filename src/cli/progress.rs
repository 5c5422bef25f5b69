//! One line on standard error that says how far long work is; nothing where that is no terminal.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: how often a person is told is a matter of time"
)]

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// Between two tellings.
const PAUSE: Duration = Duration::from_millis(200);

/// A line that is written over itself, and wiped at the end.
#[derive(Debug)]
pub(super) struct Progress {
    is_shown: bool,
    next: Instant,
    is_there: bool,
}

impl Progress {
    /// On standard error, if that is a terminal.
    pub(super) fn new() -> Self {
        Self {
            is_shown: std::io::stderr().is_terminal(),
            next: Instant::now() + PAUSE,
            is_there: false,
        }
    }

    /// Shows what `text` gives, if it is time to.
    pub(super) fn show(&mut self, text: impl FnOnce() -> String) {
        if !self.is_shown || Instant::now() < self.next {
            return;
        }
        self.next = Instant::now() + PAUSE;
        self.is_there = true;
        let _ = write!(std::io::stderr(), "\r\x1b[K{}", text());
    }

    /// Takes the line away, so that something else can be said.
    pub(super) fn wipe(&mut self) {
        if std::mem::take(&mut self.is_there) {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.wipe();
    }
}
