//! Medians and 99th percentiles of times, and their ratios, as whole numbers.

use std::fmt;
use std::time::Duration;

/// Summary of the times of one program.
pub(super) struct Summary {
    count: usize,
    p50: Duration,
    p99: Duration,
}

impl Summary {
    pub(super) fn of(mut times: Vec<Duration>) -> Self {
        times.sort_unstable();
        let at = |percent: usize| {
            let rank = (times.len() * percent).div_ceil(100);
            times
                .get(rank.saturating_sub(1))
                .copied()
                .unwrap_or_default()
        };
        Self {
            count: times.len(),
            p50: at(50),
            p99: at(99),
        }
    }

    /// The ratios as text: `p50 1.07 p99 1.12`.
    pub(super) fn over(&self, other: &Self) -> String {
        let p50 = ratio(self.p50, other.p50);
        let p99 = ratio(self.p99, other.p99);
        format!("{p50:>10}{p99:>10}")
    }
}

impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let micros = |time: Duration| format!("{} µs", time.as_micros());
        write!(
            f,
            "{:>9}{:>10}{:>10}",
            self.count,
            micros(self.p50),
            micros(self.p99)
        )
    }
}

/// Ratio in hundredths, rounded up so that rounding never makes us look faster.
fn ratio(time: Duration, other: Duration) -> String {
    if other.is_zero() {
        return "–".to_owned();
    }
    let hundredths = (time.as_nanos() * 100).div_ceil(other.as_nanos());
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}
