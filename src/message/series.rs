//! A series as `tallyjaw series --json` prints it.

use super::armed::{ArmedMessage, TallyMessage};
use super::state::LastMessage;
use crate::entry::history::{ClosedSeries, Fate, fate};
use crate::entry::state::SeriesState;
use crate::entry::{Entry, Seq, Stamped};
use serde::Serialize;

/// A series, open or closed.
#[derive(Debug, Clone, Serialize)]
pub struct SeriesMessage {
    /// `series`.
    pub kind: &'static str,
    /// Its id.
    pub series: u64,
    /// The station.
    pub station: String,
    /// When it was opened.
    pub opened: String,
    /// When it was closed; left out while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
    /// `accepted`, `rejected`, `undecided` or `cut_short`; left out while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<&'static str>,
    /// Of its readings.
    pub tally: TallyMessage,
    /// Who measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// What it judged by.
    pub armed: ArmedMessage,
    /// Its readings, those that do not count too; only where one series was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub readings: Option<Vec<ReadingMessage>>,
}

/// A reading of a series, and what became of it.
#[derive(Debug, Clone, Serialize)]
pub struct ReadingMessage {
    /// When it came.
    pub at: String,
    /// `stands`, `doubted` or `retracted`.
    pub fate: &'static str,
    /// The reading.
    pub reading: LastMessage,
}

impl SeriesMessage {
    /// Of a closed series.
    pub fn closed(closed: &ClosedSeries) -> Self {
        Self {
            closed: Some(closed.at.to_string()),
            outcome: Some(closed.outcome.name()),
            tally: closed.tally.into(),
            ..Self::open(&closed.series)
        }
    }

    /// Of an open one.
    pub fn open(series: &SeriesState) -> Self {
        Self {
            kind: "series",
            series: series.id.0,
            station: series.spec.station.clone(),
            opened: series.since.to_string(),
            closed: None,
            outcome: None,
            tally: series.tally.into(),
            operator: series.spec.operator.clone(),
            armed: ArmedMessage::new(series),
            readings: None,
        }
    }

    /// With its readings, from all entries about it.
    #[must_use]
    pub fn with_readings(mut self, entries: &[Stamped]) -> Self {
        self.readings = Some(
            entries
                .iter()
                .filter_map(|stamped| ReadingMessage::new(stamped, entries))
                .collect(),
        );
        self
    }
}

impl ReadingMessage {
    fn new(stamped: &Stamped, entries: &[Stamped]) -> Option<Self> {
        let Entry::Reading(reading) = &stamped.entry else {
            return None;
        };
        Some(Self {
            at: stamped.at.to_string(),
            fate: name(fate(entries, Seq(stamped.seq.0))),
            reading: LastMessage::new(stamped.seq, reading),
        })
    }
}

const fn name(fate: Fate) -> &'static str {
    match fate {
        Fate::Stands => "stands",
        Fate::Doubted => "doubted",
        Fate::Retracted => "retracted",
    }
}
