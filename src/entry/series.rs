//! What happened to a series and its readings. The closing entry is [`super::Completed`].

use super::{Means, Seq, Slot};
use crate::spec::Lots;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The operator closed a series early.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Disarmed {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
}

/// A series that the last start stopped early was opened again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resumed {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// The operator from here on; `None` if nobody is named.
    pub operator: Option<String>,
    /// The reel and the spool in use from here on.
    pub lots: Lots,
    /// How the operator gave the command.
    pub by: Means,
}

/// A zero became due by time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroDue {
    /// Name of the station in the configuration.
    pub station: String,
    /// The instrument to check, by its name in the configuration.
    pub instrument: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Why the zero is due, in words.
    pub reason: String,
}

/// Readings were put in doubt: no zero vouches for them any more.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Doubted {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// `seq` of each reading, ascending.
    pub readings: Vec<Seq>,
    /// What put them in doubt, in words.
    pub reason: String,
}

/// The operator retracted a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retracted {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// `seq` of the reading's entry.
    pub reading: Seq,
    /// How the operator gave the command; `None` in entries of releases that did not store it.
    pub by: Option<Means>,
    /// The slot that becomes empty; `None` in entries of releases that did not store it. Those cannot be restored.
    pub slot: Option<Slot>,
    /// The operator's reason; `None` if none was given.
    pub reason: Option<String>,
    /// Measuring destroyed the piece, so the next piece number is measured instead.
    pub spent: bool,
}

/// The operator restored a retracted reading: it counts again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Restored {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// `seq` of the reading's entry.
    pub reading: Seq,
    /// How the operator gave the command.
    pub by: Means,
}

/// A run rule fired.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alerted {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Name of the run rule.
    pub rule: String,
    /// The sentence for the operator.
    pub text: String,
    /// `seq` of each reading of the pattern.
    pub readings: Vec<Seq>,
}
