//! What became of a series and of its readings; how it is closed stands in [`super::Completed`].

use super::{Means, Seq, Slot};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The operator closed a series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Disarmed {
    /// Its name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
}

/// A series that the last arming stopped early is open again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Resumed {
    /// Its name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Who measures from here on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// Card, pedal, command or page: how the operator asked.
    pub by: Means,
}

/// A zero has become due by time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroDue {
    /// Its name in the configuration.
    pub station: String,
    /// The instrument it is about.
    pub instrument: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Why, in words.
    pub reason: String,
}

/// Readings that a zero no longer vouches for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Doubted {
    /// Its name in the configuration.
    pub station: String,
    /// Their series.
    pub series: Seq,
    /// `seq` of each, ascending.
    pub readings: Vec<Seq>,
    /// Why, in words.
    pub reason: String,
}

/// A reading that the operator retracted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retracted {
    /// Its name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// `seq` of its entry.
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
    /// Its name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// `seq` of its entry.
    pub reading: Seq,
    /// Card, pedal, command or page: how the operator asked.
    pub by: Means,
}

/// A rule over several readings fired.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alerted {
    /// Its name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// The rule's name.
    pub rule: String,
    /// The sentence for the operator.
    pub text: String,
    /// The readings it is about.
    pub readings: Vec<Seq>,
}
