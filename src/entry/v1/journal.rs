//! Entries about the journal whose form on disk differs from the struct.

use super::state;
use super::values::fault;
use crate::entry::line::LineError;
use crate::entry::{self, Entry, JournalId};
use crate::quantity::WallMicros;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Segment {
    journal: JournalId,
    state: state::State,
}

impl From<&entry::Segment> for Segment {
    fn from(segment: &entry::Segment) -> Self {
        Self {
            journal: segment.journal.clone(),
            state: (&*segment.state).into(),
        }
    }
}

impl TryFrom<Segment> for Entry {
    type Error = LineError;

    fn try_from(body: Segment) -> Result<Self, LineError> {
        Ok(entry::Segment {
            journal: body.journal,
            state: Box::new(body.state.try_into()?),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Gap {
    since: String,
    frames: u64,
    reason: String,
}

impl From<&entry::Gap> for Gap {
    fn from(gap: &entry::Gap) -> Self {
        Self {
            since: gap.since.to_string(),
            frames: gap.frames,
            reason: gap.reason.clone(),
        }
    }
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

/// The time in a field.
pub(super) fn time(name: &str, text: &str) -> Result<WallMicros, LineError> {
    text.parse()
        .map_err(|_| fault(format!("`{name}` is {text:?}, want a time in UTC")))
}
