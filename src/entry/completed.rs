//! What came out of a series.

use super::{Reservation, Seq};
use crate::quantity::named;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A series is closed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Completed {
    /// Its name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// What came out.
    pub outcome: Outcome,
    /// Of its readings.
    pub tally: Tally,
    /// An arming stopped it early: it can be resumed until something else is measured.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub resumable: bool,
    /// What takes from the weight of the outcome; left out by older releases, which did not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reservations: Option<Vec<Reservation>>,
}

impl Completed {
    /// What takes from its weight, as far as it is said.
    pub fn reservations(&self) -> &[Reservation] {
        self.reservations.as_deref().unwrap_or_default()
    }
}

named! {
    /// What came out of a series.
    pub enum Outcome {
        /// Every counted reading passed.
        Accepted = "accepted",
        /// Some counted reading failed.
        Rejected = "rejected",
        /// None failed, but some are unsure.
        Undecided = "undecided",
        /// It was closed before it was full.
        CutShort = "cut_short",
    }
}

/// How many readings came out how. A count that is there is known, so 0 is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Tally {
    /// Counted and passed.
    pub passed: u32,
    /// Counted and failed.
    pub failed: u32,
    /// Counted and unsure.
    pub unsure: u32,
    /// Doubted because of a zero.
    pub doubted: u32,
    /// Retracted.
    pub retracted: u32,
    /// Never counted.
    pub not_counted: u32,
}
