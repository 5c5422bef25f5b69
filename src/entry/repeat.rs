//! The next series of a plan that repeats. It is opened as soon as a series is full.
//!
//! In: the series that was completed. Out: the specification of the next one, with the zeros that open it. The state
//! keeps this until the next `armed`, because the process can be killed between the two entries.

use super::state::{SeriesState, ZeroState};
use super::{Completed, Outcome, Seq};
use crate::quantity::WallMicros;
use crate::spec::{ArmedSpec, OpeningZero};

/// The next series of a plan that repeats, before it is armed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repeat {
    /// Its specification. The closing zeros of the last series open it, because no reading counted in between.
    pub spec: Box<ArmedSpec>,
    /// When the last series was opened, by the wall clock as it is set now.
    pub since: WallMicros,
}

impl Repeat {
    /// The next series after `series` was completed; `None` if its plan does not repeat, or if it was stopped early.
    pub(super) fn owed(series: &SeriesState, completed: &Completed) -> Option<Self> {
        let over = !series.spec.repeat || completed.outcome == Outcome::CutShort;
        (!over).then(|| Self {
            spec: Box::new(ArmedSpec {
                opening_zeros: opening_zeros(series),
                ..series.spec.clone()
            }),
            since: series.since,
        })
    }

    /// Corrects the time after the wall clock was set.
    pub(super) fn shift(&mut self, by_micros: i64) {
        self.since.0 = self.since.0.saturating_add(by_micros);
        for zero in &mut self.spec.opening_zeros {
            zero.at.0 = zero.at.0.saturating_add(by_micros);
        }
    }
}

fn opening_zeros(series: &SeriesState) -> Vec<OpeningZero> {
    let closing = |(name, zero): (&String, &ZeroState)| {
        let (Seq(zeroed), at) = zero.last_good.filter(|_| zero.closed && !zero.off)?;
        Some(OpeningZero {
            instrument: name.clone(),
            zeroed,
            at,
        })
    };
    series.zeros.iter().filter_map(closing).collect()
}
