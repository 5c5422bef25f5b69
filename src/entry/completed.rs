//! The entry that closes a series, with its outcome.

use super::state::SeriesState;
use super::{Counts, LookTally, Reservation, Seq};
use crate::quantity::named;
use crate::spec::Verdict;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A series was closed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Completed {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// What follows from the counted readings.
    pub outcome: Outcome,
    /// Numbers of readings by verdict and disposition.
    pub tally: Tally,
    /// Numbers of its visual checks by answer; left out where its plan has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub looks: Option<LookTally>,
    /// The series was stopped early by an arming, and can be resumed until something is measured.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub resumable: bool,
    /// Reservations that limit the outcome; older releases left them out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reservations: Option<Vec<Reservation>>,
    /// What a display shows of it; older releases left it out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts: Option<Box<Counts>>,
}

impl Completed {
    /// The reservations; empty where the entry lists none.
    pub fn reservations(&self) -> &[Reservation] {
        self.reservations.as_deref().unwrap_or_default()
    }
}

named! {
    /// The outcome of a series.
    pub enum Outcome {
        /// Every counted reading has passed, and every visual check is good.
        Accepted = "accepted",
        /// Some counted reading failed, or some visual check is bad.
        Rejected = "rejected",
        /// No counted reading failed, but some are unsure.
        Undecided = "undecided",
        /// The series was closed before it was full.
        CutShort = "cut_short",
        /// Every piece was measured; some readings had no limits to be judged by.
        Measured = "measured",
    }
}

/// Numbers of readings by verdict and disposition. Every number is known, so 0 is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Tally {
    /// Counted, with the verdict `pass`.
    pub passed: u32,
    /// Counted, with the verdict `fail_low` or `fail_high`.
    pub failed: u32,
    /// Counted, with the verdict `unsure_low` or `unsure_high`.
    pub unsure: u32,
    /// Doubted because of a zero.
    pub doubted: u32,
    /// Retracted.
    pub retracted: u32,
    /// Never counted.
    pub not_counted: u32,
    /// Counted, with the verdict `measured`: without limits to be judged by. Left out where all readings had limits.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub measured: u32,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde gives a reference")]
const fn is_zero(count: &u32) -> bool {
    *count == 0
}

impl SeriesState {
    /// The outcome that follows from its readings and visual checks, once the series is full.
    pub fn outcome(&self) -> Outcome {
        let bad = self.look_tally().is_some_and(|looks| looks.bad > 0);
        if self.tally.failed > 0 || bad {
            Outcome::Rejected
        } else if self.tally.unsure > 0 {
            Outcome::Undecided
        } else if self.tally.measured > 0 {
            Outcome::Measured
        } else {
            Outcome::Accepted
        }
    }
}

impl Tally {
    /// The number of readings with this verdict.
    pub fn of(&mut self, verdict: Verdict) -> &mut u32 {
        match verdict {
            Verdict::Pass => &mut self.passed,
            Verdict::FailLow | Verdict::FailHigh => &mut self.failed,
            Verdict::UnsureLow | Verdict::UnsureHigh => &mut self.unsure,
            Verdict::Measured => &mut self.measured,
        }
    }
}
