//! Which series a note is about.

use super::Seq;
use super::state::StationState;
use crate::quantity::WallMicros;
use std::time::Duration;

/// A note after the outcome is about that series, when it comes so soon.
const NOTED_WITHIN: Duration = Duration::from_secs(600);

impl StationState {
    /// The series that a note of this time belongs to: the open one, else the one that was closed last, if that was
    /// within ten minutes.
    pub fn noted_at(&self, at: WallMicros) -> Option<Seq> {
        if let Some(series) = &self.series {
            return Some(series.id);
        }
        let passed = at.0.saturating_sub(self.closed_at?.0);
        let most = i64::try_from(NOTED_WITHIN.as_micros()).unwrap_or(i64::MAX);
        let (closed, ..) = self.last_outcome?;
        // Before it was closed: the clock was set back while nobody looked, and nothing is known.
        (0..=most).contains(&passed).then_some(closed)
    }
}
