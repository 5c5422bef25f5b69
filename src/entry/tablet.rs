//! Entries about tablets: which were paired with the bench page, and which commands came from one. None of them
//! contains a secret.

use super::Seq;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A tablet was paired: from here on it may read and give commands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Paired {
    /// The name that the person gave to the tablet.
    pub tablet: String,
}

/// The pairing of a tablet was revoked: from here on it has no access.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Revoked {
    /// Name of the tablet.
    pub tablet: String,
}

/// A command came from a tablet. This follows the entries that the command made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TabletSaid {
    /// Name of the tablet.
    pub tablet: String,
    /// The first entry that the command made.
    pub first_entry: Seq,
    /// The last entry that the command made.
    pub last_entry: Seq,
}
