//! The next series of a plan that repeats: the same again, opened as soon as a series is full.
//!
//! In: the series as it is when it is completed. Out: what the next one judges by, and the zeros that
//! open it. The state keeps it until the next `armed`, since a kill can fall between the two entries.

use super::state::{SeriesState, ZeroState};
use super::{Completed, Outcome, Seq};
use crate::quantity::WallMicros;
use crate::spec::{ArmedSpec, OpeningZero};

/// A series that follows from the one before it and is not armed yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Repeat {
    /// What it judges by, opened by the closing zeros of the one before: no reading counted between.
    pub spec: Box<ArmedSpec>,
    /// When the one before was opened, by the wall clock as it is set now.
    pub since: WallMicros,
}

impl Repeat {
    /// What `series` owes now that it is completed; nothing if its plan does not repeat or somebody cut it short.
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

    /// The wall clock was set: times are by the clock as it is set now.
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
