//! Which tablets were let in to the bench page, and what was said by one. No secret stands in any of these.

use super::Seq;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A tablet was paired: from here on it may read and command.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Paired {
    /// The name that a person gave it.
    pub tablet: String,
}

/// The pairing of a tablet was revoked: from here on it may do nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Revoked {
    /// Its name.
    pub tablet: String,
}

/// A command came from a tablet; it stands behind the entries that the command made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TabletSaid {
    /// Its name.
    pub tablet: String,
    /// The first entry that the command made.
    pub first_entry: Seq,
    /// The last one.
    pub last_entry: Seq,
}
