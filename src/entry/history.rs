//! Lists the series of a journal, open and closed, and collects all entries about one of them.
//!
//! In: entries in order. Out: each series from the ledger ([`super::ledger`]), with its state at its end.

use super::ledger::{Ledger, Need, Series};
use super::state::SeriesState;
use super::{Entry, Seq, SeriesEntry, Stamped, State};
use std::collections::BTreeMap;

/// A series of a journal, as lists show it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Its readings, and how it was closed.
    pub series: Series<()>,
    /// State of the series when it was closed, or now if it is open.
    pub state: SeriesState,
}

/// Collects every series of a journal.
#[derive(Debug, Default)]
pub struct History {
    state: State,
    ledger: Ledger<()>,
    /// States at closing of the series that may still be resumed.
    closed: BTreeMap<Seq, SeriesState>,
}

impl History {
    /// Takes the next entry. Returns the series that no later entry can change.
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

    /// Whether a reading or a zero changes more than the open series of its station: it may end the chance to resume the
    /// one that was stopped before.
    pub fn needs_frames(&self) -> bool {
        self.ledger.needs(Need::WhileStopped)
    }

    /// The series that later entries could still change, in their present state.
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

/// Collects one series with every entry about it.
#[derive(Debug)]
pub struct OneSeries {
    wanted: Seq,
    history: History,
    settled: Option<Listed>,
    entries: Vec<Stamped>,
}

impl OneSeries {
    /// Collects the series whose `armed` entry has this number.
    pub fn new(wanted: Seq) -> Self {
        Self {
            wanted,
            history: History::default(),
            settled: None,
            entries: Vec::new(),
        }
    }

    /// Takes the next entry of the journal.
    pub fn take(&mut self, stamped: &Stamped) {
        if self.is_about_it(stamped) {
            self.entries.push(stamped.clone());
        }
        let settled = self.history.take(stamped);
        let it = settled.filter(|listed| listed.series.id == self.wanted);
        self.settled = it.or(self.settled.take());
    }

    /// Whether no later entry can change the series. A note or a picture may still name it.
    pub fn is_settled(&self) -> bool {
        self.settled.is_some()
    }

    /// The series with every entry about it, from its `armed` on, and what happened at its station while it was open;
    /// `None` if the journal has no such series.
    pub fn finish(self) -> Option<(Listed, Vec<Stamped>)> {
        let is_it = |listed: &Listed| listed.series.id == self.wanted;
        let open = || self.history.finish().into_iter().find(is_it);
        Some((self.settled.or_else(open)?, self.entries))
    }

    /// Whether an entry is about the series, or happened at its station while it was open. A reading that does not
    /// count may name no series, but is part of the tally.
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
