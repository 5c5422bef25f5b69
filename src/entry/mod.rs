//! The journal entries in their newest version, and the state that follows from them.
//!
//! Plain values only: their form on disk is in `v1` and [`mod@line`].

mod adapter;
pub mod anchor;
pub mod answers;
pub mod audit;
pub mod block_error;
mod care;
mod completed;
mod counts;
mod digits;
pub mod glance;
pub mod history;
mod journal;
mod kinds;
pub mod ledger;
pub mod line;
pub mod lowest;
mod noting;
mod pictured;
pub mod production;
pub mod qualifying;
pub mod read_again;
mod reading;
pub mod repeat;
pub mod reservation;
pub mod resume;
pub mod runs;
mod said;
pub mod seal;
mod series;
pub mod spoken;
pub mod state;
#[cfg(test)]
pub(crate) mod strategies;
mod tablet;
pub mod undo;
mod v1;
pub mod words;
mod zeroed;

use crate::quantity::WallMicros;
use serde::{Deserialize, Serialize};
use std::fmt;

pub use adapter::{Adapter, AdapterChanged, AdapterSaid, Attached, Detached, Disturbed};
pub use anchor::{Anchor, NoAnchor};
pub use answers::{Answer, LookTally, Looked, Pulled};
pub use completed::{Completed, Outcome, Tally};
pub use counts::{Counts, Verdicts};
pub use digits::Digits;
pub use journal::{
    Begun, ClockStepped, ConfigurationEdited, DamageAccepted, FileEdited, Gap, RolledBack, Segment,
    Started, Stopped,
};
pub use kinds::{
    Entry, FrameEntry, FrameKind, JournalEntry, JournalKind, Kind, PortEntry, PortKind,
    ProductionEntry, ProductionKind, SaidEntry, SaidKind, SeriesEntry, SeriesKind,
};
pub use pictured::{MOST_PICTURES, PictureFile, PictureKept, Pictured};
pub use production::{Crimped, Held, HoldCause, RunClosed, RunEnd, RunOpened, SampleDue, Settled};
pub use read_again::ReadBy;
pub use reading::{NotCounted, Plateau, Reading, ReadingSlot, Standing};
pub use reservation::Reservation;
pub use said::{
    JobSaid, LotSaid, Means, Noted, OperatorSaid, Refused, RefusedSaying, ToolInHand, ToolSaid,
    ZeroSaid,
};
pub use seal::{KeyBegun, KeyInUse, Sealed};
pub use series::{Alerted, Disarmed, Doubted, Restored, Resumed, Retracted, ZeroDue};
pub use state::{Slot, State};
pub use tablet::{Paired, Revoked, TabletSaid};
pub use zeroed::{Unread, ZeroRole, Zeroed};

/// The number of an entry: 1, 2, 3, … without gaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
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

/// Identity of a journal: 32 lower-case hex digits, drawn at random when it began.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct JournalId(pub String);

impl fmt::Display for JournalId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// An entry with its place in the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamped {
    /// Number in the journal: 1, 2, 3 … without gaps.
    pub seq: Seq,
    /// When it happened, by the wall clock.
    pub at: WallMicros,
    /// Name of the token with which the command came; `None` if no program commanded it by a token.
    pub token: Option<String>,
    /// What happened.
    pub entry: Entry,
}
