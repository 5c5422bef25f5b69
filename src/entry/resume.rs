//! Series that an arming stopped early, while they can be resumed.
//!
//! - Until a reading counts at the station, nothing was measured since. A zero that is off ends it too: the readings
//!   of the stopped series are no longer vouched for by what comes after them.
//! - Only what the last arming stopped can be resumed.
//! - What is told once of a closed series waits for the end of this: see [`Resumable`].

use super::state::{SeriesState, StationState};
use super::{Entry, Seq, Stamped, Standing};
use std::collections::BTreeMap;

/// A series that can be resumed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stopped {
    /// As it was when it was stopped.
    pub series: SeriesState,
    /// The arming that stopped it has come: the next one stops another, or none.
    pub is_followed: bool,
}

/// Whether an entry of its station ends that a stopped series can be resumed.
fn ends(entry: &Entry, is_followed: bool) -> bool {
    match entry {
        Entry::Armed(_) => is_followed,
        Entry::Completed(completed) => completed.resumable,
        Entry::Reading(reading) => reading.standing == Standing::Counted,
        Entry::Zeroed(zeroed) => !zeroed.ok || zeroed.opening.is_some(),
        Entry::Resumed { .. } => true,
        Entry::Begun { .. }
        | Entry::Segment { .. }
        | Entry::Started { .. }
        | Entry::Stopped { .. }
        | Entry::Attached(_)
        | Entry::Detached { .. }
        | Entry::Disarmed { .. }
        | Entry::ZeroSaid { .. }
        | Entry::ZeroDue { .. }
        | Entry::OperatorSaid { .. }
        | Entry::ToolSaid(_)
        | Entry::Unread(_)
        | Entry::Refused { .. }
        | Entry::Doubted { .. }
        | Entry::Retracted { .. }
        | Entry::Restored { .. }
        | Entry::Noted { .. }
        | Entry::Alerted { .. }
        | Entry::ClockStepped { .. }
        | Entry::AdapterChanged(_)
        | Entry::AdapterSaid(_)
        | Entry::Disturbed(_)
        | Entry::RolledBack { .. }
        | Entry::Gap { .. }
        | Entry::DamageAccepted { .. } => false,
    }
}

impl StationState {
    /// Takes an entry of the station, before anything else is made of it.
    pub(super) fn follow_stopped(&mut self, entry: &Entry) {
        if let (Entry::Completed(completed), Some(series)) = (entry, &self.series)
            && completed.resumable
        {
            self.stopped = Some(Box::new(Stopped {
                series: series.clone(),
                is_followed: false,
            }));
            return;
        }
        let Some(stopped) = &mut self.stopped else {
            return;
        };
        if let Entry::Resumed { series, .. } = entry {
            let stopped = self.stopped.take();
            self.series = stopped
                .filter(|stopped| stopped.series.id == *series)
                .map(|stopped| stopped.series);
            self.last_outcome = None;
            self.last_reservations.clear();
            self.closed_at = None;
        } else if ends(entry, stopped.is_followed) {
            self.stopped = None;
        } else if let Entry::Armed(_) = entry {
            stopped.is_followed = true;
        }
    }
}

/// The stopped series that can still be resumed, for who tells each closed series once: from the moment on that
/// [`Resumable::settled`] names it nothing more is said about it.
#[derive(Debug, Default)]
pub struct Resumable(BTreeMap<String, (Seq, Option<Seq>)>);

impl Resumable {
    /// Takes the next entry; the series that cannot be resumed any more since.
    pub fn settled(&mut self, stamped: &Stamped) -> Option<Seq> {
        let entry = &stamped.entry;
        if let Entry::Completed(completed) = entry
            && completed.resumable
        {
            let stopped = (completed.series, None);
            let before = self.0.insert(completed.station.clone(), stopped);
            return before.map(|(series, _)| series);
        }
        if self.0.is_empty() {
            return None;
        }
        let station = super::words::station(entry)?;
        let (_, next) = self.0.get_mut(station)?;
        if ends(entry, next.is_some()) {
            let (series, _) = self.0.remove(station)?;
            return (!matches!(entry, Entry::Resumed { .. })).then_some(series);
        }
        if let Entry::Armed(_) = entry {
            *next = Some(stamped.seq);
        }
        None
    }

    /// The same for a counted reading of which only the series is known.
    pub fn settled_by_reading(&mut self, series: Seq) -> Option<Seq> {
        let mut stations = self.0.iter();
        let station = stations.find(|(_, (_, next))| *next == Some(series));
        let station = station.map(|(station, _)| station.clone())?;
        self.0.remove(&station).map(|(series, _)| series)
    }

    /// No series can be resumed.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
