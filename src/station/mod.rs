//! The core: bytes, commands and the time go in, entries to append come out. It does no I/O.
//!
//! - The same inputs at the same times give the same entries, always.
//! - Nothing in here shows anything to anyone: whatever is shown is read back from the journal.
//! - A [`Core`] is made from the [`State`] that the journal amounts to, so a restart goes on where
//!   the last entry left off.

pub mod prompt;

use crate::entry::{Attached, Stamped, State};
use crate::quantity::{MonoMicros, Now};
use crate::spec::{Catalog, Plan};
use std::collections::VecDeque;
use std::sync::Arc;

/// Everything that can happen to the core.
#[derive(Debug)]
pub enum Input<'a> {
    /// The daemon has started, or has read its configuration anew.
    Started {
        /// The program's version.
        version: &'a str,
        /// SHA-256 of the configuration files, hex.
        config_digest: &'a str,
    },
    /// The daemon is about to stop.
    Stopping {
        /// Why: `SIGTERM`, …
        reason: &'a str,
    },
    /// A new configuration is in force; `Started` follows.
    Reloaded(Arc<Catalog>),
    /// An instrument's port is open.
    PortOpened(Attached),
    /// An instrument's port is gone.
    PortClosed {
        /// The instrument.
        instrument: &'a str,
        /// Why, in words.
        reason: &'a str,
    },
    /// Bytes of an instrument, in whatever pieces they came.
    Bytes {
        /// The instrument.
        instrument: &'a str,
        /// The bytes.
        bytes: &'a [u8],
    },
    /// The journal's segment is full: open the next one.
    SegmentFull,
    /// Nothing was recorded for a while.
    Resumed {
        /// Since when, how many frames, why.
        gap: crate::entry::Entry,
    },
    /// The time asked for by [`Output::WaitUntil`] has come.
    Woken,
}

/// What a person says to a station, by whatever means. `station` may be left out where there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// Open a series.
    Arm {
        /// The station.
        station: Option<String>,
        /// What to measure.
        what: Armable,
        /// Who measures, if said.
        operator: Option<String>,
    },
    /// Close the open series.
    Disarm {
        /// The station.
        station: Option<String>,
    },
    /// Take a reading back; the last one unless named.
    Retract {
        /// The station.
        station: Option<String>,
        /// The reading's entry.
        seq: Option<crate::entry::Seq>,
    },
    /// Keep a remark.
    Note {
        /// The station.
        station: Option<String>,
        /// The words.
        text: String,
    },
    /// The next frame is a zero.
    Zero {
        /// The station.
        station: Option<String>,
        /// The instrument; may be left out where the station has one.
        instrument: Option<String>,
    },
}

/// What can be armed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Armable {
    /// A plan of the configuration.
    Named(String),
    /// A plan given whole.
    Inline(Box<Plan>),
}

/// Why a command was not carried out. Nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct Refusal {
    /// What was got and what was expected.
    pub message: String,
    /// What to do about it.
    pub remedy: Option<String>,
}

/// Everything the core can ask for.
#[derive(Debug, PartialEq, Eq)]
pub enum Output {
    /// Append this; whatever is shown is read back from the journal.
    Append(Stamped),
    /// Drained. Wait for a new input, and no longer than this.
    WaitUntil(Option<MonoMicros>),
}

/// All stations of a daemon.
#[derive(Debug)]
pub struct Core {
    catalog: Arc<Catalog>,
    state: State,
    pending: VecDeque<Stamped>,
}

impl Core {
    /// Goes on from `state`.
    pub fn new(catalog: Arc<Catalog>, state: State) -> Self {
        Self {
            catalog,
            state,
            pending: VecDeque::new(),
        }
    }

    /// Takes one input. Call [`Core::poll`] until `WaitUntil` before the next one.
    pub fn handle(&mut self, now: Now, input: Input<'_>) {
        let _ = (now, input);
    }

    /// Takes one command. What it appends comes out of [`Core::poll`].
    pub fn command(&mut self, now: Now, command: Command) -> Result<(), Refusal> {
        let _ = (now, command);
        Ok(())
    }

    /// The next thing to do.
    pub fn poll(&mut self) -> Output {
        match self.pending.pop_front() {
            Some(stamped) => Output::Append(stamped),
            None => Output::WaitUntil(None),
        }
    }

    /// What all entries amount to, those not yet polled included.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// What can be armed.
    pub fn catalog(&self) -> &Catalog {
        &self.catalog
    }
}
