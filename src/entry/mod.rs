//! What one journal entry says, in the newest version, and what all of them amount to.
//!
//! In: nothing. Out: plain values. The form on disk is the business of `v1` and of [`mod@line`].

pub mod audit;
pub mod history;
pub mod line;
pub mod state;
#[cfg(test)]
pub(crate) mod strategies;
mod v1;
pub mod words;

use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedSpec, AxisName, Limits, Purpose, Verdict, WireSize};
use std::fmt;
use std::sync::Arc;

pub use state::State;

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
    /// A reading that the operator took back.
    Retracted {
        /// The station.
        station: String,
        /// Its series.
        series: Seq,
        /// The reading.
        reading: Seq,
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
}

/// A series is closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Completed {
    /// The station.
    pub station: String,
    /// The series.
    pub series: Seq,
    /// What came out.
    pub outcome: Outcome,
    /// Of its readings.
    pub tally: Tally,
}

/// What came out of a series.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// Every counted reading passed.
    Accepted,
    /// Some counted reading failed.
    Rejected,
    /// None failed, but some are unsure.
    Undecided,
    /// It was closed before it was full.
    CutShort,
}

impl Outcome {
    /// Every outcome.
    pub const ALL: [Self; 4] = [
        Self::Accepted,
        Self::Rejected,
        Self::Undecided,
        Self::CutShort,
    ];

    /// As in entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Rejected => "rejected",
            Self::Undecided => "undecided",
            Self::CutShort => "cut_short",
        }
    }
}

/// How many readings of a series came out how.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Counted and passed.
    pub passed: u32,
    /// Counted and failed.
    pub failed: u32,
    /// Counted and unsure.
    pub unsure: u32,
    /// Doubted because of a zero.
    pub doubted: u32,
    /// Taken back.
    pub retracted: u32,
    /// Never counted.
    pub not_counted: u32,
}

/// A zero frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zeroed {
    /// The station.
    pub station: String,
    /// The instrument.
    pub instrument: String,
    /// The series open at the time.
    pub series: Option<Seq>,
    /// What it showed.
    pub value: Measured,
    /// What it was for.
    pub role: ZeroRole,
    /// Within the limit, and with closed jaws.
    pub ok: bool,
    /// How far open the jaws stood when the origin was set, if they did.
    pub opening: Option<Quantity>,
    /// The bytes.
    pub raw: Vec<u8>,
}

/// What a zero frame was for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ZeroRole {
    /// Before the first reading of a series.
    Opening,
    /// Asked for during a series.
    Periodic,
    /// After the last reading of a series.
    Closing,
    /// Nobody asked.
    Unasked,
}

impl ZeroRole {
    /// Every role.
    pub const ALL: [Self; 4] = [Self::Opening, Self::Periodic, Self::Closing, Self::Unasked];

    /// As in entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Opening => "opening",
            Self::Periodic => "periodic",
            Self::Closing => "closing",
            Self::Unasked => "unasked",
        }
    }
}

/// A value, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// The station.
    pub station: String,
    /// The instrument.
    pub instrument: String,
    /// What it was shown as.
    pub value: Measured,
    /// The bytes.
    pub raw: Vec<u8>,
    /// How it flickered, if it was taken out of a stream.
    pub plateau: Option<Plateau>,
    /// What it was measured for; `None` while nothing was armed.
    pub slot: Option<ReadingSlot>,
    /// Whether it counts.
    pub standing: Standing,
}

/// How a value stood still in a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plateau {
    /// The middle one of its values.
    pub median: Quantity,
    /// The least.
    pub least: Quantity,
    /// The greatest.
    pub greatest: Quantity,
    /// How many frames there were.
    pub frames: u32,
}

/// What a reading was measured for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingSlot {
    /// The series.
    pub series: Seq,
    /// The piece, from 1.
    pub piece: u32,
    /// The axis.
    pub axis: AxisName,
    /// The terminal's id.
    pub terminal: String,
    /// The wire.
    pub wire: WireSize,
    /// Why.
    pub purpose: Purpose,
    /// What the sheet allows.
    pub limits: Limits,
    /// Value minus nominal, where there is a nominal.
    pub deviation: Option<Quantity>,
    /// The verdict; `None` for a reading that does not count.
    pub verdict: Option<Verdict>,
}

/// Whether a reading counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// It counts.
    Counted,
    /// It does not.
    NotCounted {
        /// Why.
        reason: NotCounted,
        /// What it may be instead, in words: `looks like a width`.
        hint: Option<String>,
    },
}

/// Why a reading does not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotCounted {
    /// Nothing is armed at the station.
    NotArmed,
    /// A zero is due first.
    ZeroDue,
    /// The last zero was off.
    ZeroOff,
    /// The origin was set with open jaws.
    OriginMoved,
    /// Further from nominal than is plausible.
    Implausible,
    /// Every slot has a reading.
    SeriesFull,
    /// The instrument cannot measure the axis in hand.
    WrongInstrument,
}

impl NotCounted {
    /// Every reason.
    pub const ALL: [Self; 7] = [
        Self::NotArmed,
        Self::ZeroDue,
        Self::ZeroOff,
        Self::OriginMoved,
        Self::Implausible,
        Self::SeriesFull,
        Self::WrongInstrument,
    ];

    /// As in entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotArmed => "not_armed",
            Self::ZeroDue => "zero_due",
            Self::ZeroOff => "zero_off",
            Self::OriginMoved => "origin_moved",
            Self::Implausible => "implausible",
            Self::SeriesFull => "series_full",
            Self::WrongInstrument => "wrong_instrument",
        }
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
            Self::Armed(_) => "armed",
            Self::Disarmed { .. } => "disarmed",
            Self::Completed(_) => "completed",
            Self::Zeroed(_) => "zeroed",
            Self::ZeroSaid { .. } => "zero_said",
            Self::Reading(_) => "reading",
            Self::Unread(_) => "unread",
            Self::Refused { .. } => "refused",
            Self::Doubted { .. } => "doubted",
            Self::Retracted { .. } => "retracted",
            Self::Noted { .. } => "noted",
            Self::Alerted { .. } => "alerted",
            Self::ClockStepped { .. } => "clock_stepped",
            Self::Gap { .. } => "gap",
            Self::DamageAccepted { .. } => "damage_accepted",
        }
    }
}
