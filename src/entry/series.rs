//! What became of a series and of its readings; how it is closed stands in [`super::Completed`].

use super::{Means, Seq, Slot};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The operator closed a series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Disarmed {
    /// The station.
    pub station: String,
    /// The series.
    pub series: Seq,
}

/// A series that the last arming stopped early is open again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Resumed {
    /// The station.
    pub station: String,
    /// The series.
    pub series: Seq,
    /// Who measures from here on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// By what means.
    pub by: Means,
}

/// A zero has become due by time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroDue {
    /// The station.
    pub station: String,
    /// The instrument it is about.
    pub instrument: String,
    /// The series.
    pub series: Seq,
    /// Why, in words.
    pub reason: String,
}

/// Readings that a zero no longer vouches for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Doubted {
    /// The station.
    pub station: String,
    /// Their series.
    pub series: Seq,
    /// The readings.
    pub readings: Vec<Seq>,
    /// Why, in words.
    pub reason: String,
}

/// A reading that the operator retracted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retracted {
    /// The station.
    pub station: String,
    /// Its series.
    pub series: Seq,
    /// The reading.
    pub reading: Seq,
    /// By what means; `None` in entries that were written before it was kept.
    pub by: Option<Means>,
    /// What it filled; `None` in entries that were written before it was kept: these cannot be undone.
    pub slot: Option<Slot>,
    /// Why, if it was said.
    pub reason: Option<String>,
    /// Measuring destroyed the piece, so the next piece number is measured instead.
    pub spent: bool,
}

/// The last retraction of a series is undone: the reading counts again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Restored {
    /// The station.
    pub station: String,
    /// Its series.
    pub series: Seq,
    /// The reading.
    pub reading: Seq,
    /// By what means.
    pub by: Means,
}

/// A rule over several readings fired.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alerted {
    /// The station.
    pub station: String,
    /// The series.
    pub series: Seq,
    /// The rule's name.
    pub rule: String,
    /// The sentence for the operator.
    pub text: String,
    /// The readings it is about.
    pub readings: Vec<Seq>,
}
