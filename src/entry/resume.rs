//! Series that an arming stopped early, while they can be resumed.
//!
//! - Until a reading counts at the station, nothing was measured since. A zero that is off ends it too: the readings
//!   of the stopped series are no longer vouched for by what comes after them.
//! - Only what the last arming stopped can be resumed.
//! - What is printed once of a closed series waits until it cannot be resumed ([`super::ledger`]).

use super::state::{SeriesState, StationState};
use super::{Entry, FrameEntry, Seq, SeriesEntry, Standing};

/// A series that can be resumed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stopped {
    /// As it was when it was stopped.
    pub series: SeriesState,
    /// The arming that stopped it has come: the next one stops another, or none.
    pub is_followed: bool,
}

/// What an entry of its station makes of a stopped series.
pub(super) enum Stop {
    /// It can be resumed as before.
    Stays,
    /// The arming that stopped it has come.
    IsFollowed,
    /// This series is open again.
    IsResumed(Seq),
    /// It cannot be resumed any more.
    IsOver,
}

/// What `entry` makes of a series that was stopped at its station.
pub(super) fn after_stop(entry: &Entry, is_followed: bool) -> Stop {
    let ends = match entry {
        Entry::Journal(_) | Entry::Port(_) | Entry::Said(_) => false,
        Entry::Frame(entry) => match entry {
            FrameEntry::Zeroed(zeroed) => !zeroed.ok || zeroed.opening.is_some(),
            FrameEntry::Reading(reading) => reading.standing == Standing::Counted,
            FrameEntry::Unread(_) => false,
        },
        Entry::Series(entry) => match entry {
            SeriesEntry::Armed(_) if is_followed => true,
            SeriesEntry::Armed(_) => return Stop::IsFollowed,
            SeriesEntry::Completed(completed) => completed.resumable,
            SeriesEntry::Resumed(resumed) => return Stop::IsResumed(resumed.series),
            SeriesEntry::Disarmed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Doubted(_)
            | SeriesEntry::Retracted(_)
            | SeriesEntry::Restored(_)
            | SeriesEntry::Alerted(_) => false,
        },
    };
    if ends { Stop::IsOver } else { Stop::Stays }
}

impl StationState {
    /// Takes an entry of the station, before anything else is made of it.
    pub(super) fn follow_stopped(&mut self, entry: &Entry) {
        if let (Entry::Series(SeriesEntry::Completed(completed)), Some(series)) =
            (entry, &self.series)
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
        match after_stop(entry, stopped.is_followed) {
            Stop::Stays => {}
            Stop::IsFollowed => stopped.is_followed = true,
            Stop::IsOver => self.stopped = None,
            Stop::IsResumed(series) => {
                let stopped = self.stopped.take();
                self.series = stopped
                    .filter(|stopped| stopped.series.id == series)
                    .map(|stopped| stopped.series);
                self.last_outcome = None;
                self.last_reservations.clear();
                self.closed_at = None;
            }
        }
    }
}
