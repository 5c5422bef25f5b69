//! Measures how long a port has been silent, as far as that can be known.
//!
//! In: times at which bytes were read and the timer woke. Out: when to check whether bytes wait, and whether that check
//! proves a silence. A late check proves nothing if the whole computer stood still: bytes from that time still wait in
//! the adapter.

use crate::config::{FRAME_GAP, SILENCES};
use std::time::{Duration, Instant};

/// A timer with more delay than this is late: an adapter delivers bytes every 16 ms.
const LATE: Duration = Duration::from_millis(50);
/// With this delay an adapter's buffer may have overflowed: 128 bytes, which take 0.13 s at 9600 baud; but that is
/// rare.
const STANDSTILL: Duration = Duration::from_secs(1);

/// The silence on a line, as far as it is known.
#[derive(Debug, Default)]
pub(super) struct Quiet {
    /// Beginning of the current silence, and index of the silence to report next.
    since: Option<(Instant, usize)>,
    /// Time since when it has been waited for.
    waiting: Option<Instant>,
}

/// Delay of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Late {
    No,
    Somewhat,
    Long,
}

impl Quiet {
    /// Bytes were read.
    pub(super) fn bytes_came(&mut self, now: Instant) {
        self.since = Some((now, 0));
    }

    /// Time of the next check, for a caller that begins to wait at `now`.
    pub(super) fn due(&mut self, now: Instant) -> Option<Instant> {
        self.waiting = Some(now);
        self.due_at()
    }

    fn due_at(&self) -> Option<Instant> {
        let (since, next) = self.since?;
        SILENCES.get(next).map(|silence| since + *silence)
    }

    /// Delay of this check. Time in which earlier bytes waited to be taken is not counted, because no check was due.
    pub(super) fn late(&self, now: Instant) -> Late {
        let late = self.due_at().zip(self.waiting).map(|(due, waiting)| {
            let awaited = due.max(waiting);
            now.saturating_duration_since(awaited)
        });
        match late {
            Some(late) if late >= STANDSTILL => Late::Long,
            Some(late) if late >= LATE => Late::Somewhat,
            Some(_) | None => Late::No,
        }
    }

    /// The silence that has passed. The next longer one is awaited.
    pub(super) fn next_passed(&mut self) -> Option<Duration> {
        let (_, next) = self.since.as_mut()?;
        let lasted = SILENCES.get(*next).copied();
        *next += 1;
        lasted
    }

    /// Nothing was proven, so the silence after which a frame begins is measured again from `now`.
    pub(super) fn again(&mut self, now: Instant) {
        let least = SILENCES.iter().position(|silence| *silence >= FRAME_GAP);
        let next = self.since.map_or(0, |(_, next)| next);
        self.since = Some((now, next.max(least.unwrap_or(0))));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn millis(count: u64) -> Duration {
        Duration::from_millis(count)
    }

    #[test]
    fn each_silence_is_looked_for_once_and_then_nothing_is_waited_for() {
        let start = Instant::now();
        let mut quiet = Quiet::default();
        assert_eq!(quiet.due(start), None, "nothing came yet");
        quiet.bytes_came(start);
        for silence in SILENCES {
            assert_eq!(quiet.due(start), Some(start + silence));
            assert_eq!(quiet.late(start + silence), Late::No);
            assert_eq!(quiet.next_passed(), Some(silence));
        }
        assert_eq!(quiet.due(start), None);
    }

    #[test]
    fn a_late_check_proves_nothing_and_the_silence_is_measured_again() {
        let start = Instant::now();
        let mut quiet = Quiet::default();
        quiet.bytes_came(start);
        quiet.due(start);
        let later = start + millis(300);
        assert_eq!(quiet.late(later), Late::Somewhat);
        assert_eq!(quiet.late(start + millis(2_000)), Late::Long);
        quiet.again(later);
        assert_eq!(quiet.due(later), Some(later + FRAME_GAP));
    }

    #[test]
    fn a_reader_that_was_held_up_by_those_behind_it_did_not_stand_still() {
        let start = Instant::now();
        let mut quiet = Quiet::default();
        quiet.bytes_came(start);
        let later = start + millis(9_000);
        quiet.due(later);
        assert_eq!(quiet.late(later), Late::No);
    }
}
