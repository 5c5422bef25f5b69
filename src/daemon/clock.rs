//! The only place where the clock of waiting times is read.
//!
//! Waiting times use the clock that runs during sleep (`CLOCK_BOOTTIME`). So a zero that is due every minute becomes
//! due with the lid shut, and sleep is not a step of the wall clock. The executor's timers stand still during sleep, so
//! the daemon's loop has its own alarm.

use crate::clock::wall;
use crate::quantity::{MonoMicros, Now};
use rustix::time::{
    ClockId, Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, clock_gettime,
    timerfd_create, timerfd_settime,
};
use std::io;
use std::os::fd::OwnedFd;
use std::time::Duration;
use tokio::io::unix::AsyncFd;

/// Both clocks. The monotonic one counts from the creation of this.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    start: Duration,
}

impl Clock {
    /// Starts the monotonic count at 0.
    pub fn start() -> Self {
        Self {
            start: since_boot(),
        }
    }

    /// The present time on both clocks.
    pub fn now(&self) -> Now {
        let since = since_boot().saturating_sub(self.start);
        let mono = u64::try_from(since.as_micros()).unwrap_or(u64::MAX);
        Now {
            wall: wall(),
            mono: MonoMicros(mono),
        }
    }
}

/// Time since boot, including sleep.
fn since_boot() -> Duration {
    let now = clock_gettime(ClockId::Boottime);
    Duration::try_from(now).unwrap_or_default()
}

/// An alarm that also rings if the machine was asleep at its time, as soon as it is awake.
#[derive(Debug)]
pub(super) struct Alarm {
    timer: AsyncFd<OwnedFd>,
    clock: Clock,
    set: Option<MonoMicros>,
}

impl Alarm {
    /// Must be called within the runtime.
    pub(super) fn new(clock: Clock) -> io::Result<Self> {
        let flags = TimerfdFlags::NONBLOCK | TimerfdFlags::CLOEXEC;
        let timer = timerfd_create(TimerfdClockId::Boottime, flags)?;
        #[expect(
            deprecated,
            reason = "unsound only for a type that lies about its descriptor, as OwnedFd cannot; what replaces it needs unsafe code"
        )]
        let timer = AsyncFd::new(timer)?;
        Ok(Self {
            timer,
            clock,
            set: None,
        })
    }

    /// Returns at `moment`; never if there is none. May be cancelled.
    pub(super) async fn rings(&mut self, moment: Option<MonoMicros>) {
        let Some(moment) = moment else {
            return std::future::pending().await;
        };
        if self.set != Some(moment) && self.set(moment).is_ok() {
            self.set = Some(moment);
        }
        while self.clock.now().mono < moment {
            let Ok(mut ready) = self.timer.readable().await else {
                return std::future::pending().await;
            };
            // The number of rings. If there is nothing to read, the ring was for an earlier moment.
            let _ = rustix::io::read(self.timer.get_ref(), &mut [0; 8]);
            ready.clear_ready();
        }
    }

    fn set(&self, moment: MonoMicros) -> io::Result<()> {
        // A moment that cannot be represented is as good as never.
        let far = Duration::from_secs(365 * 24 * 3600);
        let at = Duration::from_micros(moment.0).min(far) + self.clock.start;
        let never = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        let when = Itimerspec {
            it_interval: never,
            it_value: Timespec::try_from(at).map_err(io::Error::other)?,
        };
        timerfd_settime(self.timer.get_ref(), TimerfdTimerFlags::ABSTIME, &when)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_daemon_counts_by_the_clock_that_runs_through_sleep() {
        let text = std::fs::read_to_string("/proc/uptime").unwrap();
        let hundredths: String = text.split(' ').next().unwrap().replace('.', "");
        // The kernel's uptime includes sleep; it was read earlier.
        let up = Duration::from_millis(10 * hundredths.parse::<u64>().unwrap());
        assert!(since_boot() >= up);
    }

    #[tokio::test]
    async fn an_alarm_rings_at_each_of_its_moments_and_at_once_for_one_that_is_past() {
        let clock = Clock::start();
        let mut alarm = Alarm::new(clock).unwrap();
        for millis in [20, 5, 40, 41] {
            let moment = MonoMicros(millis * 1_000);
            alarm.rings(Some(moment)).await;
            assert!(clock.now().mono >= moment);
        }
    }
}
