//! The counts of a series that a display shows: how many slots, how many are filled, by which verdicts, and what is left.
//!
//! In: a series. Out: its counts, after retractions and doubts.

use super::lowest::Lowest;
use super::state::{CountedReading, SeriesState};
use crate::spec::Verdict;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a display shows of a series: its slots and its counted readings, after retractions and doubts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Counts {
    /// Number of readings that make the series full: pieces times axes.
    pub slots: u64,
    /// Number of slots with a counted reading.
    pub filled: u64,
    /// Number of slots whose reading was doubted and that must be measured again.
    pub doubted_left: u64,
    /// Numbers of counted readings by verdict.
    pub verdicts: Verdicts,
    /// The lowest counted force; left out where no force with a minimum was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest_mn: Option<i64>,
}

/// Numbers of counted readings by the verdict of their entry. Every number is known, so 0 is written. In `tally`,
/// `passed` is `pass`, `failed` is `fail_low` plus `fail_high`, `unsure` is `unsure_low` plus `unsure_high`, and
/// `measured` is the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Verdicts {
    /// Within the acceptance limits.
    pub pass: u64,
    /// Below the lower limit.
    pub fail_low: u64,
    /// Above the upper limit.
    pub fail_high: u64,
    /// Within the guard band of the lower limit.
    pub unsure_low: u64,
    /// Within the guard band of the upper limit.
    pub unsure_high: u64,
    /// Measured only, without limits.
    pub measured: u64,
}

impl Verdicts {
    const fn of(&mut self, verdict: Verdict) -> &mut u64 {
        match verdict {
            Verdict::Pass => &mut self.pass,
            Verdict::FailLow => &mut self.fail_low,
            Verdict::FailHigh => &mut self.fail_high,
            Verdict::UnsureLow => &mut self.unsure_low,
            Verdict::UnsureHigh => &mut self.unsure_high,
            Verdict::Measured => &mut self.measured,
        }
    }
}

impl SeriesState {
    /// The counts of its display.
    pub fn counts(&self) -> Counts {
        let mut verdicts = Verdicts::default();
        for reading in &self.readings {
            *verdicts.of(reading.verdict) += 1;
        }
        Counts {
            slots: self.slots(),
            filled: count(self.readings.len()),
            doubted_left: count(self.doubted_left().count()),
            verdicts,
            lowest_mn: Lowest::of(self).map(|lowest| lowest.reading.value.quantity().base()),
        }
    }

    /// Number of readings that make it full.
    pub fn slots(&self) -> u64 {
        count(self.spec.axes.len()).saturating_mul(u64::from(self.spec.pieces))
    }

    /// The doubted readings whose slots must be measured again.
    pub fn doubted_left(&self) -> impl Iterator<Item = &CountedReading> {
        let is_left = |one: &&CountedReading| {
            let mut counted = self.readings.iter();
            !self.spent.contains(&one.piece) && !counted.any(|counted| counted.is_in_slot_of(one))
        };
        self.doubted.iter().filter(is_left)
    }

    /// Keeps a reading that is in doubt, in place of an earlier one of its slot.
    pub(super) fn keep_doubted(&mut self, reading: CountedReading) {
        self.doubted.retain(|known| !known.is_in_slot_of(&reading));
        self.doubted.push(reading);
    }
}

impl CountedReading {
    fn is_in_slot_of(&self, other: &Self) -> bool {
        self.piece == other.piece && self.axis == other.axis
    }
}

fn count(number: usize) -> u64 {
    u64::try_from(number).unwrap_or(u64::MAX)
}
