//! Checks every few seconds whether another process has a port open, and whether its settings were changed.
//!
//! In: the open terminal and its settings. Out: deviations, when they change.
//!
//! - Changed settings are corrected at once, and that is reported.
//! - Exclusive use of a port stops every process except those of root. Only root can see the open files of root's
//!   processes, so a daemon of another user notices such a process only if it changes settings.

use super::holder::{Holder, holders};
use super::settings::settings_of;
use rustix::termios::{OptionalActions, SpecialCodeIndex, Termios, tcgetattr, tcsetattr};
use std::fs::Metadata;
use std::os::fd::OwnedFd;
use std::path::PathBuf;
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio::time::{Interval, MissedTickBehavior, interval};

/// Interval of the checks. A check takes some milliseconds on another thread.
const EVERY: Duration = Duration::from_secs(2);

/// What a guard needs of an open port.
#[derive(Debug)]
pub(super) struct Guarded {
    pub(super) path: PathBuf,
    pub(super) device: Metadata,
    /// Second handle of the terminal, closed together with the port.
    pub(super) handle: OwnedFd,
    pub(super) settings: Termios,
}

/// A new deviation.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Odd {
    /// Other processes that have the port open now.
    pub(super) holders: Vec<String>,
    /// Settings that it had been changed to.
    pub(super) settings: Option<String>,
}

/// Guards an open port.
#[derive(Debug)]
pub(super) struct Guard {
    of: Guarded,
    ticks: Interval,
    looking: Option<JoinHandle<Vec<Holder>>>,
    found: Option<String>,
    announced: Vec<String>,
}

impl Guard {
    /// Must be called within the runtime.
    pub(super) fn over(of: Guarded) -> Self {
        let mut ticks = interval(EVERY);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        Self {
            of,
            ticks,
            looking: None,
            found: None,
            announced: Vec::new(),
        }
    }

    /// Waits for a new deviation. Cancelling this loses nothing.
    pub(super) async fn odd(&mut self) -> Odd {
        loop {
            if let Some(looking) = &mut self.looking {
                let seen = looking.await.unwrap_or_default();
                self.looking = None;
                let others = seen.iter().filter(|holder| !holder.is_us());
                let holders: Vec<String> = others.map(ToString::to_string).collect();
                let settings = self.found.take();
                if settings.is_some() || holders != self.announced {
                    self.announced.clone_from(&holders);
                    return Odd { holders, settings };
                }
            }
            self.ticks.tick().await;
            self.found = self.set_back();
            let (path, device) = (self.of.path.clone(), self.of.device.clone());
            self.looking = Some(tokio::task::spawn_blocking(move || holders(&path, &device)));
        }
    }

    /// Corrects the settings, and returns what they were if they had been changed.
    fn set_back(&self) -> Option<String> {
        // The reader reports a port that is gone.
        let now = tcgetattr(&self.of.handle).ok()?;
        let want = &self.of.settings;
        if is_set_as(&now, want) {
            return None;
        }
        tcsetattr(&self.of.handle, OptionalActions::Now, want).ok()?;
        let (found, ours) = (settings_of(&now), settings_of(want));
        Some(if found == ours {
            "another mode, in which bytes are edited or marked otherwise".to_owned()
        } else {
            found.to_string()
        })
    }
}

fn is_set_as(now: &Termios, want: &Termios) -> bool {
    let codes = |of: &Termios| {
        [SpecialCodeIndex::VMIN, SpecialCodeIndex::VTIME].map(|code| of.special_codes[code])
    };
    let modes = |of: &Termios| {
        (
            of.input_modes,
            of.output_modes,
            of.control_modes,
            of.local_modes,
        )
    };
    let speeds = |of: &Termios| (of.input_speed(), of.output_speed());
    modes(now) == modes(want) && speeds(now) == speeds(want) && codes(now) == codes(want)
}
