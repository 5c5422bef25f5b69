//! Decides which series a note belongs to.

use super::Seq;
use super::state::StationState;
use crate::quantity::WallMicros;
use std::time::Duration;

/// A note within this time after the outcome still belongs to that series.
const NOTED_WITHIN: Duration = Duration::from_secs(600);

impl StationState {
    /// The series that a note made at `at` belongs to: the open one, or the last one if it was closed within ten
    /// minutes.
    pub fn noted_at(&self, at: WallMicros) -> Option<Seq> {
        if let Some(series) = &self.series {
            return Some(series.id);
        }
        let passed = at.0.saturating_sub(self.closed_at?.0);
        let most = i64::try_from(NOTED_WITHIN.as_micros()).unwrap_or(i64::MAX);
        let (closed, ..) = self.last_outcome?;
        // The time would be negative: the clock was set back while the daemon was off, so the distance is unknown.
        (0..=most).contains(&passed).then_some(closed)
    }
}
