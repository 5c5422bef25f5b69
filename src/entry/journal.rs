//! Entries about the journal and the daemon themselves.

use super::{JournalEntry, JournalId, Seq, State};
use crate::quantity::WallMicros;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A new journal begins.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Begun {
    /// Identity of the journal.
    pub journal: JournalId,
}

/// A new segment begins. It holds the state that follows from all entries before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Segment {
    /// Identity of the journal.
    pub journal: JournalId,
    /// The state after the entry before this one.
    pub state: Box<State>,
}

/// The daemon started.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Started {
    /// Version of the program, as `tallyjaw --version` prints it.
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

/// The wall clock was set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ClockStepped {
    /// How far the wall clock ran ahead, in microseconds.
    #[serde(rename = "by_us")]
    pub by_micros: i64,
}

/// Nothing was recorded for a time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gap {
    /// Wall time of the last entry before the gap.
    pub since: WallMicros,
    /// Number of frames that were received and not judged.
    pub frames: u64,
    /// Why nothing was recorded, in words.
    pub reason: String,
}

/// A person accepted that entries before this one are damaged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct DamageAccepted {
    /// The first damaged entry.
    #[serde(rename = "damaged")]
    pub seq: Seq,
    /// The damage that was found, in words.
    pub reason: String,
}

/// A person accepted that the journal lacks entries that somebody knew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RolledBack {
    /// The journal that somebody knew.
    pub journal: JournalId,
    /// The last entry that somebody knew.
    pub known: Seq,
    /// The last entry of the journal; 0 if the whole journal was missing.
    pub end: Seq,
    /// Who knew the entries, and which are missing.
    pub reason: String,
}

/// A person changed the configuration on the page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ConfigurationEdited {
    /// Who, as given on the page.
    pub who: String,
    /// `add`, `set` or `remove`.
    pub change: String,
    /// `terminal`, `row`, `plan`, `tool`, `operator` or `job`.
    pub list: String,
    /// The name of what was changed; for a row its terminal and wire.
    pub name: String,
    /// The files that were written, in this order.
    pub files: Vec<FileEdited>,
}

/// A file of the configuration that was written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FileEdited {
    /// The file, relative to the folder of the main file.
    pub file: String,
    /// SHA-256 of the old content; left out if the file is new.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<String>,
    /// SHA-256 of the new content.
    pub after: String,
    /// The name of the copy of the old file beside it; left out if the file is new.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub copy: Option<String>,
}

impl State {
    pub(super) fn apply_journal(&mut self, entry: &JournalEntry) {
        match entry {
            JournalEntry::Begun(begun) => self.journal = Some(begun.journal.clone()),
            JournalEntry::Segment(segment) => self.clone_from(&segment.state),
            JournalEntry::Started(_) => self.forget_ports("the daemon was not running"),
            JournalEntry::ClockStepped(stepped) => self.shift_times(stepped.by_micros),
            JournalEntry::KeyBegun(begun) => self.begin_key(begun),
            JournalEntry::Sealed(sealed) => self.seal(sealed),
            JournalEntry::Stopped(_)
            | JournalEntry::Gap(_)
            | JournalEntry::DamageAccepted(_)
            | JournalEntry::RolledBack(_)
            | JournalEntry::Paired(_)
            | JournalEntry::Revoked(_)
            | JournalEntry::TabletSaid(_)
            | JournalEntry::ConfigurationEdited(_) => {}
        }
    }
}
