//! Notices when the wall clock and the monotonic clock part.

use crate::quantity::Now;

/// A step of the wall clock by less than this is slewing or noise.
const LEAST_STEP_MICROS: i64 = 1_000_000;
/// A slewed clock runs off by no more than this share of the time passed (NTP slews by 1/2000).
const SLEW_SHARE: i64 = 1_000;

/// Remembers the last moment on both clocks.
#[derive(Debug, Default)]
pub(super) struct StepWatch {
    last: Option<Now>,
}

impl StepWatch {
    /// By how much the wall clock ran ahead since the last moment, if it stepped.
    pub(super) fn step(&mut self, now: Now) -> Option<i64> {
        let before = self.last.replace(now)?;
        let passed = i64::try_from(now.mono.0.saturating_sub(before.mono.0)).ok()?;
        let ahead = now
            .wall
            .0
            .saturating_sub(before.wall.0)
            .saturating_sub(passed);
        (ahead.saturating_abs() > LEAST_STEP_MICROS.saturating_add(passed / SLEW_SHARE))
            .then_some(ahead)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{MonoMicros, WallMicros};

    #[test]
    fn a_step_of_the_wall_clock_is_told_once_and_slewing_is_not() {
        let now = |wall: i64, mono: u64| Now {
            wall: WallMicros(wall),
            mono: MonoMicros(mono),
        };
        let mut watch = StepWatch::default();
        assert_eq!(watch.step(now(0, 0)), None);
        assert_eq!(watch.step(now(60_000_000, 60_000_000)), None);
        assert_eq!(
            watch.step(now(3_660_000_000, 61_000_000)),
            Some(3_599_000_000)
        );
        assert_eq!(watch.step(now(3_661_000_000, 62_000_000)), None);
        assert_eq!(
            watch.step(now(61_000_000, 62_000_000)),
            Some(-3_600_000_000)
        );
        // Ten hours of slewing by 1/2000.
        assert_eq!(watch.step(now(36_079_000_000, 36_062_000_000)), None);
    }
}
