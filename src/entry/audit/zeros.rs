//! Checks zeros: a good one is within its limit, one that is off puts the right readings in doubt, and each counted
//! reading and each outcome has the zeros that its plan requires.

use super::{Findings, shown};
use crate::entry::state::SeriesState;
use crate::entry::{Reading, State, Zeroed};
use crate::quantity::Quantity;

impl Findings {
    /// A good zero was made with closed jaws, and its value is within the limit of its series. A zero that is off may
    /// show such a value too: the worst value of a plateau decides, but only one value is entered.
    pub(super) fn zeroed(&mut self, before: &State, zeroed: &Zeroed) {
        self.open(before, &zeroed.station, zeroed.series);
        if let Some(series) = before.series(&zeroed.station) {
            self.all_in_doubt(series);
        }
        if !zeroed.ok {
            return;
        }
        self.compare("opening at a good zero", &zeroed.opening, &None, shown);
        let Some(limit) = before
            .series(&zeroed.station)
            .and_then(|series| limit(series, &zeroed.instrument))
        else {
            return;
        };
        let value = zeroed.value.quantity();
        let fits = value.dimension() == limit.dimension();
        if fits && value.base().saturating_abs() > limit.base() {
            let want = format!("at most {limit} from zero");
            self.add("value of a good zero", zeroed.value.to_string(), want);
        }
    }

    /// A reading counts only after the good zero that its plan requires, and while the last zero is not off.
    pub(super) fn zeroed_before(&mut self, series: &SeriesState, reading: &Reading) {
        let instrument = &*reading.instrument;
        let zero = series.zeros.get(instrument);
        let last_good = zero.and_then(|zero| zero.last_good);
        if series.spec.zero.before_first && last_good.is_none() {
            self.add("zero before a counted reading", "none", "a good one");
        }
        if zero.is_some_and(|zero| zero.off) {
            self.add("zero before a counted reading", "off", "a good one");
        }
        self.all_in_doubt(series);
    }

    /// If a closing zero is required, a good one came after the last reading of each instrument.
    pub(super) fn zeroed_after(&mut self, series: &SeriesState) {
        if !series.spec.zero.closing {
            return;
        }
        for instrument in &series.spec.instruments {
            let name = instrument.name.as_str();
            let is_used = series.readings.iter().any(|one| *one.instrument == *name);
            let is_closed = series.zeros.get(name).is_some_and(|zero| zero.closed);
            if is_used && !is_closed {
                let got = format!("none of {name}");
                self.add("closing zero", got, "a good one");
            }
        }
    }

    /// No reading counts that a zero which is off has put in doubt.
    pub(super) fn all_in_doubt(&mut self, series: &SeriesState) {
        for (name, _) in series.zeros.iter().filter(|(_, zero)| zero.off) {
            for seq in series.unvouched(name) {
                let want = format!("in doubt, because a zero of {name} was off");
                self.add("reading that counts", seq.to_string(), want);
            }
        }
    }
}

/// The largest distance from zero that a good zero of this instrument shows.
fn limit(series: &SeriesState, instrument: &str) -> Option<Quantity> {
    let resolution = series.spec.instrument(instrument)?.resolution;
    let counts = i64::from(series.spec.zero.limit_counts);
    let base = resolution.base().saturating_mul(counts);
    Some(Quantity::from_base(resolution.dimension(), base))
}
