//! When a series is full, and its outcome.

use super::{Core, arming, order, qualifying, zero};
use crate::entry::reservation::reservations;
use crate::entry::state::SeriesState;
use crate::entry::{Completed, Outcome};
use crate::quantity::Now;
use crate::spec::ArmedSpec;
use std::sync::Arc;

impl Core {
    /// Closes a series whose slots are all filled and whose closing zeros are good.
    pub(super) fn complete_if_full(&mut self, now: Now, station: &str) {
        let Some(series) = self.series(station) else {
            return;
        };
        if order::next(series).is_some()
            || series.next_question().is_some()
            || zero::closing_owed(&self.state, series)
        {
            return;
        }
        let completed = completed(series, series.outcome(), now);
        self.append(now, completed);
        self.arm_again(now, station);
    }

    /// Starts the next series of a plan that repeats, after a full one. The operator is whoever measures at the station
    /// now.
    pub(super) fn arm_again(&mut self, now: Now, station: &str) {
        let Some(station) = self.state.stations.get(station) else {
            return;
        };
        let Some(owed) = &station.repeat else {
            return;
        };
        if !self.catalog.stations.contains(&owed.spec.station) {
            return;
        }
        let mut spec = ArmedSpec {
            operator: station.operator.clone(),
            job: station.job.clone(),
            lots: station.lots.clone(),
            ..(*owed.spec).clone()
        };
        // A combination may lapse between two series. Then the next one is refused when a person starts it.
        if qualifying::require(&mut spec, &self.catalog, &self.state, now.wall).is_err() {
            return;
        }
        arming::note_care_again(&mut spec, owed.since, &self.state, now.wall);
        self.append(now, Arc::new(spec));
    }
}

/// The entry that closes `series` with this outcome.
pub(super) fn completed(series: &SeriesState, outcome: Outcome, now: Now) -> Completed {
    let station = series.spec.station.clone();
    Completed {
        station,
        series: series.id,
        outcome,
        tally: series.tally,
        looks: series.look_tally(),
        resumable: false,
        reservations: Some(reservations(series, now.wall)),
        counts: Some(Box::new(series.counts())),
    }
}
