//! Detects that the wall clock was set, by comparing it with the monotonic clock.

use crate::quantity::{Now, WallMicros};

/// A smaller step of the wall clock is slewing or noise.
const LEAST_STEP_MICROS: i64 = 1_000_000;
/// A slewed clock gains or loses at most the elapsed time divided by this (NTP slews by 1/2000).
const SLEW_SHARE: i64 = 1_000;

/// Remembers the last moment on both clocks.
#[derive(Debug, Default)]
pub(super) struct StepWatch {
    last: Option<Now>,
    /// Wall time of the journal's last entry, until the first call of `step`.
    before: Option<WallMicros>,
}

impl StepWatch {
    /// Starts from the last entry, which another process made at `at`. Its age is unknown, but a wall clock that is
    /// behind it was set back.
    pub(super) fn goes_on_after(&mut self, at: WallMicros) {
        self.before = Some(at);
    }

    /// How far the wall clock ran ahead since the last call, in microseconds, if it was set; negative if it was set
    /// back.
    pub(super) fn step(&mut self, now: Now) -> Option<i64> {
        let entered = self.before.take();
        let Some(before) = self.last.replace(now) else {
            let behind = now.wall.0.saturating_sub(entered?.0);
            return (behind < -LEAST_STEP_MICROS).then_some(behind);
        };
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
    use crate::quantity::MonoMicros;

    #[test]
    fn a_clock_that_is_behind_the_last_entry_at_the_start_was_set_back() {
        let now = |wall: i64| Now {
            wall: WallMicros(wall),
            mono: MonoMicros(5),
        };
        let after = |at: i64| {
            let mut watch = StepWatch::default();
            watch.goes_on_after(WallMicros(at));
            watch
        };
        assert_eq!(after(3_600_000_000).step(now(0)), Some(-3_600_000_000));
        assert_eq!(after(900_000).step(now(0)), None);
        assert_eq!(after(0).step(now(3_600_000_000)), None);
        let mut watch = after(3_600_000_000);
        watch.step(now(0));
        assert_eq!(watch.step(now(0)), None, "reported once");
    }

    #[test]
    fn a_step_of_the_wall_clock_is_reported_once_and_slewing_is_not() {
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
