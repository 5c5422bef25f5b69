//! A zero that becomes due by time gets an entry at that time, so that every screen shows it without polling.

use super::{Core, order, zero};
use crate::entry::ZeroDue;
use crate::entry::state::SeriesState;
use crate::quantity::{Now, WallMicros};
use std::time::Duration;

impl Core {
    /// Appends an entry for each zero that has become due by time.
    pub(super) fn append_due_zeros(&mut self, now: Now) {
        if self.zero_due_at.is_none_or(|at| at > now.mono) {
            return;
        }
        let due: Vec<ZeroDue> = self.timed(|series, name| self.due_now(now.wall, series, name));
        for entry in due {
            self.append(now, entry);
        }
        self.schedule_next_zero(now);
    }

    /// Computes when the next zero becomes due by time.
    pub(super) fn schedule_next_zero(&mut self, now: Now) {
        let waits = self.timed(|series, name| self.due_in(now.wall, series, name));
        let soonest = waits.into_iter().min();
        self.zero_due_at = soonest.map(|wait| now.mono.plus(wait));
    }

    /// Calls `ask` for each instrument of the open series whose plan requires zeros by time.
    fn timed<T>(&self, ask: impl Fn(&SeriesState, &str) -> Option<T>) -> Vec<T> {
        let stations = self.state.stations.values();
        let open = stations.filter_map(|station| station.series.as_ref());
        let mut answers = Vec::new();
        for series in open.filter(|series| series.spec.zero.every.is_some()) {
            let instruments = series.spec.instruments.iter();
            answers.extend(instruments.filter_map(|known| ask(series, &known.name)));
        }
        answers
    }

    /// The entry for a zero of `instrument` that became due by time and has no entry yet.
    fn due_now(&self, now: WallMicros, series: &SeriesState, instrument: &str) -> Option<ZeroDue> {
        let text = series
            .zeros
            .get(instrument)
            .is_some_and(|zero| zero.time_due);
        let due = zero::due(&self.state, series, instrument, Some(now))?;
        let by_time = matches!(due, zero::Due::Time(_));
        (by_time && !text).then(|| ZeroDue {
            station: series.spec.station.clone(),
            series: series.id,
            instrument: instrument.to_owned(),
            reason: due.to_string(),
        })
    }

    /// Time until a zero of `instrument` becomes due by time; `None` while one is due for another reason.
    fn due_in(&self, now: WallMicros, series: &SeriesState, instrument: &str) -> Option<Duration> {
        if zero::due(&self.state, series, instrument, None).is_some() {
            return None;
        }
        // After the last slot no zero becomes due by time; the closing zero follows.
        order::next(series)?;
        let since = zero::last_good_or_start(series, instrument)?;
        let left = zero::time_left(series.spec.zero.every?, since, now);
        // At least a millisecond, so that a clock that was set cannot make the core spin.
        Some(left.max(Duration::from_millis(1)))
    }
}
