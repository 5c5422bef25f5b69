//! Limits the rate of entries from an instrument or scanner that sends without end.
//!
//! In: the time of each item that would be entered. Out: whether it may be entered. The others are folded into one
//! `unread` entry a second, with their number.
//!
//! - A stream is no flood: at 200 a second nothing is left out, however long it lasts, and after a pause a thousand may
//!   come at once, as they do when a machine stood still.
//! - A flood lasts until a whole second has passed below the limit. Otherwise single values of a flood would count at
//!   random.

use crate::quantity::MonoMicros;
use std::time::Duration;

/// This number a second is entered for ever: twice what the fastest instruments send.
const A_SECOND: u64 = 200;
/// This number may come at once: more than wait in a terminal's buffers, which hold 4 KiB and more of frames.
const AT_ONCE: u64 = 1_024;
/// A second, within which a flood is counted.
const SECOND: Duration = Duration::from_secs(1);
/// A second in microseconds: what is left is counted in parts of that size, so that nothing is rounded.
const PARTS: u64 = 1_000_000;

/// The rate limiter of one instrument or scanner.
#[derive(Debug)]
pub(super) struct Flood {
    /// The number of items that may still come at once, in parts.
    left: u64,
    at: MonoMicros,
    /// Set while a flood lasts.
    lasts: Option<Lasts>,
}

/// A flood.
#[derive(Debug, Clone, Copy)]
struct Lasts {
    /// Start of the second that is counted.
    since: MonoMicros,
    /// Time of the last item.
    last: MonoMicros,
    /// How many came in it.
    count: u64,
}

impl Default for Flood {
    fn default() -> Self {
        Self {
            left: AT_ONCE * PARTS,
            at: MonoMicros(0),
            lasts: None,
        }
    }
}

impl Flood {
    /// Whether a flood lasts at `now`.
    pub(super) fn lasts(&self, now: MonoMicros) -> bool {
        self.lasts
            .is_some_and(|lasts| now.since(lasts.last) < SECOND)
    }

    /// Takes one more item; whether it may be entered.
    pub(super) fn takes(&mut self, now: MonoMicros) -> bool {
        if let Some(lasts) = &mut self.lasts {
            let is_over = now.since(lasts.since) >= SECOND;
            if !is_over || (lasts.count > A_SECOND && now.since(lasts.last) < SECOND) {
                if is_over {
                    (lasts.since, lasts.count) = (now, 0);
                }
                lasts.count = lasts.count.saturating_add(1);
                lasts.last = now;
                return false;
            }
            self.lasts = None;
            (self.left, self.at) = (A_SECOND * PARTS, now);
        }
        let passed = u64::try_from(now.since(self.at).as_micros()).unwrap_or(u64::MAX);
        let more = passed.saturating_mul(A_SECOND);
        self.left = self.left.saturating_add(more).min(AT_ONCE * PARTS);
        self.at = now;
        if let Some(left) = self.left.checked_sub(PARTS) {
            self.left = left;
            return true;
        }
        self.lasts = Some(Lasts {
            since: now,
            last: now,
            count: 1,
        });
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn taken(flood: &mut Flood, times: impl Iterator<Item = u64>) -> usize {
        times.filter(|at| flood.takes(MonoMicros(*at))).count()
    }

    #[test]
    fn a_flood_is_taken_once_a_bufferful_and_then_not_until_a_quiet_second() {
        let mut flood = Flood::default();
        let every_fifty_micros = (0..600_000).map(|number| number * 50);
        let taken_of_it = taken(&mut flood, every_fifty_micros);
        // 1,024 at once, and 200 a second for as long as those last.
        assert!((1_024..=1_024 + 15).contains(&taken_of_it), "{taken_of_it}");
        let end = 600_000 * 50;
        assert!(!flood.takes(MonoMicros(end)));
        assert!(
            flood.takes(MonoMicros(end + 1_000_000)),
            "after a quiet second"
        );
    }

    #[test]
    fn a_flood_that_falls_to_a_stream_is_over_within_two_seconds() {
        let mut flood = Flood::default();
        taken(&mut flood, (0..100_000).map(|number| number * 20));
        let stream = (0..400).map(|number| 2_000_000 + number * 10_000);
        let taken_of_it = taken(&mut flood, stream);
        assert!(taken_of_it >= 200, "{taken_of_it} of 400");
    }

    proptest! {
        /// Whatever comes no faster than that in each second, after whatever pause, is taken.
        #[test]
        fn a_stream_loses_nothing(gaps in proptest::collection::vec(5_000_u64..2_000_000, 1..2_000)) {
            let mut flood = Flood::default();
            let mut at = 0;
            for gap in gaps {
                at += gap;
                prop_assert!(flood.takes(MonoMicros(at)));
            }
        }

        /// A machine that stood still and then sees all that a buffer held at once loses nothing either.
        #[test]
        fn a_thousand_at_once_after_a_pause_are_taken(pauses in proptest::collection::vec(5_200_000_u64..60_000_000, 1..5)) {
            let mut flood = Flood::default();
            let mut at = 0;
            for pause in pauses {
                at += pause;
                prop_assert_eq!(taken(&mut flood, std::iter::repeat_n(at, 1_024)), 1_024);
            }
        }
    }
}
