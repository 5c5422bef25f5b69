//! A series as `tallyjaw series --json` prints it.

use super::armed::{ArmedMessage, TallyMessage};
use super::state::LastMessage;
use crate::entry::block_error::BlockError;
use crate::entry::history::{ClosedSeries, Fate, fate};
use crate::entry::lowest::Lowest;
use crate::entry::state::SeriesState;
use crate::entry::{Reservation, Seq, Stamped, words};
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
    /// What takes from its weight: `calibration_overdue`, …
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reservations: Vec<&'static str>,
    /// Of its readings.
    pub tally: TallyMessage,
    /// Who measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// What it judged by.
    pub armed: ArmedMessage,
    /// What it rests on, if it is against a minimum of force and has a reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lowest: Option<LowestMessage>,
    /// Of a verification: the errors at each gauge block.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub block_errors: Vec<BlockErrorMessage>,
    /// Its readings, those that do not count too; only where one series was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub readings: Option<Vec<ReadingMessage>>,
}

/// The lowest force of a series against its minimum.
#[derive(Debug, Clone, Serialize)]
pub struct LowestMessage {
    /// What was measured.
    pub axis: String,
    /// The reading's entry.
    pub seq: u64,
    /// The piece, from 1.
    pub piece: u32,
    /// The value in millinewtons.
    pub value_mn: i64,
    /// The least that is good, in millinewtons.
    pub lower_mn: i64,
    /// The value less the minimum, in millinewtons.
    pub margin_mn: i64,
    /// All of it as a sentence.
    pub says: String,
}

impl LowestMessage {
    fn new(lowest: &Lowest) -> Self {
        Self {
            axis: lowest.axis.to_string(),
            seq: lowest.reading.seq.0,
            piece: lowest.reading.piece,
            value_mn: lowest.reading.value.quantity().base(),
            lower_mn: lowest.minimum.base(),
            margin_mn: lowest.margin(),
            says: lowest.to_string(),
        }
    }
}

/// The errors of an instrument at one gauge block, in nanometres.
#[derive(Debug, Clone, Serialize)]
pub struct BlockErrorMessage {
    /// What was measured.
    pub axis: String,
    /// The size of the block.
    pub size_nm: i64,
    /// How many readings count.
    pub n: usize,
    /// The least error of indication.
    pub least_nm: i64,
    /// The greatest.
    pub greatest_nm: i64,
    /// The maximum permissible error.
    pub max_error_nm: i64,
    /// All of it in words.
    pub says: String,
}

impl BlockErrorMessage {
    fn new(error: &BlockError) -> Self {
        Self {
            axis: error.axis.to_string(),
            size_nm: error.size.quantity().base(),
            n: error.readings,
            least_nm: error.least,
            greatest_nm: error.greatest,
            max_error_nm: error.allowed.base(),
            says: error.to_string(),
        }
    }
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
            reservations: closed.reservations.iter().map(|one| one.name()).collect(),
            tally: closed.tally.into(),
            ..Self::open(&closed.series)
        }
    }

    /// ` (calibration overdue)`: what stands beside its outcome.
    pub fn beside(&self) -> String {
        let all = Reservation::ALL.into_iter();
        let beside: Vec<_> = all
            .filter(|one| self.reservations.contains(&one.name()))
            .collect();
        words::beside(&beside)
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
            reservations: Vec::new(),
            tally: series.tally.into(),
            operator: series.spec.operator.clone(),
            armed: ArmedMessage::new(series),
            lowest: Lowest::of(series).as_ref().map(LowestMessage::new),
            block_errors: BlockError::of(series)
                .iter()
                .map(BlockErrorMessage::new)
                .collect(),
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
        let reading = stamped.entry.reading()?;
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
