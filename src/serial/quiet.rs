//! How long nothing has come from a port, as far as that is known.
//!
//! In: when bytes were read, and when the timer woke. Out: when to look whether something waits, and
//! whether that look proves a silence. The silence behind a late look proves nothing of the line where the
//! whole computer stood still: what came then waits in the adapter.

use crate::config::{FRAME_GAP, SILENCES};
use std::time::{Duration, Instant};

/// A timer that is later than this is late: an adapter hands bytes on every 16 ms.
const LATE: Duration = Duration::from_millis(50);
/// So late, an adapter's buffer may have run over: 128 bytes, at 9600 baud 0.13 s of them, but rare.
const STANDSTILL: Duration = Duration::from_secs(1);

/// What is known of the silence on a line.
#[derive(Debug, Default)]
pub(super) struct Quiet {
    /// The current silence: since when, and which is to be reported next.
    since: Option<(Instant, usize)>,
    /// Since when we have waited for it.
    waiting: Option<Instant>,
}

/// How late a look is.
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

    /// When to look, asked by who begins to wait `now`.
    pub(super) fn due(&mut self, now: Instant) -> Option<Instant> {
        self.waiting = Some(now);
        self.due_at()
    }

    fn due_at(&self) -> Option<Instant> {
        let (since, next) = self.since?;
        SILENCES.get(next).map(|silence| since + *silence)
    }

    /// How late this look is. Time in which earlier bytes waited to be taken is not counted: no look was due then.
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

    /// The silence that has passed; the next one is awaited.
    pub(super) fn next_passed(&mut self) -> Option<Duration> {
        let (_, next) = self.since.as_mut()?;
        let lasted = SILENCES.get(*next).copied();
        *next += 1;
        lasted
    }

    /// Nothing is proven: a silence that a frame begins behind is waited for from `now` on.
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
    fn a_late_look_proves_nothing_and_the_silence_is_waited_for_anew() {
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
