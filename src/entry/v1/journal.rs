//! Entries about the journal and the daemon themselves.

use super::state;
use super::values::fault;
use crate::entry::line::LineError;
use crate::entry::{self, Entry, JournalId, Seq, State};
use crate::quantity::WallMicros;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Begun {
    journal: String,
}

impl From<&JournalId> for Begun {
    fn from(journal: &JournalId) -> Self {
        Self {
            journal: journal.0.clone(),
        }
    }
}

impl TryFrom<Begun> for Entry {
    type Error = LineError;

    fn try_from(body: Begun) -> Result<Self, LineError> {
        Ok(entry::Begun {
            journal: JournalId(body.journal),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Segment {
    journal: String,
    state: state::State,
}

impl Segment {
    pub(super) fn new(journal: &JournalId, state: &State) -> Self {
        Self {
            journal: journal.0.clone(),
            state: state.into(),
        }
    }
}

impl TryFrom<Segment> for Entry {
    type Error = LineError;

    fn try_from(body: Segment) -> Result<Self, LineError> {
        Ok(entry::Segment {
            journal: JournalId(body.journal),
            state: Box::new(body.state.try_into()?),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Started {
    pub(super) version: String,
    pub(super) config_digest: String,
}

impl TryFrom<Started> for Entry {
    type Error = LineError;

    fn try_from(body: Started) -> Result<Self, LineError> {
        Ok(entry::Started {
            version: body.version,
            config_digest: body.config_digest,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Stopped {
    pub(super) reason: String,
}

impl TryFrom<Stopped> for Entry {
    type Error = LineError;

    fn try_from(body: Stopped) -> Result<Self, LineError> {
        Ok(entry::Stopped {
            reason: body.reason,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct ClockStepped {
    /// How far the wall clock ran ahead, in microseconds.
    pub(super) by_us: i64,
}

impl TryFrom<ClockStepped> for Entry {
    type Error = LineError;

    fn try_from(body: ClockStepped) -> Result<Self, LineError> {
        Ok(entry::ClockStepped {
            by_micros: body.by_us,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Gap {
    pub(super) since: String,
    pub(super) frames: u64,
    pub(super) reason: String,
}

impl TryFrom<Gap> for Entry {
    type Error = LineError;

    fn try_from(body: Gap) -> Result<Self, LineError> {
        Ok(entry::Gap {
            since: time("since", &body.since)?,
            frames: body.frames,
            reason: body.reason,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct DamageAccepted {
    /// The first damaged entry.
    pub(super) damaged: u64,
    pub(super) reason: String,
}

impl TryFrom<DamageAccepted> for Entry {
    type Error = LineError;

    fn try_from(body: DamageAccepted) -> Result<Self, LineError> {
        Ok(entry::DamageAccepted {
            seq: Seq(body.damaged),
            reason: body.reason,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct RolledBack {
    pub(super) journal: String,
    /// The last entry that somebody knew.
    pub(super) known: u64,
    /// The entry that the journal ended with; 0 where it had vanished.
    pub(super) end: u64,
    pub(super) reason: String,
}

impl TryFrom<RolledBack> for Entry {
    type Error = LineError;

    fn try_from(body: RolledBack) -> Result<Self, LineError> {
        Ok(entry::RolledBack {
            journal: JournalId(body.journal),
            known: Seq(body.known),
            end: Seq(body.end),
            reason: body.reason,
        }
        .into())
    }
}

/// The time in a field.
pub(super) fn time(name: &str, text: &str) -> Result<WallMicros, LineError> {
    text.parse()
        .map_err(|_| fault(format!("`{name}` is {text:?}, want a time in UTC")))
}
