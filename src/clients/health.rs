//! The state of the journal that clients see.

use std::time::Instant;

/// State of the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Health {
    /// Entries become durable.
    Ok,
    /// The disk has not answered since a certain time. Nothing is announced until it does.
    Stalled {
        /// When the unanswered write was given to it.
        since: Instant,
    },
    /// The disk is full; nothing counts.
    Full,
    /// A write or sync failed; nothing is acknowledged any more.
    Failed,
}

impl Health {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Stalled { .. } => "stalled",
            Self::Full => "full",
            Self::Failed => "failed",
        }
    }

    /// Number of seconds without an answer, while the disk is stalled.
    pub fn stalled_seconds(self) -> Option<u64> {
        match self {
            Self::Stalled { since } => Some(since.elapsed().as_secs()),
            Self::Ok | Self::Full | Self::Failed => None,
        }
    }
}
