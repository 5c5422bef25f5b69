//! Ratios of the times of two programs, each with its 95 % interval.
//!
//! In: times of both, taken in turn in one run. Out: percentiles, and their ratio in hundredths.
//!
//! - The interval is that of the bootstrap (percentile method): as many pairs as there are, drawn again with replacement,
//!   a thousand times. The draws are the same in every run.

use std::fmt;
use std::time::Duration;

/// Number of draws.
const DRAWS: usize = 1000;

/// A percentile of times; 0 without any.
pub(crate) fn percentile(mut times: Vec<Duration>, percent: usize) -> Duration {
    let rank = (times.len() * percent).div_ceil(100).saturating_sub(1);
    if rank >= times.len() {
        return Duration::ZERO;
    }
    *times.select_nth_unstable(rank).1
}

/// A ratio in hundredths, with the ends of its interval.
pub(crate) struct Ratio {
    is: u128,
    from: u128,
    to: u128,
}

impl Ratio {
    /// The ratio of a percentile of `ours` to that of `others`. Times at the same place belong together.
    pub(crate) fn of(ours: &[Duration], others: &[Duration], percent: usize) -> Self {
        let mut numbers = Numbers(1);
        let mut drawn: Vec<u128> = (0..DRAWS)
            .map(|_| {
                let (mut us, mut them) = (Vec::new(), Vec::new());
                for _ in 0..ours.len() {
                    let at = numbers.below(ours.len());
                    us.extend(ours.get(at));
                    them.extend(others.get(at));
                }
                hundredths(percentile(us, percent), percentile(them, percent))
            })
            .collect();
        drawn.sort_unstable();
        let end = |rank: usize| drawn.get(rank).copied().unwrap_or_default();
        Self {
            is: hundredths(
                percentile(ours.to_vec(), percent),
                percentile(others.to_vec(), percent),
            ),
            from: end(DRAWS / 40),
            to: end(DRAWS - 1 - DRAWS / 40),
        }
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = |hundredths: u128| format!("{}.{:02}", hundredths / 100, hundredths % 100);
        let (is, from, to) = (text(self.is), text(self.from), text(self.to));
        f.pad(&format!("{is} (95 %: {from} to {to})"))
    }
}

/// Rounded up, so that rounding never makes us look faster; 0 where there is nothing to compare with.
fn hundredths(ours: Duration, other: Duration) -> u128 {
    (ours.as_nanos() * 100)
        .checked_add(other.as_nanos().saturating_sub(1))
        .and_then(|sum| sum.checked_div(other.as_nanos()))
        .unwrap_or_default()
}

/// Numbers by a linear congruence modulo 2⁶⁴ (multiplier and increment of Knuth, The Art of Computer Programming 2, from
/// memory); the upper half of the bits is used.
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap_or_default() % most.max(1)
    }
}
