//! The series of a journal, open and closed, folded from its entries.
//!
//! In: entries in order. Out: a record a series; of one that is asked for, every entry about it.

use super::state::SeriesState;
use super::{Completed, Entry, Outcome, Reservation, Seq, SeriesEntry, Stamped, State, Tally};
use crate::quantity::WallMicros;

/// A series that was closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClosedSeries {
    /// The series as it was when it was closed.
    pub series: SeriesState,
    /// When it was closed.
    pub at: WallMicros,
    /// What came out.
    pub outcome: Outcome,
    /// Of its readings.
    pub tally: Tally,
    /// What takes from the weight of the outcome.
    pub reservations: Vec<Reservation>,
}

/// Every series of a journal.
#[derive(Debug, Default)]
pub struct History {
    state: State,
    closed: Vec<ClosedSeries>,
    wanted: Option<Seq>,
    entries: Vec<Stamped>,
}

impl History {
    /// Of all series, with the entries about one of them.
    pub fn new(wanted: Option<Seq>) -> Self {
        Self {
            wanted,
            ..Self::default()
        }
    }

    /// Takes the next entry.
    pub fn apply(&mut self, stamped: &Stamped) {
        if self.wanted.is_some() && self.is_about_wanted(stamped) {
            self.entries.push(stamped.clone());
        }
        if let Entry::Series(SeriesEntry::Completed(completed)) = &stamped.entry {
            self.close(stamped.at, completed);
        }
        if let Entry::Series(SeriesEntry::Resumed(resumed)) = &stamped.entry {
            let is_other = |closed: &ClosedSeries| closed.series.id != resumed.series;
            self.closed.retain(is_other);
        }
        self.state.apply(stamped);
    }

    /// About it, or what happened at its station while it was open: a reading that counts nowhere names no series,
    /// and is in its tally.
    fn is_about_wanted(&self, stamped: &Stamped) -> bool {
        if let Some(series) = stamped.series() {
            return Some(series) == self.wanted;
        }
        let station = stamped
            .entry
            .station()
            .and_then(|name| self.state.stations.get(name));
        station.is_some_and(|station| {
            let open = station.series.as_ref().map(|series| series.id);
            open.is_some() && open == self.wanted
        })
    }

    fn close(&mut self, at: WallMicros, completed: &Completed) {
        let open = self
            .state
            .stations
            .get(&completed.station)
            .and_then(|station| station.series.as_ref())
            .filter(|series| series.id == completed.series);
        if let Some(series) = open {
            self.closed.push(ClosedSeries {
                series: series.clone(),
                at,
                outcome: completed.outcome,
                tally: completed.tally,
                reservations: completed.reservations().to_vec(),
            });
        }
    }

    /// The closed series, in the order in which they were closed.
    pub fn closed(&self) -> &[ClosedSeries] {
        &self.closed
    }

    /// Takes the closed series out, so that they do not gather; those that can be resumed stay.
    pub fn take_closed(&mut self) -> Vec<ClosedSeries> {
        if self.closed.is_empty() {
            return Vec::new();
        }
        let stations = self.state.stations.values();
        let stopped = stations.filter_map(|station| station.stopped.as_ref());
        let stopped: Vec<Seq> = stopped.map(|stopped| stopped.series.id).collect();
        let closed = std::mem::take(&mut self.closed);
        let (stay, gone) = closed
            .into_iter()
            .partition(|closed| stopped.contains(&closed.series.id));
        self.closed = stay;
        gone
    }

    /// The open series, in the order of their stations.
    pub fn open(&self) -> impl Iterator<Item = &SeriesState> {
        self.state
            .stations
            .values()
            .filter_map(|station| station.series.as_ref())
    }

    /// Every entry about the series that was asked for, from its `armed` on, and what happened at its station while it
    /// was open.
    pub fn entries(&self) -> &[Stamped] {
        &self.entries
    }

    /// What all entries amount to.
    pub fn state(&self) -> &State {
        &self.state
    }
}

/// What became of a reading after it was entered, told from later entries about its series.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// It stands as it was entered.
    Stands,
    /// A zero no longer vouches for it.
    Doubted,
    /// The operator retracted it.
    Retracted,
}

/// What became of the reading `seq`, told from the entries about its series.
pub fn fate(entries: &[Stamped], seq: Seq) -> Fate {
    let told = entries
        .iter()
        .rev()
        .find_map(|stamped| match &stamped.entry {
            Entry::Series(entry) => told_by(entry, seq),
            Entry::Journal(_) | Entry::Port(_) | Entry::Said(_) | Entry::Frame(_) => None,
        });
    told.unwrap_or(Fate::Stands)
}

fn told_by(entry: &SeriesEntry, seq: Seq) -> Option<Fate> {
    match entry {
        SeriesEntry::Doubted(doubted) => doubted.readings.contains(&seq).then_some(Fate::Doubted),
        SeriesEntry::Retracted(retracted) => (retracted.reading == seq).then_some(Fate::Retracted),
        SeriesEntry::Restored(restored) => (restored.reading == seq).then_some(Fate::Stands),
        SeriesEntry::Armed(_)
        | SeriesEntry::Disarmed(_)
        | SeriesEntry::Completed(_)
        | SeriesEntry::Resumed(_)
        | SeriesEntry::ZeroDue(_)
        | SeriesEntry::Alerted(_) => None,
    }
}
