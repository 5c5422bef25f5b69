//! What one journal entry says, in the newest version, and what all of them amount to.
//!
//! In: nothing. Out: plain values. The form on disk is the business of `v1` and of [`mod@line`].

mod adapter;
pub mod audit;
pub mod block_error;
mod care;
mod completed;
pub mod glance;
pub mod history;
pub mod ledger;
pub mod line;
pub mod lowest;
mod noting;
pub mod read_again;
mod reading;
pub mod repeat;
pub mod reservation;
pub mod resume;
pub mod runs;
mod said;
pub mod state;
#[cfg(test)]
pub(crate) mod strategies;
pub mod undo;
mod v1;
pub mod words;
mod zeroed;

use crate::quantity::WallMicros;
use crate::spec::ArmedSpec;
use std::fmt;
use std::sync::Arc;

pub use adapter::{Adapter, AdapterChanged, AdapterSaid, Disturbed};
pub use completed::{Completed, Outcome, Tally};
pub use read_again::ReadBy;
pub use reading::{NotCounted, Plateau, Reading, ReadingSlot, Standing};
pub use reservation::Reservation;
pub use said::{Means, RefusedSaying, ToolInHand, ToolSaid};
pub use state::{Slot, State};
pub use zeroed::{ZeroRole, Zeroed};

/// The number of an entry: 1, 2, 3, … without gaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Seq(pub u64);

impl Seq {
    /// The first entry of a journal.
    pub const FIRST: Self = Self(1);

    /// The next one.
    #[must_use]
    pub const fn following(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

impl fmt::Display for Seq {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// The name of a journal: 32 lower-case hex digits, drawn at random when it began.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct JournalId(pub String);

impl fmt::Display for JournalId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// An entry with its place in the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamped {
    /// Its number.
    pub seq: Seq,
    /// When it happened, by the wall clock.
    pub at: WallMicros,
    /// What happened.
    pub entry: Entry,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Entry {
    /// A new journal.
    Begun {
        /// Its name.
        journal: JournalId,
    },
    /// A new segment, with all that the entries before it amount to.
    Segment {
        /// The journal's name.
        journal: JournalId,
        /// The state so far.
        state: Box<State>,
    },
    /// The daemon started.
    Started {
        /// Its version.
        version: String,
        /// SHA-256 of its configuration files, hex.
        config_digest: String,
    },
    /// The daemon stopped, or read its configuration anew (then `Started` follows).
    Stopped {
        /// Why: `SIGTERM`, `reload`, …
        reason: String,
    },
    /// An instrument's port is open.
    Attached(Attached),
    /// An instrument's port is gone.
    Detached {
        /// The instrument.
        instrument: String,
        /// Its station.
        station: String,
        /// Why.
        reason: String,
    },
    /// It is another adapter than before: nothing of it counts until a person has said that it is meant.
    AdapterChanged(AdapterChanged),
    /// A person said that the adapter that is there is meant.
    AdapterSaid(AdapterSaid),
    /// Something else uses an instrument's port, or has changed its settings.
    Disturbed(Disturbed),
    /// A series is open.
    Armed(Box<ArmedSpec>),
    /// The operator closed a series.
    Disarmed {
        /// The station.
        station: String,
        /// The series.
        series: Seq,
    },
    /// A series is closed.
    Completed(Completed),
    /// A zero frame.
    Zeroed(Zeroed),
    /// The operator said that the next frame is a zero.
    ZeroSaid {
        /// The station.
        station: String,
        /// The instrument it is about.
        instrument: String,
    },
    /// A zero has become due by time.
    ZeroDue {
        /// The station.
        station: String,
        /// The series.
        series: Seq,
        /// The instrument it is about.
        instrument: String,
        /// Why, in words.
        reason: String,
    },
    /// The operator said who measures from here on.
    OperatorSaid {
        /// The station.
        station: String,
        /// The series open at the time; its readings after this entry are theirs.
        series: Option<Seq>,
        /// Who.
        operator: String,
    },
    /// The operator said which crimp tool is in the hand.
    ToolSaid(ToolSaid),
    /// A value.
    Reading(Arc<Reading>),
    /// Bytes without meaning, or an answer that did not come.
    Unread(Unread),
    /// What a card or a pedal said and the station could not do.
    Refused {
        /// The station.
        station: String,
        /// The scanner or pedal.
        instrument: String,
        /// What was said.
        said: String,
        /// Why not.
        reason: String,
        /// What to do.
        remedy: Option<String>,
    },
    /// Readings that a zero no longer vouches for.
    Doubted {
        /// The station.
        station: String,
        /// Their series.
        series: Seq,
        /// The readings.
        readings: Vec<Seq>,
        /// Why, in words.
        reason: String,
    },
    /// A reading that the operator retracted.
    Retracted {
        /// The station.
        station: String,
        /// Its series.
        series: Seq,
        /// The reading.
        reading: Seq,
        /// By what means; `None` in entries that were written before it was kept.
        by: Option<Means>,
        /// What it filled; `None` in entries that were written before it was kept: these cannot be undone.
        slot: Option<Slot>,
        /// Why, if it was said.
        reason: Option<String>,
        /// Measuring destroyed the piece, so the next piece number is measured instead.
        spent: bool,
    },
    /// The last retraction of a series is undone: the reading counts again.
    Restored {
        /// The station.
        station: String,
        /// Its series.
        series: Seq,
        /// The reading.
        reading: Seq,
        /// By what means.
        by: Means,
    },
    /// A series that the last arming stopped early is open again.
    Resumed {
        /// The station.
        station: String,
        /// The series.
        series: Seq,
        /// Who measures from here on.
        operator: Option<String>,
        /// By what means.
        by: Means,
    },
    /// What the operator noted.
    Noted {
        /// The station.
        station: String,
        /// The series open at the time.
        series: Option<Seq>,
        /// The words.
        text: String,
    },
    /// A rule over several readings fired.
    Alerted {
        /// The station.
        station: String,
        /// The series.
        series: Seq,
        /// The rule's name.
        rule: String,
        /// The sentence for the operator.
        text: String,
        /// The readings it is about.
        readings: Vec<Seq>,
    },
    /// Wall clock and monotonic clock parted.
    ClockStepped {
        /// By how much the wall clock ran ahead, in microseconds; negative if it was set back.
        by_micros: i64,
    },
    /// Nothing was recorded for a while.
    Gap {
        /// Since when.
        since: WallMicros,
        /// How many frames went unjudged.
        frames: u64,
        /// Why.
        reason: String,
    },
    /// A person accepted that entries before this one are damaged.
    DamageAccepted {
        /// The first damaged entry.
        seq: Seq,
        /// What was wrong.
        reason: String,
    },
    /// A person accepted that the journal is not as far as somebody knew it to be.
    RolledBack {
        /// The journal that was known.
        journal: JournalId,
        /// The last entry of it that was known.
        known: Seq,
        /// The entry that this journal ended with; 0 where it had vanished.
        end: Seq,
        /// Who knew it, and what is gone.
        reason: String,
    },
}

/// An instrument's port is open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attached {
    /// The instrument.
    pub instrument: String,
    /// Its station.
    pub station: String,
    /// The path that was opened.
    pub port: String,
    /// Line settings: `9600 8N1`.
    pub line: String,
    /// What the adapter says of itself: `0403:6001 serial A1`.
    pub identity: Option<String>,
    /// Where the adapter is plugged in: `0000:00:14.0 usb 4:1.0`.
    pub socket: Option<String>,
    /// What it says of itself does not tell it from others.
    pub alike: bool,
    /// How its bytes are read; `None` of a scanner or a pedal, and in entries of older releases.
    pub read_by: Option<Box<ReadBy>>,
}

impl Attached {
    /// Whether it is the same port, set in the same way.
    pub fn is_same_port(&self, other: &Self) -> bool {
        let port = |of: &Self| Self {
            read_by: None,
            ..of.clone()
        };
        port(self) == port(other)
    }
}

/// Bytes without meaning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// The station.
    pub station: String,
    /// The instrument.
    pub instrument: String,
    /// The bytes; of a folded run, its beginning.
    pub raw: Vec<u8>,
    /// How many bytes there were.
    pub bytes: u64,
    /// How many runs were folded into this one.
    pub times: u64,
    /// Why.
    pub reason: String,
    /// What a person can do.
    pub remedy: Option<String>,
}

impl Entry {
    /// As on disk: `reading`, `zeroed`, …
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Begun { .. } => "begun",
            Self::Segment { .. } => "segment",
            Self::Started { .. } => "started",
            Self::Stopped { .. } => "stopped",
            Self::Attached(_) => "attached",
            Self::Detached { .. } => "detached",
            Self::AdapterChanged(_) => "adapter_changed",
            Self::AdapterSaid(_) => "adapter_said",
            Self::Disturbed(_) => "disturbed",
            Self::Armed(_) => "armed",
            Self::Disarmed { .. } => "disarmed",
            Self::Completed(_) => "completed",
            Self::Zeroed(_) => "zeroed",
            Self::ZeroSaid { .. } => "zero_said",
            Self::ZeroDue { .. } => "zero_due",
            Self::OperatorSaid { .. } => "operator_said",
            Self::ToolSaid(_) => "tool_said",
            Self::Reading(_) => "reading",
            Self::Unread(_) => "unread",
            Self::Refused { .. } => "refused",
            Self::Doubted { .. } => "doubted",
            Self::Retracted { .. } => "retracted",
            Self::Restored { .. } => "restored",
            Self::Resumed { .. } => "resumed",
            Self::Noted { .. } => "noted",
            Self::Alerted { .. } => "alerted",
            Self::ClockStepped { .. } => "clock_stepped",
            Self::Gap { .. } => "gap",
            Self::DamageAccepted { .. } => "damage_accepted",
            Self::RolledBack { .. } => "rolled_back",
        }
    }
}
