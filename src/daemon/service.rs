//! Reports to a service manager: that the daemon serves, lives, reloads, or stops.
//!
//! In: `$NOTIFY_SOCKET` and `$WATCHDOG_USEC` of `sd_notify(3)`; without them nothing is reported. Nothing waits for the
//! manager: a message that cannot be sent is logged once and dropped.

use sd_notify::NotifyState;
use std::time::Duration;
use tokio::time::{Instant, MissedTickBehavior, interval_at};

const FULL: &str = "the journal's disk is full: nothing counts until there is room";

/// The daemon serves: its sockets exist, and `started` is on disk or has no room there.
pub(super) fn serves(journal_takes_entries: bool) {
    let status = if journal_takes_entries {
        "serving; the verdicts are in verdicts.log of the state folder"
    } else {
        FULL
    };
    tell(&[NotifyState::Ready, NotifyState::Status(status)]);
}

/// A new configuration will be read.
pub(super) fn reloads() {
    match NotifyState::monotonic_usec_now() {
        Ok(now) => tell(&[NotifyState::Reloading, now]),
        Err(_) => tell(&[NotifyState::Reloading]),
    }
}

/// Reports which configuration is in force. `Ready` ends the reload with either.
pub(super) fn reloaded(taken: bool) {
    let status = if taken {
        "serving by the new configuration"
    } else {
        "serving by the old configuration: the new one is faulty, see the log"
    };
    tell(&[NotifyState::Ready, NotifyState::Status(status)]);
}

/// Waiting entries are being written; then the daemon stops.
pub(super) fn stops() {
    tell(&[NotifyState::Stopping]);
}

/// The journal does not accept entries at the moment, or accepts them again.
pub(super) fn journal_takes(entries: bool) {
    let status = if entries {
        "serving; the journal takes entries again"
    } else {
        FULL
    };
    tell(&[NotifyState::Status(status)]);
}

/// Reports that the disk has not answered for `seconds`. The loop keeps running and reporting: a restart would
/// not repair the disk.
pub(super) fn disk_stalls(seconds: u64) {
    let status =
        format!("the disk has not answered for {seconds} s: nothing is announced until it does");
    tell(&[NotifyState::Status(&status)]);
}

/// The disk answers again.
pub(super) fn disk_answers() {
    tell(&[NotifyState::Status("serving; the disk answers again")]);
}

/// Signs of life from the main loop, twice in the interval of the manager.
#[derive(Debug)]
pub(super) struct Watchdog {
    ticks: Option<tokio::time::Interval>,
}

impl Watchdog {
    /// Reads `$WATCHDOG_USEC`. Must be called within the runtime.
    pub(super) fn start() -> Self {
        let every = sd_notify::watchdog_enabled().and_then(|patience| patience.checked_div(2));
        let ticks = every.filter(|every| *every > Duration::ZERO).map(|every| {
            let mut ticks = interval_at(Instant::now() + every, every);
            ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
            ticks
        });
        Self { ticks }
    }

    /// Waits until the next sign is due; for ever without a watchdog.
    pub(super) async fn due(&mut self) {
        match &mut self.ticks {
            Some(ticks) => drop(ticks.tick().await),
            None => std::future::pending().await,
        }
    }
}

/// Sends a sign of life.
pub(super) fn lives() {
    tell(&[NotifyState::Watchdog]);
}

fn tell(what: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(what) {
        tracing::debug!(%error, "the message to the service manager could not be sent");
    }
}
