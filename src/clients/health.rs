//! The health of the journal, as clients get it.

use std::time::Instant;

/// How the journal is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Health {
    /// Entries become durable.
    Ok,
    /// The disk has not answered since then; nothing is announced until it does.
    Stalled {
        /// When it was handed what it has not answered to.
        since: Instant,
    },
    /// There is no room; nothing counts.
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

    /// For how many seconds the disk has not answered, if it has stalled.
    pub fn stalled_seconds(self) -> Option<u64> {
        match self {
            Self::Stalled { since } => Some(since.elapsed().as_secs()),
            Self::Ok | Self::Full | Self::Failed => None,
        }
    }
}
