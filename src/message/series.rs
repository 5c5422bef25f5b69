//! A series as `tallyjaw series --json` prints it.

use super::armed::ArmedMessage;
use super::state::LastMessage;
use crate::entry::block_error::BlockError;
use crate::entry::history::Listed;
use crate::entry::ledger::{Disposition, Whole};
use crate::entry::lowest::Lowest;
use crate::entry::{Reservation, Stamped, Tally, words};
use schemars::JsonSchema;
use serde::Serialize;

/// A series, open or closed.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SeriesMessage {
    /// Always `series`.
    pub kind: &'static str,
    /// Number of the series.
    pub series: u64,
    /// Name of the station in the configuration.
    pub station: String,
    /// Time of its start, RFC 3339 in UTC.
    pub opened: String,
    /// Time of its end, RFC 3339 in UTC; left out while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
    /// `accepted`, `rejected`, `undecided`, `cut_short` or `measured`; left out while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<&'static str>,
    /// Reservations of the outcome, such as `calibration_overdue`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reservations: Vec<&'static str>,
    /// Numbers of readings by verdict and disposition.
    pub tally: Tally,
    /// Operator; left out if unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// The series with everything that its verdicts depend on.
    pub armed: ArmedMessage,
    /// Lowest force; given for a series against a minimum that has a reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest: Option<LowestMessage>,
    /// Errors at each gauge block; given for a verification.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub block_errors: Vec<BlockErrorMessage>,
    /// All readings, those that do not count included; given only for a single series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Vec<ReadingMessage>>,
}

/// The lowest force of a series against its minimum.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct LowestMessage {
    /// Name of the axis, such as `pull_force`.
    pub axis: String,
    /// `seq` of the reading's entry.
    pub seq: u64,
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Lowest value, in millinewtons.
    pub value_mn: i64,
    /// Minimum of the sheet, in millinewtons.
    pub lower_mn: i64,
    /// Value minus minimum, in millinewtons.
    pub margin_mn: i64,
    /// The same as a sentence.
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
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BlockErrorMessage {
    /// Name of the axis: the measuring faces that were checked.
    pub axis: String,
    /// Nominal size of the block.
    pub size_nm: i64,
    /// Number of counted readings.
    pub n: usize,
    /// Minimum error of indication, in nanometres, with its sign.
    pub least_nm: i64,
    /// Maximum error of indication, in nanometres, with its sign.
    pub greatest_nm: i64,
    /// Maximum permissible error, in nanometres.
    pub max_error_nm: i64,
    /// The same in words.
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

/// A reading of a series, and whether it still counts.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ReadingMessage {
    /// Time of its entry, RFC 3339 in UTC.
    pub at: String,
    /// `stands`, `doubted` or `retracted`.
    pub fate: &'static str,
    /// The reading in the form in which `status` gives a station's last reading.
    pub reading: LastMessage,
}

impl SeriesMessage {
    /// Reservations after the outcome: ` (calibration overdue)`.
    pub fn beside(&self) -> String {
        let all = Reservation::ALL.into_iter();
        let beside: Vec<_> = all
            .filter(|one| self.reservations.contains(&one.name()))
            .collect();
        words::beside(&beside)
    }

    /// The message without readings.
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

    /// The message with its readings, taken from all entries about the series.
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

/// The name of a reading's present disposition.
const fn fate(disposition: Option<Disposition>) -> &'static str {
    match disposition {
        None | Some(Disposition::Counted | Disposition::NotCounted(_)) => "stands",
        Some(Disposition::Doubted(_)) => "doubted",
        Some(Disposition::Retracted(_)) => "retracted",
    }
}
