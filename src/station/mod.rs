//! The core: bytes, commands and the time go in, entries to append come out. It does no I/O.
//!
//! - The same inputs at the same times give the same entries, always.
//! - The core shows nothing to anyone. Whatever is shown was read back from the journal.
//! - A [`Core`] is built from the [`State`] that follows from the journal, so a restart continues after the last entry.

mod adapters;
mod answering;
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
mod counted;
mod double_zero;
mod flood;
mod in_hand;
mod input;
mod jobs;
mod judging;
mod measuring;
mod moving;
mod order;
mod origin;
mod picturing;
mod plausible;
mod production;
pub mod prompt;
mod qualifying;
mod reception;
mod refusal;
pub mod sampling;
mod signals;
mod stopping;
mod timed_zeros;
mod undoing;
mod unread;
pub mod zero;

use crate::entry::{
    Attached, Begun, ClockStepped, Detached, Entry, ProductionEntry, SaidEntry, Segment, Seq,
    SeriesEntry, Stamped, Started, State, Stopped, Unread,
};
use crate::quantity::{MonoMicros, Now, WallMicros};
use crate::spec::Catalog;
use reception::{Reception, live_signals, receptions};
use signals::LiveSignal;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

pub use input::{Armable, Command, Input, Output, Picture, Settling};
pub use moving::Moving;
pub use order::slots;
pub use qualifying::NotShown;
pub use refusal::{Foreign, Refusal};

/// The core of a daemon, with all its stations.
#[derive(Debug)]
pub struct Core {
    catalog: Arc<Catalog>,
    state: State,
    pending: VecDeque<Output>,
    live: BTreeMap<String, Reception>,
    signals: BTreeMap<String, LiveSignal>,
    clock: clock::StepWatch,
    /// When the next zero becomes due by time; `None` if no plan requires it.
    zero_due_at: Option<MonoMicros>,
    /// When the next sample of a production run becomes due by time; `None` if none does.
    sample_due_at: Option<MonoMicros>,
    /// By station: the last arming that was refused because of the open series.
    asked: BTreeMap<String, stopping::RefusedArming>,
}

impl Core {
    /// Continues from `state`, which follows from the journal.
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
            sample_due_at: None,
            asked: BTreeMap::new(),
        }
    }

    /// Tells the core when the journal's last entry was made, so that a wall clock behind it is detected.
    pub fn goes_on_after(&mut self, last_entry: WallMicros) {
        self.clock.goes_on_after(last_entry);
    }

    /// Takes one input. Call [`Core::poll`] until `WaitUntil` before the next one.
    pub fn handle(&mut self, now: Now, input: Input<'_>) {
        self.note_time(now);
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
            self.schedule_next_zero(now);
            self.schedule_next_sample(now);
        }
    }

    /// Carries out a command. The entries that it appends come out of [`Core::poll`]. Returns the number of the entry
    /// that proves it was done; `None` for a request to an instrument, which may bring a reading later.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] if the command cannot be carried out. Then nothing has changed.
    pub fn command(&mut self, now: Now, command: Command) -> Result<Option<Seq>, Refusal> {
        self.note_time(now);
        let result = commands::run(self, now, command);
        self.schedule_next_zero(now);
        self.schedule_next_sample(now);
        result
    }

    /// Appends what the passing of time causes: a clock that was set, zeros that became due.
    fn note_time(&mut self, now: Now) {
        if let Some(by_micros) = self.clock.step(now) {
            self.append(now, ClockStepped { by_micros });
            self.schedule_next_zero(now);
            self.schedule_next_sample(now);
        }
        self.append_due_zeros(now);
        self.append_due_samples(now);
    }

    /// The next thing for the daemon to do.
    pub fn poll(&mut self) -> Output {
        match self.pending.pop_front() {
            Some(output) => output,
            None => Output::WaitUntil(self.waits_until()),
        }
    }

    /// The warning about a value in the entry `seq` that was accepted; the entry is not polled yet.
    pub fn warning_of(&self, seq: Seq) -> Option<String> {
        self.pending.iter().find_map(|output| match output {
            Output::Append(Stamped {
                seq: this,
                entry: Entry::Said(SaidEntry::JobSaid(said)),
                ..
            }) if *this == seq => said.warning.clone(),
            Output::Append(Stamped {
                seq: this,
                entry: Entry::Production(ProductionEntry::Crimped(crimped)),
                ..
            }) if *this == seq && crimped.run.is_none() => Some(format!(
                "no run is open at {}, so no sample vouches for these crimps",
                crimped.station
            )),
            Output::Append(_) | Output::Send { .. } | Output::WaitUntil(_) => None,
        })
    }

    /// The state after all entries, those included that [`Core::poll`] has not returned yet.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The configuration's plans, sheets, tools and instruments.
    pub fn catalog(&self) -> &Catalog {
        &self.catalog
    }

    /// The only way to an entry. What follows from it for production runs comes directly after it.
    fn append(&mut self, now: Now, entry: impl Into<Entry>) -> Seq {
        let entry = entry.into();
        self.enter_counted_before(now, &entry);
        let sampled = match &entry {
            Entry::Series(SeriesEntry::Completed(completed)) => Some(completed.station.clone()),
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_)
            | Entry::Production(_) => None,
        };
        let seq = self.append_one(now, entry);
        if let Some(station) = sampled {
            self.append_owed(now, &station);
        }
        seq
    }

    /// An entry gets its number, changes the state, and is queued for [`Core::poll`].
    fn append_one(&mut self, now: Now, entry: impl Into<Entry>) -> Seq {
        let seq = self.state.last.map_or(Seq::FIRST, Seq::following);
        let stamped = Stamped {
            token: None,
            seq,
            at: now.wall,
            entry: entry.into(),
        };
        self.state.apply(&stamped);
        self.pending.push_back(Output::Append(stamped));
        seq
    }

    fn open_segment(&mut self, now: Now) {
        // Before its first entry a journal has no identity and no segment to close.
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
        let names: Vec<_> = self.signals.keys().cloned().collect();
        for name in names {
            self.enter_all_counted(now, &name);
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
        let due = self.zero_due_at.into_iter().chain(self.sample_due_at);
        instruments.chain(signals).chain(due).min()
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
        self.append_adapter_change(now, &instrument);
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
        let instrument = self.live.get(name).map(|live| &*live.station);
        instrument.or_else(|| self.signals.get(name).map(LiveSignal::station))
    }
}
