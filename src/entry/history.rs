//! The series of a journal, open and closed, folded from its entries.
//!
//! In: entries in order. Out: a record a series; of one that is asked for, every entry about it.

use super::state::SeriesState;
use super::words::station;
use super::{Completed, Entry, Outcome, Reservation, Seq, Stamped, State, Tally};
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
        if let Entry::Completed(completed) = &stamped.entry {
            self.close(stamped.at, completed);
        } else if let Entry::Resumed { series, .. } = &stamped.entry {
            self.closed.retain(|closed| closed.series.id != *series);
        }
        self.state.apply(stamped);
    }

    /// About it, or what happened at its station while it was open: a reading that counts nowhere names no series,
    /// and is in its tally.
    fn is_about_wanted(&self, stamped: &Stamped) -> bool {
        if let Some(series) = series_of(stamped) {
            return Some(series) == self.wanted;
        }
        let station = station(&stamped.entry).and_then(|name| self.state.stations.get(name));
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

/// The series that an entry belongs to; a series begins with its `armed`, whose number it has.
pub fn series_of(stamped: &Stamped) -> Option<Seq> {
    match &stamped.entry {
        Entry::Armed(_) => Some(stamped.seq),
        Entry::Completed(completed) => Some(completed.series),
        Entry::Zeroed(zeroed) => zeroed.series,
        Entry::Reading(reading) => reading.slot.as_ref().map(|slot| slot.series),
        Entry::Disarmed { series, .. }
        | Entry::Doubted { series, .. }
        | Entry::Retracted { series, .. }
        | Entry::Restored { series, .. }
        | Entry::Resumed { series, .. }
        | Entry::ZeroDue { series, .. }
        | Entry::Alerted { series, .. } => Some(*series),
        Entry::Noted { series, .. } | Entry::OperatorSaid { series, .. } => *series,
        Entry::ToolSaid(said) => said.series,
        Entry::Begun { .. }
        | Entry::Segment { .. }
        | Entry::Started { .. }
        | Entry::Stopped { .. }
        | Entry::Attached(_)
        | Entry::Detached { .. }
        | Entry::AdapterChanged(_)
        | Entry::AdapterSaid(_)
        | Entry::Disturbed(_)
        | Entry::ZeroSaid { .. }
        | Entry::Unread(_)
        | Entry::Refused { .. }
        | Entry::ClockStepped { .. }
        | Entry::Gap { .. }
        | Entry::DamageAccepted { .. }
        | Entry::RolledBack { .. } => None,
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
            Entry::Doubted { readings, .. } if readings.contains(&seq) => Some(Fate::Doubted),
            Entry::Retracted { reading, .. } if *reading == seq => Some(Fate::Retracted),
            Entry::Restored { reading, .. } if *reading == seq => Some(Fate::Stands),
            Entry::Doubted { .. }
            | Entry::Retracted { .. }
            | Entry::Restored { .. }
            | Entry::Resumed { .. }
            | Entry::Begun { .. }
            | Entry::Segment { .. }
            | Entry::Started { .. }
            | Entry::Stopped { .. }
            | Entry::Attached(_)
            | Entry::Detached { .. }
            | Entry::AdapterChanged(_)
            | Entry::AdapterSaid(_)
            | Entry::Disturbed(_)
            | Entry::Armed(_)
            | Entry::Disarmed { .. }
            | Entry::Completed(_)
            | Entry::Zeroed(_)
            | Entry::ZeroSaid { .. }
            | Entry::ZeroDue { .. }
            | Entry::OperatorSaid { .. }
            | Entry::ToolSaid(_)
            | Entry::Reading(_)
            | Entry::Unread(_)
            | Entry::Refused { .. }
            | Entry::Noted { .. }
            | Entry::Alerted { .. }
            | Entry::ClockStepped { .. }
            | Entry::Gap { .. }
            | Entry::DamageAccepted { .. }
            | Entry::RolledBack { .. } => None,
        });
    told.unwrap_or(Fate::Stands)
}
