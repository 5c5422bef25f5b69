//! Notices a disk that does not answer, and tells clients.
//!
//! In: entries given to the journal, and its answers. Out: after a time, a notice on feed, page, status, log, health
//! and to the service manager, and another once the disk answers. Waiting entries are written when that is possible.

use super::hub::Hub;
use super::outage::Mode;
use super::service;
use crate::clients::Health;
use crate::message::{ErrorObject, Notice, code};
use std::time::{Duration, Instant};

/// Interval at which the displayed time is updated.
const EVERY: Duration = Duration::from_secs(1);

const REMEDY: &str = "look at the disk of state_dir; what is measured now waits for it, and the daemon goes on by itself";

/// Whether the disk answers.
#[derive(Debug)]
pub(super) struct Stall {
    after: Duration,
    /// Since when the journal has been working on entries; `None` while none is on its way.
    since: Option<Instant>,
    /// When clients last got a notice.
    announced: Option<Instant>,
}

impl Stall {
    /// Clients get a notice after this time without an answer.
    pub(super) const fn new(after: Duration) -> Self {
        Self {
            after,
            since: None,
            announced: None,
        }
    }

    /// The journal was given an entry.
    pub(super) fn handed_over(&mut self, now: Instant) {
        self.since.get_or_insert(now);
    }

    /// Whether clients got a notice that it does not answer.
    pub(super) const fn is_announced(&self) -> bool {
        self.announced.is_some()
    }

    /// Time of the next check, if nothing else happens.
    pub(super) fn due(&self) -> Option<Instant> {
        let since = self.since?;
        Some(self.announced.map_or(since + self.after, |at| at + EVERY))
    }
}

fn not_answered(for_so_long: Duration) -> String {
    format!("the disk has not answered for {} s", for_so_long.as_secs())
}

impl Hub {
    /// Tells everyone if the disk has not answered for too long.
    pub(super) fn look_at_stall(&mut self) {
        let now = Instant::now();
        let (Some(since), Some(due)) = (self.stall.since, self.stall.due()) else {
            return;
        };
        if now < due {
            return;
        }
        let so_long = now.saturating_duration_since(since);
        if self.stall.announced.replace(now).is_none() {
            let waiting = self.appended.0.saturating_sub(self.durable.0);
            let message = format!(
                "{}: nothing from entry {} on is announced until it does",
                not_answered(so_long),
                self.durable.following()
            );
            tracing::error!(waiting, "{message}");
            let notice = Notice::new("journal_stalled", message, Some(REMEDY));
            self.live.set_health(Health::Stalled { since }, &notice);
        } else {
            self.live.wake_all();
        }
        service::disk_stalls(so_long.as_secs());
    }

    /// The disk has answered with any result; `more` entries are on their way.
    pub(super) fn disk_answered(&mut self, more: bool) {
        let now = Instant::now();
        let since = self.stall.since.take();
        self.stall.since = more.then_some(now);
        if self.stall.announced.take().is_none() {
            return;
        }
        let so_long = since.map_or(Duration::ZERO, |since| now.saturating_duration_since(since));
        let message = format!("the disk answers again after {} s", so_long.as_secs());
        tracing::warn!("{message}");
        let health = match &self.mode {
            Mode::Writing => Health::Ok,
            Mode::Full(..) | Mode::Trying(_) => Health::Full,
        };
        let notice = Notice::new("journal_resumed", message, None);
        self.live.set_health(health, &notice);
        service::disk_answers();
    }

    /// The answer to a command while the disk does not answer and no more commands may wait.
    pub(super) fn behind(&self) -> ErrorObject {
        let so_long = self
            .stall
            .since
            .map_or(Duration::ZERO, |since| since.elapsed());
        let waiting = self.journal.waiting();
        let message = format!("{}: {waiting} entries wait for it", not_answered(so_long));
        ErrorObject::new(
            code::BUSY,
            message,
            Some("check the disk of state_dir, then repeat the command".to_owned()),
        )
    }
}
