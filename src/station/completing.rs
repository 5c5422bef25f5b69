//! When a series is full, and what came out of it.

use super::{Core, arming, order, zero};
use crate::entry::state::{SeriesState, ZeroState};
use crate::entry::{Completed, Entry, Outcome, Seq, Tally};
use crate::quantity::Now;
use crate::spec::{ArmedSpec, OpeningZero};

impl Core {
    /// The same again, measured by whoever measures now.
    fn repeated(&self, series: &SeriesState) -> ArmedSpec {
        let station = self.state.stations.get(&series.spec.station);
        ArmedSpec {
            operator: station.and_then(|station| station.operator.clone()),
            opening_zeros: opening_zeros(series),
            ..series.spec.clone()
        }
    }

    /// Closes a series whose slots are full and whose zeros are closed.
    pub(super) fn complete_if_full(&mut self, now: Now, station: &str) {
        let Some(series) = self.series(station) else {
            return;
        };
        if order::next_slot(series).is_some() || zero::closing_owed(&self.state, series) {
            return;
        }
        let next = series.spec.repeat.then(|| Box::new(self.repeated(series)));
        let before = series.since;
        let completed = completed(series, outcome(series.tally));
        self.append(now, Entry::Completed(completed));
        if let Some(mut spec) = next {
            arming::note_care_again(&mut spec, before, &self.state, now.wall);
            self.append(now, Entry::Armed(spec));
        }
    }
}

/// What the next series judges by, opened by the closing zeros of this one: no reading counted between.
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

/// The closing entry of `series`.
pub(super) fn completed(series: &SeriesState, outcome: Outcome) -> Completed {
    let station = series.spec.station.clone();
    Completed {
        station,
        series: series.id,
        outcome,
        tally: series.tally,
    }
}

/// What the readings of a full series amount to.
fn outcome(tally: Tally) -> Outcome {
    if tally.failed > 0 {
        Outcome::Rejected
    } else if tally.unsure > 0 {
        Outcome::Undecided
    } else {
        Outcome::Accepted
    }
}
