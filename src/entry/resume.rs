//! Series that an arming stopped early, while they can be resumed.
//!
//! - Until a reading counts at the station, nothing was measured since. A zero that is off ends it too: the readings
//!   of the stopped series are no longer vouched for by what comes after them.
//! - Only what the last arming stopped can be resumed.
//! - What is told once of a closed series waits for the end of this ([`super::ledger`]).

use super::state::{SeriesState, StationState};
use super::{Entry, Seq, Standing};

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
        Entry::Armed(_) if is_followed => true,
        Entry::Armed(_) => return Stop::IsFollowed,
        Entry::Resumed { series, .. } => return Stop::IsResumed(*series),
        Entry::Completed(completed) => completed.resumable,
        Entry::Reading(reading) => reading.standing == Standing::Counted,
        Entry::Zeroed(zeroed) => !zeroed.ok || zeroed.opening.is_some(),
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
    };
    if ends { Stop::IsOver } else { Stop::Stays }
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
