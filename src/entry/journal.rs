//! What happened to the journal and to the daemon.

use super::{JournalId, Seq, State};
use crate::quantity::WallMicros;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A new journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Begun {
    /// Its name.
    pub journal: JournalId,
}

/// A new segment, with all that the entries before it amount to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// The journal's name.
    pub journal: JournalId,
    /// The state so far.
    pub state: Box<State>,
}

/// The daemon started.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Started {
    /// Of the program, as `tallyjaw --version` prints it.
    pub version: String,
    /// SHA-256 of its configuration files, hex.
    pub config_digest: String,
}

/// The daemon stopped, or read its configuration again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Stopped {
    /// Why: `SIGTERM`, `reload`, …
    pub reason: String,
}

/// Wall clock and monotonic clock parted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ClockStepped {
    /// How far the wall clock ran ahead, in microseconds.
    #[serde(rename = "by_us")]
    pub by_micros: i64,
}

/// Nothing was recorded for a while.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// Wall clock of the last entry before it.
    pub since: WallMicros,
    /// How many frames were not judged.
    pub frames: u64,
    /// Why.
    pub reason: String,
}

/// A person accepted that entries before this one are damaged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct DamageAccepted {
    /// The first damaged entry.
    #[serde(rename = "damaged")]
    pub seq: Seq,
    /// What was wrong.
    pub reason: String,
}

/// A person accepted that the journal is not as far as somebody knew it to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RolledBack {
    /// The journal that was known.
    pub journal: JournalId,
    /// The last entry that somebody knew.
    pub known: Seq,
    /// The entry that the journal ended with; 0 where it had vanished.
    pub end: Seq,
    /// Who knew it, and what is gone.
    pub reason: String,
}
