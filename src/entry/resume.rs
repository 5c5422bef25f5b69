//! Keeps a series that an arming stopped early, as long as it can be resumed.
//!
//! - It can be resumed until a reading counts at the station. A zero that is off ends this too, because later zeros
//!   cannot vouch for the readings of the stopped series.
//! - Only the series that the last start stopped can be resumed.
//! - Output that shows a closed series once waits until the series cannot be resumed ([`super::ledger`]).

use super::state::{SeriesState, StationState};
use super::{Entry, FrameEntry, Seq, SeriesEntry, Standing};

/// A series that was stopped early and can be resumed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stopped {
    /// State of the series when it was stopped.
    pub series: SeriesState,
    /// The `armed` entry that caused the stop has come. The next arming ends the chance to resume.
    pub is_followed: bool,
}

/// The effect of an entry on a stopped series.
pub(super) enum Stop {
    /// The series can still be resumed.
    Stays,
    /// The `armed` entry that caused the stop has come.
    IsFollowed,
    /// The series with this id is open again.
    IsResumed(Seq),
    /// The series can no longer be resumed.
    IsOver,
}

/// The effect of `entry` on the series that was stopped at its station.
pub(super) fn after_stop(entry: &Entry, is_followed: bool) -> Stop {
    let ends = match entry {
        Entry::Journal(_) | Entry::Port(_) | Entry::Said(_) | Entry::Production(_) => false,
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
            | SeriesEntry::Looked(_)
            | SeriesEntry::Pulled(_)
            | SeriesEntry::Pictured(_)
            | SeriesEntry::Alerted(_) => false,
        },
    };
    if ends { Stop::IsOver } else { Stop::Stays }
}

impl StationState {
    /// Updates the stopped series. Call this before the entry changes anything else.
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
                self.last_counts = None;
                self.last_reservations.clear();
                self.last_pictures.clear();
                self.closed_at = None;
            }
        }
    }
}
