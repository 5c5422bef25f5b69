//! Limits the rate of entries from an instrument or scanner that sends without pause.
//!
//! In: the time of each item that would be entered. Out: whether it may be entered. The rejected items are folded into
//! one `unread` entry a second that gives their number.
//!
//! - A stream is not a flood. At 200 items a second nothing is rejected, however long it lasts. After a pause a
//!   thousand may come at once, which happens when the machine stood still.
//! - A flood lasts until the rate has been below the limit for a whole second. Otherwise single values of a flood would
//!   count at random.

use crate::quantity::MonoMicros;
use std::time::Duration;

/// This rate is accepted for any length of time: twice that of the fastest instruments.
const A_SECOND: u64 = 200;
/// This number is accepted at once. It is more than the frames that fit into a terminal's buffer of 4 KiB.
const AT_ONCE: u64 = 1_024;
/// The interval over which the rate of a flood is counted.
const SECOND: Duration = Duration::from_secs(1);
/// Parts in one item. The allowance grows by a fraction of an item every microsecond; whole parts keep it exact.
const PARTS: u64 = 1_000_000;

/// The rate limiter of one instrument or scanner.
#[derive(Debug)]
pub(super) struct Flood {
    /// Allowance: how much may still come at once, in parts.
    left: u64,
    at: MonoMicros,
    /// Set while a flood lasts.
    lasts: Option<Lasts>,
}

/// Counts of a flood that lasts.
#[derive(Debug, Clone, Copy)]
struct Lasts {
    /// Start of the second that is being counted.
    since: MonoMicros,
    /// Time of the latest item.
    last: MonoMicros,
    /// Number of items in that second.
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

    /// Counts one more item and returns whether it may be entered.
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
    fn a_flood_fills_one_buffer_and_then_waits_for_a_quiet_second() {
        let mut flood = Flood::default();
        let every_fifty_micros = (0..600_000).map(|number| number * 50);
        let taken_of_it = taken(&mut flood, every_fifty_micros);
        // 1,024 at once, and 200 a second while those last.
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
        /// Any stream with at least 5 ms between items loses nothing, whatever its pauses.
        #[test]
        fn a_stream_loses_nothing(gaps in proptest::collection::vec(5_000_u64..2_000_000, 1..2_000)) {
            let mut flood = Flood::default();
            let mut at = 0;
            for gap in gaps {
                at += gap;
                prop_assert!(flood.takes(MonoMicros(at)));
            }
        }

        /// All items that a buffer held while the machine stood still are accepted at once.
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
