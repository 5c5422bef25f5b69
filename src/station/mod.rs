//! The core: bytes, commands and the time go in, entries to append come out. It does no I/O.
//!
//! - The same inputs at the same times give the same entries, always.
//! - Nothing in here shows anything to anyone: whatever is shown is read back from the journal.
//! - A [`Core`] is made from the [`State`] that the journal amounts to, so a restart goes on where
//!   the last entry left off.

mod adapters;
mod arming;
mod asking;
mod by_value;
mod capture;
pub mod card;
mod cards;
mod catch_up;
mod clock;
mod commands;
mod completing;
mod double_zero;
mod flood;
mod in_hand;
mod input;
mod judging;
mod measuring;
mod moving;
mod order;
mod origin;
mod plausible;
pub mod prompt;
mod reception;
mod refusal;
mod signals;
mod stopping;
mod timed_zeros;
mod undoing;
mod unread;
pub mod zero;

use crate::entry::{
    Attached, Begun, ClockStepped, Detached, Entry, Segment, Seq, Stamped, Started, State, Stopped,
    Unread,
};
use crate::quantity::{MonoMicros, Now, WallMicros};
use crate::spec::Catalog;
use reception::{Reception, live_signals, receptions};
use signals::LiveSignal;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

pub use input::{Armable, Command, Input, Output};
pub use moving::Moving;
pub use order::slots;
pub use refusal::{Foreign, Refusal};

/// All stations of a daemon.
#[derive(Debug)]
pub struct Core {
    catalog: Arc<Catalog>,
    state: State,
    pending: VecDeque<Output>,
    live: BTreeMap<String, Reception>,
    signals: BTreeMap<String, LiveSignal>,
    clock: clock::StepWatch,
    /// When the next zero becomes due by time.
    zero_due_at: Option<MonoMicros>,
    /// Per station the arming that was refused last since a series is open.
    asked: BTreeMap<String, stopping::RefusedArming>,
}

impl Core {
    /// Goes on from `state`.
    pub fn new(catalog: Arc<Catalog>, state: State) -> Self {
        let live = receptions(&catalog);
        let signals = live_signals(&catalog);
        let clock = clock::StepWatch::default();
        Self {
            catalog,
            state,
            pending: VecDeque::new(),
            live,
            signals,
            clock,
            zero_due_at: None,
            asked: BTreeMap::new(),
        }
    }

    /// The last entry was made then, before this core was: a clock that is behind it was set back.
    pub fn goes_on_after(&mut self, last_entry: WallMicros) {
        self.clock.goes_on_after(last_entry);
    }

    /// Takes one input. Call [`Core::poll`] until `WaitUntil` before the next one.
    pub fn handle(&mut self, now: Now, input: Input<'_>) {
        self.tell_what_time_did(now);
        let before = self.state.last;
        match input {
            Input::Begun(journal) => {
                self.append(now, Begun { journal });
            }
            Input::Started {
                version,
                config_digest,
            } => {
                let version = version.to_owned();
                self.append(
                    now,
                    Started {
                        version,
                        config_digest: config_digest.to_owned(),
                    },
                );
                self.catch_up(now);
            }
            Input::Stopping { reason } => self.stop(now, reason),
            Input::Reloaded(catalog) => self.reload(now, catalog),
            Input::PortOpened(attached) => self.port_opened(now, attached),
            Input::PortClosed { instrument, reason } => self.port_closed(now, instrument, reason),
            Input::Bytes { instrument, bytes } => self.bytes(now, instrument, bytes),
            Input::Spoiled { instrument, bytes } => self.spoiled(now, instrument, bytes),
            Input::Stale { instrument, bytes } => self.stale(now, instrument, bytes),
            Input::Disturbed {
                instrument,
                holders,
                settings,
            } => self.disturbed(now, instrument, holders, settings),
            Input::OutOfStep { instrument, behind } => self.out_of_step(now, instrument, behind),
            Input::Quiet { instrument, lasted } => self.quiet(now, instrument, lasted),
            Input::Contact { instrument, closed } => self.contact(now, instrument, closed),
            Input::SegmentFull => self.open_segment(now),
            Input::Journal(entry) => {
                self.append(now, entry);
            }
            Input::Woken => self.wake(now),
        }
        if self.state.last != before {
            self.await_zeros(now);
        }
    }

    /// Takes one command. What it appends comes out of [`Core::poll`]; the number is that of the entry which says
    /// that it was done. A request to an instrument has none: a reading comes of it, or does not.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] if it cannot be carried out; then nothing has changed.
    pub fn command(&mut self, now: Now, command: Command) -> Result<Option<Seq>, Refusal> {
        self.tell_what_time_did(now);
        let result = commands::run(self, now, command);
        self.await_zeros(now);
        result
    }

    /// A clock that was set, and zeros that have become due.
    fn tell_what_time_did(&mut self, now: Now) {
        if let Some(by_micros) = self.clock.step(now) {
            self.append(now, ClockStepped { by_micros });
            self.await_zeros(now);
        }
        self.tell_zeros_due(now);
    }

    /// The next thing to do.
    pub fn poll(&mut self) -> Output {
        match self.pending.pop_front() {
            Some(output) => output,
            None => Output::WaitUntil(self.waits_until()),
        }
    }

    /// What all entries amount to, those not yet polled included.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// What can be armed.
    pub fn catalog(&self) -> &Catalog {
        &self.catalog
    }

    /// The one way an entry comes about: it is numbered, folded into the state and queued.
    fn append(&mut self, now: Now, entry: impl Into<Entry>) -> Seq {
        let seq = self.state.last.map_or(Seq::FIRST, Seq::following);
        let stamped = Stamped {
            seq,
            at: now.wall,
            entry: entry.into(),
        };
        self.state.apply(&stamped);
        self.pending.push_back(Output::Append(stamped));
        seq
    }

    fn open_segment(&mut self, now: Now) {
        // Before its first entry a journal has no name and no segment to close.
        let Some(journal) = self.state.journal.clone() else {
            return;
        };
        let state = Box::new(self.state.clone());
        self.append(now, Segment { journal, state });
    }

    fn stop(&mut self, now: Now, reason: &str) {
        let names: Vec<_> = self.live.keys().cloned().collect();
        for name in names {
            self.end_bytes(now, &name);
        }
        self.append(
            now,
            Stopped {
                reason: reason.to_owned(),
            },
        );
    }

    fn stale(&mut self, now: Now, instrument: &str, bytes: &[u8]) {
        let Some(station) = self.station_of(instrument) else {
            return;
        };
        let entry = Unread {
            station: station.to_owned(),
            instrument: instrument.to_owned(),
            raw: bytes.iter().copied().take(unread::KEPT).collect(),
            bytes: u64::try_from(bytes.len()).unwrap_or(u64::MAX),
            times: 1,
            reason: "sent before the port was opened".to_owned(),
            remedy: Some("measure that piece again".to_owned()),
        };
        self.append(now, entry);
    }

    fn waits_until(&self) -> Option<MonoMicros> {
        let instruments = self.live.values().filter_map(Reception::waits_until);
        let signals = self.signals.values().filter_map(LiveSignal::waits_until);
        instruments.chain(signals).chain(self.zero_due_at).min()
    }

    fn port_opened(&mut self, now: Now, mut attached: Attached) {
        let known = self.catalog.instrument(&attached.instrument);
        attached.read_by = known.map(reception::read_by).map(Box::new);
        if let Some(live) = self.live.get_mut(&attached.instrument) {
            live.watcher.opened(attached.line.parse().ok());
            if let Some(ask) = live.capturing.asking() {
                ask.port_opened(now.mono);
            }
        }
        let instrument = attached.instrument.clone();
        self.append(now, attached);
        self.tell_another_adapter(now, &instrument);
    }

    fn port_closed(&mut self, now: Now, name: &str, reason: &str) {
        self.end_bytes(now, name);
        self.end_signal(now, name);
        if let Some(live) = self.live.get_mut(name) {
            live.origin.forget();
            if let Some(ask) = live.capturing.asking() {
                ask.port_closed();
            }
        }
        let Some(station) = self.station_of(name).map(str::to_owned) else {
            return;
        };
        let instrument = name.to_owned();
        self.append(
            now,
            Detached {
                instrument,
                station,
                reason: reason.to_owned(),
            },
        );
    }

    /// The station that an instrument, a scanner or a pedal belongs to.
    fn station_of(&self, name: &str) -> Option<&str> {
        let instrument = self.live.get(name).map(|live| live.station.as_str());
        instrument.or_else(|| self.signals.get(name).map(LiveSignal::station))
    }
}
