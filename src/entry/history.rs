//! The series of a journal, open and closed, as they are listed; and one with all that was said about it.
//!
//! In: entries in order. Out: each series as the ledger has it ([`super::ledger`]), with its state when it was closed.

use super::ledger::{Ledger, Series};
use super::state::SeriesState;
use super::{Entry, Seq, SeriesEntry, Stamped, State};
use std::collections::BTreeMap;

/// A series of a journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// What became of it and of its readings.
    pub series: Series<()>,
    /// As it was when it was closed, or is.
    pub state: SeriesState,
}

/// Every series of a journal.
#[derive(Debug, Default)]
pub struct History {
    state: State,
    ledger: Ledger<()>,
    /// As they were when they were closed, those that are not settled.
    closed: BTreeMap<Seq, SeriesState>,
}

impl History {
    /// Takes the next entry; the series that it settles.
    pub fn take(&mut self, stamped: &Stamped) -> Option<Listed> {
        if let Entry::Series(SeriesEntry::Completed(completed)) = &stamped.entry
            && let Some(state) = self.open(&completed.station)
            && state.id == completed.series
        {
            let state = state.clone();
            self.closed.insert(state.id, state);
        }
        self.state.apply(stamped);
        let series = self.ledger.take(stamped, Some(()))?;
        let state = self.closed.remove(&series.id)?;
        Some(Listed { series, state })
    }

    /// Those that are not settled, as they stand now.
    pub fn finish(self) -> Vec<Listed> {
        let Self {
            state,
            ledger,
            closed,
        } = self;
        let stations = state.stations.into_values();
        let open = stations.filter_map(|station| station.series);
        let mut states = closed;
        states.extend(open.map(|state| (state.id, state)));
        let listed = ledger.finish().filter_map(|series| {
            let state = states.remove(&series.id)?;
            Some(Listed { series, state })
        });
        listed.collect()
    }

    fn open(&self, station: &str) -> Option<&SeriesState> {
        self.state.stations.get(station)?.series.as_ref()
    }
}

/// One series, with every entry about it.
#[derive(Debug)]
pub struct OneSeries {
    wanted: Seq,
    history: History,
    settled: Option<Listed>,
    entries: Vec<Stamped>,
}

impl OneSeries {
    /// Of this id.
    pub fn new(wanted: Seq) -> Self {
        Self {
            wanted,
            history: History::default(),
            settled: None,
            entries: Vec::new(),
        }
    }

    /// Takes the next entry.
    pub fn take(&mut self, stamped: &Stamped) {
        if self.is_about_it(stamped) {
            self.entries.push(stamped.clone());
        }
        let settled = self.history.take(stamped);
        let it = settled.filter(|listed| listed.series.id == self.wanted);
        self.settled = it.or(self.settled.take());
    }

    /// The series, and every entry about it, from its `armed` on, with what happened at its station while it was open;
    /// `None` if there is none.
    pub fn finish(self) -> Option<(Listed, Vec<Stamped>)> {
        let is_it = |listed: &Listed| listed.series.id == self.wanted;
        let open = || self.history.finish().into_iter().find(is_it);
        Some((self.settled.or_else(open)?, self.entries))
    }

    /// About it, or what happened at its station while it was open: a reading that counts nowhere names no series,
    /// and is in its tally.
    fn is_about_it(&self, stamped: &Stamped) -> bool {
        if let Some(series) = stamped.series() {
            return series == self.wanted;
        }
        let open = stamped
            .entry
            .station()
            .and_then(|name| self.history.open(name));
        open.is_some_and(|open| open.id == self.wanted)
    }
}
