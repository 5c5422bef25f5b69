//! The one place where the time is asked for.

use crate::quantity::{MonoMicros, Now, WallMicros};
use std::time::{Duration, Instant, SystemTime};

/// Both clocks, the monotonic one counted from when this was made.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    start: Instant,
}

impl Clock {
    /// Starts counting.
    pub fn start() -> Self {
        Self {
            start: Instant::now(),
        }
    }

    /// This moment.
    pub fn now(&self) -> Now {
        let mono = u64::try_from(self.start.elapsed().as_micros()).unwrap_or(u64::MAX);
        Now {
            wall: wall(),
            mono: MonoMicros(mono),
        }
    }

    /// When `moment` will be.
    pub fn instant(&self, moment: MonoMicros) -> Instant {
        let from_start = Duration::from_micros(moment.0);
        // A moment too far away to be said is as good as never.
        let far = Duration::from_secs(365 * 24 * 3600);
        self.start
            .checked_add(from_start)
            .unwrap_or_else(|| self.start + far)
    }
}

/// The wall clock; before 1970 it is negative.
pub fn wall() -> WallMicros {
    let micros = |duration: Duration| i64::try_from(duration.as_micros()).unwrap_or(i64::MAX);
    WallMicros(
        match SystemTime::now().duration_since(SystemTime::UNIX_EPOCH) {
            Ok(since) => micros(since),
            Err(error) => micros(error.duration()).saturating_neg(),
        },
    )
}
