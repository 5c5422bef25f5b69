//! A series as `tallyjaw series --json` prints it.

use super::armed::ArmedMessage;
use super::state::LastMessage;
use crate::entry::block_error::BlockError;
use crate::entry::history::Listed;
use crate::entry::ledger::{Disposition, Whole};
use crate::entry::lowest::Lowest;
use crate::entry::{Reservation, Stamped, Tally, words};
use serde::Serialize;

/// A series, open or closed.
#[derive(Debug, Clone, Serialize)]
pub struct SeriesMessage {
    /// `series`.
    pub kind: &'static str,
    /// Its id.
    pub series: u64,
    /// Name of the station in the configuration.
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
    pub tally: Tally,
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
    /// Its readings, those that do not count too; only where one series was named.
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
    /// The lower limit, in millinewtons.
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
    /// The smallest error of indication.
    pub least_nm: i64,
    /// The maximum error of indication, in nanometres, with its sign.
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
    /// As the feed gives the last reading of a station.
    pub reading: LastMessage,
}

impl SeriesMessage {
    /// ` (calibration overdue)`: what stands beside its outcome.
    pub fn beside(&self) -> String {
        let all = Reservation::ALL.into_iter();
        let beside: Vec<_> = all
            .filter(|one| self.reservations.contains(&one.name()))
            .collect();
        words::beside(&beside)
    }

    /// Without its readings.
    pub fn new(Listed { series, state }: &Listed) -> Self {
        let closed = series.closed.as_ref();
        let completed = closed.map(|closed| &closed.completed);
        let reservations = completed.map_or(&[][..], |completed| completed.reservations());
        Self {
            kind: "series",
            series: state.id.0,
            station: state.spec.station.clone(),
            opened: state.since.to_string(),
            closed: closed.map(|closed| closed.at.to_string()),
            outcome: completed.map(|completed| completed.outcome.name()),
            reservations: reservations.iter().map(|one| one.name()).collect(),
            tally: completed.map_or(state.tally, |completed| completed.tally),
            operator: state.spec.operator.clone(),
            armed: ArmedMessage::new(state),
            lowest: Lowest::of(state).as_ref().map(LowestMessage::new),
            block_errors: BlockError::of(state)
                .iter()
                .map(BlockErrorMessage::new)
                .collect(),
            readings: None,
        }
    }

    /// With its readings, out of all entries about it.
    pub fn with_readings(listed: &Listed, entries: &[Stamped]) -> Self {
        let readings = entries.iter().filter_map(|stamped| {
            let whole = Whole::of(stamped)?;
            Some(ReadingMessage {
                at: stamped.at.to_string(),
                fate: fate(listed.series.disposition(stamped.seq)),
                reading: LastMessage::new(stamped.seq, &whole.reading),
            })
        });
        Self {
            readings: Some(readings.collect()),
            ..Self::new(listed)
        }
    }
}

/// What became of a reading since it was entered.
const fn fate(disposition: Option<Disposition>) -> &'static str {
    match disposition {
        None | Some(Disposition::Counted | Disposition::NotCounted(_)) => "stands",
        Some(Disposition::Doubted(_)) => "doubted",
        Some(Disposition::Retracted(_)) => "retracted",
    }
}
