//! What the daemon does while the disk is full: count frames that are not judged, and try again.

use super::hub::Hub;
use super::service;
use crate::clients::Health;
use crate::entry::{Attached, Entry, Gap, JournalEntry, Seq, Stamped};
use crate::message::{ErrorObject, Notice, code};
use crate::quantity::{MonoMicros, WallMicros};
use crate::station::{Core, Input};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

const FIRST_PAUSE: Duration = Duration::from_secs(1);
const LONGEST_PAUSE: Duration = Duration::from_secs(60);

/// Whether entries become durable.
#[derive(Debug)]
pub(super) enum Mode {
    /// They do, as far as is known.
    Writing,
    /// The disk is full. The core runs on to count lost frames; its entries are dropped.
    Full(Outage, MonoMicros),
    /// A write is tried again. No input is taken until its result is known.
    Trying(Outage),
}

/// A time in which nothing could be recorded.
#[derive(Debug)]
pub(super) struct Outage {
    pub(super) since: WallMicros,
    pub(super) reason: String,
    pub(super) frames: u64,
    pub(super) pause: Duration,
}

impl Outage {
    pub(super) fn new(since: WallMicros, reason: &str) -> Self {
        Self {
            since,
            reason: reason.to_owned(),
            frames: 0,
            pause: FIRST_PAUSE,
        }
    }

    /// An attempt failed; the next pause is longer.
    pub(super) fn longer(self) -> Self {
        Self {
            pause: self.pause.saturating_mul(2).min(LONGEST_PAUSE),
            ..self
        }
    }

    /// Counts a dropped entry.
    pub(super) fn count(&mut self, entry: &Entry) {
        self.frames = self.frames.saturating_add(u64::from(is_frame(entry)));
    }

    /// The entry about this time.
    pub(super) fn gap(&self) -> Entry {
        Entry::Journal(JournalEntry::Gap(Gap {
            since: self.since,
            frames: self.frames,
            reason: self.reason.clone(),
        }))
    }
}

fn is_frame(entry: &Entry) -> bool {
    matches!(entry, Entry::Frame(_))
}

/// Entries of frames that were given to the journal and are not durable yet, in order. If the disk is full they are
/// discarded and count as not judged.
#[derive(Debug, Default)]
pub(super) struct UndurableFrames(VecDeque<Seq>);

impl UndurableFrames {
    pub(super) fn handed_over(&mut self, stamped: &Stamped) {
        if is_frame(&stamped.entry) {
            self.0.push_back(stamped.seq);
        }
    }

    pub(super) fn durable(&mut self, last: Seq) {
        let done = self.0.partition_point(|seq| *seq <= last);
        self.0.drain(..done);
    }

    /// Number of entries that were discarded. None remains.
    fn take_lost(&mut self) -> u64 {
        let lost = std::mem::take(&mut self.0).len();
        u64::try_from(lost).unwrap_or(u64::MAX)
    }
}

impl Hub {
    /// Number of frames not judged so far; `None` while entries are recorded.
    pub(super) fn unjudged_frames(&self) -> Option<u64> {
        match &self.mode {
            Mode::Writing => None,
            Mode::Full(outage, _) | Mode::Trying(outage) => Some(outage.frames),
        }
    }

    /// The disk is full: nothing counts until there is room.
    pub(super) fn full(&mut self, error: &str, first_lost: Seq) {
        let now = self.now();
        let message = format!("{error}; entry {first_lost} and later ones are not recorded");
        tracing::error!(%first_lost, "{message}");
        let mut outage = match std::mem::replace(&mut self.mode, Mode::Writing) {
            Mode::Writing => {
                let remedy = "make room on the disk of state_dir; the daemon goes on by itself";
                let notice = Notice::new("journal_full", message.clone(), Some(remedy));
                self.live.set_health(Health::Full, &notice);
                service::journal_takes(false);
                Outage::new(now.wall, error)
            }
            Mode::Full(outage, _) | Mode::Trying(outage) => outage.longer(),
        };
        outage.frames = outage.frames.saturating_add(self.on_their_way.take_lost());
        self.waiting.refuse(&no_room(message));
        self.appended = self.live.last();
        let retry_at = now.mono.plus(outage.pause);
        self.mode = Mode::Full(outage, retry_at);
    }

    /// There may be room again. The core is made again from the durable entries, and enters the gap.
    pub(super) fn try_again(&mut self, outage: Outage) {
        let catalog = Arc::clone(&self.config.catalog);
        let started_is_lost = self.started > self.live.last();
        self.core = Core::new(catalog, self.live.state());
        if let Some(at) = self.live.last_at() {
            self.core.goes_on_after(at);
        }
        let gap = outage.gap();
        self.mode = Mode::Trying(outage);
        if let Err(error) = self.journal.resume() {
            tracing::error!(%error, "the journal cannot go on");
        }
        if started_is_lost {
            self.say_started();
        }
        self.feed(Input::Journal(gap));
        self.tell_ports_again();
    }

    /// Enters the present state of the ports, because it changed while nothing was recorded.
    fn tell_ports_again(&mut self) {
        let known: Vec<Attached> = self
            .core
            .state()
            .instruments
            .values()
            .filter_map(|instrument| instrument.attached.clone())
            .collect();
        for attached in known {
            let open = self.open.get(&attached.instrument);
            if !open.is_some_and(|open| open.is_same_port(&attached)) {
                self.feed(Input::PortClosed {
                    instrument: &attached.instrument,
                    reason: "closed while nothing could be recorded",
                });
            }
        }
        for attached in self.open.clone().into_values() {
            let state = self.core.state();
            let text = state
                .instruments
                .get(&attached.instrument)
                .and_then(|instrument| instrument.attached.as_ref());
            if !text.is_some_and(|text| text.is_same_port(&attached)) {
                self.feed(Input::PortOpened(attached));
            }
        }
    }

    /// An entry has become durable.
    pub(super) fn outage_is_over(&mut self) {
        match std::mem::replace(&mut self.mode, Mode::Writing) {
            Mode::Writing => {}
            // These lines were durable before the disk was full.
            mode @ Mode::Full(..) => self.mode = mode,
            Mode::Trying(outage) => {
                let message = format!(
                    "there is room again; {} frames since {} were not judged",
                    outage.frames,
                    outage.since.local(&crate::clock::zone())
                );
                tracing::warn!("{message}");
                let remedy = "measure those pieces again";
                let notice = Notice::new("journal_resumed", message, Some(remedy));
                self.live.set_health(Health::Ok, &notice);
                service::journal_takes(true);
            }
        }
    }
}

/// The answer to a command that cannot be recorded.
pub(super) fn no_room(message: String) -> ErrorObject {
    ErrorObject::new(
        code::JOURNAL_FULL,
        message,
        Some("make room on the disk of state_dir, then repeat the command".to_owned()),
    )
}
