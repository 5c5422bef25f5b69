//! The core: bytes, commands and the time go in, entries to append come out. It does no I/O.
//!
//! - The same inputs at the same times give the same entries, always.
//! - Nothing in here shows anything to anyone: whatever is shown is read back from the journal.
//! - A [`Core`] is made from the [`State`] that the journal amounts to, so a restart goes on where
//!   the last entry left off.

mod arming;
mod asking;
mod capture;
mod cards;
mod clock;
mod commands;
mod measuring;
mod order;
mod origin;
mod plausible;
pub mod prompt;
mod signals;
mod unread;
pub mod zero;

use crate::decode::Decoder;
use crate::decode::guess::Watcher;
use crate::entry::{Attached, Entry, JournalId, Seq, Stamped, State, Unread};
use crate::quantity::{MonoMicros, Now};
use crate::spec::{Catalog, Instrument, Plan};
use signals::LiveSignal;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

pub use order::slots;

/// Everything that can happen to the core.
#[derive(Debug)]
pub enum Input<'a> {
    /// The journal is new; this is its name.
    Begun(JournalId),
    /// The daemon has started, or has read its configuration anew.
    Started {
        /// The program's version.
        version: &'a str,
        /// SHA-256 of the configuration files, hex.
        config_digest: &'a str,
    },
    /// The daemon is about to stop.
    Stopping {
        /// Why: `SIGTERM`, …
        reason: &'a str,
    },
    /// A new configuration is in force; `Started` follows.
    Reloaded(Arc<Catalog>),
    /// An instrument's port is open.
    PortOpened(Attached),
    /// An instrument's port is gone.
    PortClosed {
        /// The instrument.
        instrument: &'a str,
        /// Why, in words.
        reason: &'a str,
    },
    /// Bytes of an instrument, in whatever pieces they came.
    Bytes {
        /// The instrument.
        instrument: &'a str,
        /// The bytes.
        bytes: &'a [u8],
    },
    /// Bytes that the line spoiled (parity, framing, a break), in their place among the others.
    Spoiled {
        /// The instrument.
        instrument: &'a str,
        /// The bytes.
        bytes: &'a [u8],
    },
    /// Bytes that were waiting when an instrument's port was opened: nobody knows what they are of.
    Stale {
        /// The instrument.
        instrument: &'a str,
        /// The bytes.
        bytes: &'a [u8],
    },
    /// A pedal's contact on a modem line.
    Contact {
        /// The pedal.
        instrument: &'a str,
        /// It closed, or opened.
        closed: bool,
    },
    /// The journal's segment is full: open the next one.
    SegmentFull,
    /// Something happened to the journal itself: [`Entry::Gap`] or [`Entry::DamageAccepted`].
    Journal(Entry),
    /// The time asked for by [`Output::WaitUntil`] has come.
    Woken,
}

/// What a person says to a station, by whatever means. `station` may be left out where there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// Open a series.
    Arm {
        /// The station.
        station: Option<String>,
        /// What to measure.
        what: Armable,
        /// Who measures, if said.
        operator: Option<String>,
    },
    /// Close the open series.
    Disarm {
        /// The station.
        station: Option<String>,
    },
    /// Take a reading back; the last one unless named.
    Retract {
        /// The station.
        station: Option<String>,
        /// The reading's entry.
        seq: Option<Seq>,
    },
    /// Keep a remark.
    Note {
        /// The station.
        station: Option<String>,
        /// The words.
        text: String,
    },
    /// Ask the instrument for a value.
    Ask {
        /// The station.
        station: Option<String>,
        /// The instrument; may be left out where one alone can be asked.
        instrument: Option<String>,
    },
    /// The next frame is a zero.
    Zero {
        /// The station.
        station: Option<String>,
        /// The instrument; may be left out where the station has one.
        instrument: Option<String>,
    },
}

/// What can be armed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Armable {
    /// A plan of the configuration.
    Named(String),
    /// A plan given whole.
    Inline(Box<Plan>),
}

/// Why a command was not carried out. Nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct Refusal {
    /// What was got and what was expected.
    pub message: String,
    /// What to do about it.
    pub remedy: Option<String>,
}

/// Everything the core can ask for.
#[derive(Debug, PartialEq, Eq)]
pub enum Output {
    /// Append this; whatever is shown is read back from the journal.
    Append(Stamped),
    /// Send these bytes to an instrument.
    Send {
        /// The instrument.
        instrument: String,
        /// The bytes that ask it for a value.
        bytes: Vec<u8>,
    },
    /// Drained. Wait for a new input, and no longer than this.
    WaitUntil(Option<MonoMicros>),
}

/// All stations of a daemon.
#[derive(Debug)]
pub struct Core {
    catalog: Arc<Catalog>,
    state: State,
    pending: VecDeque<Output>,
    live: BTreeMap<String, Live>,
    signals: BTreeMap<String, LiveSignal>,
    clock: clock::StepWatch,
}

/// What is remembered of an instrument between two inputs, and lost at a restart.
#[derive(Debug)]
struct Live {
    station: String,
    decoder: Decoder,
    capturing: capture::Capturing,
    origin: capture::origin::OriginWatch,
    unread: unread::Folding,
    watcher: Watcher,
    doubt: Option<plausible::Doubt>,
}

impl Live {
    fn new(instrument: &Instrument) -> Self {
        Self {
            station: instrument.station.clone(),
            decoder: Decoder::new(instrument.format, instrument.unit)
                .with_pattern(instrument.pattern.clone()),
            capturing: capture::Capturing::new(&instrument.capture, instrument.resolution),
            origin: capture::origin::OriginWatch::default(),
            unread: unread::Folding::default(),
            watcher: Watcher::default(),
            doubt: None,
        }
    }

    fn waits_until(&self) -> Option<MonoMicros> {
        [
            self.decoder.gives_up_at(),
            self.unread.due_at(),
            self.capturing.waits_until(),
        ]
        .into_iter()
        .flatten()
        .min()
    }
}

impl Core {
    /// Goes on from `state`.
    pub fn new(catalog: Arc<Catalog>, state: State) -> Self {
        let live = lives(&catalog);
        let signals = live_signals(&catalog);
        let clock = clock::StepWatch::default();
        Self {
            catalog,
            state,
            pending: VecDeque::new(),
            live,
            signals,
            clock,
        }
    }

    /// Takes one input. Call [`Core::poll`] until `WaitUntil` before the next one.
    pub fn handle(&mut self, now: Now, input: Input<'_>) {
        if let Some(by_micros) = self.clock.step(now) {
            self.append(now, Entry::ClockStepped { by_micros });
        }
        match input {
            Input::Begun(journal) => self.append(now, Entry::Begun { journal }),
            Input::Started {
                version,
                config_digest,
            } => {
                let version = version.to_owned();
                self.append(
                    now,
                    Entry::Started {
                        version,
                        config_digest: config_digest.to_owned(),
                    },
                );
            }
            Input::Stopping { reason } => self.stop(now, reason),
            Input::Reloaded(catalog) => self.reload(now, catalog),
            Input::PortOpened(attached) => self.port_opened(now, attached),
            Input::PortClosed { instrument, reason } => self.port_closed(now, instrument, reason),
            Input::Bytes { instrument, bytes } => self.bytes(now, instrument, bytes),
            Input::Spoiled { instrument, bytes } => self.spoiled(now, instrument, bytes),
            Input::Stale { instrument, bytes } => self.stale(now, instrument, bytes),
            Input::Contact { instrument, closed } => self.contact(now, instrument, closed),
            Input::SegmentFull => self.open_segment(now),
            Input::Journal(entry) => self.append(now, entry),
            Input::Woken => self.wake(now),
        }
    }

    /// Takes one command. What it appends comes out of [`Core::poll`].
    ///
    /// # Errors
    ///
    /// A [`Refusal`] if it cannot be carried out; then nothing has changed.
    pub fn command(&mut self, now: Now, command: Command) -> Result<(), Refusal> {
        commands::run(self, now, command)
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
    fn append(&mut self, now: Now, entry: Entry) {
        let seq = self.state.last.map_or(Seq::FIRST, Seq::following);
        let stamped = Stamped {
            seq,
            at: now.wall,
            entry,
        };
        self.state.apply(&stamped);
        self.pending.push_back(Output::Append(stamped));
    }

    fn open_segment(&mut self, now: Now) {
        // Before its first entry a journal has no name and no segment to close.
        let Some(journal) = self.state.journal.clone() else {
            return;
        };
        let state = Box::new(self.state.clone());
        self.append(now, Entry::Segment { journal, state });
    }

    fn stop(&mut self, now: Now, reason: &str) {
        let names: Vec<_> = self.live.keys().cloned().collect();
        for name in names {
            self.end_bytes(now, &name);
        }
        self.append(
            now,
            Entry::Stopped {
                reason: reason.to_owned(),
            },
        );
    }

    /// Instruments whose decoding did not change keep the bytes of a frame in hand.
    fn reload(&mut self, now: Now, catalog: Arc<Catalog>) {
        let old = Arc::clone(&self.catalog);
        let changed = |name: &str| match (old.instrument(name), catalog.instrument(name)) {
            (Some(old), Some(new)) => {
                old.format.name != new.format.name
                    || (old.unit, &old.capture, &old.pattern)
                        != (new.unit, &new.capture, &new.pattern)
                    || old.resolution != new.resolution
                    || old.station != new.station
            }
            (Some(_), None) | (None, _) => true,
        };
        let ended: Vec<_> = self
            .live
            .keys()
            .filter(|name| changed(name))
            .cloned()
            .collect();
        for name in &ended {
            self.end_bytes(now, name);
            self.live.remove(name);
        }
        let mut live = lives(&catalog);
        live.append(&mut self.live);
        self.live = live;
        self.reload_signals(now, &catalog);
        self.catalog = catalog;
    }

    fn stale(&mut self, now: Now, instrument: &str, bytes: &[u8]) {
        let Some(station) = self.station_of(instrument) else {
            return;
        };
        let entry = Entry::Unread(Unread {
            station: station.to_owned(),
            instrument: instrument.to_owned(),
            raw: bytes.iter().copied().take(unread::KEPT).collect(),
            bytes: u64::try_from(bytes.len()).unwrap_or(u64::MAX),
            times: 1,
            reason: "sent before the port was opened".to_owned(),
            remedy: Some("measure that piece again".to_owned()),
        });
        self.append(now, entry);
    }

    fn waits_until(&self) -> Option<MonoMicros> {
        let instruments = self.live.values().filter_map(Live::waits_until);
        let signals = self.signals.values().filter_map(LiveSignal::waits_until);
        instruments.chain(signals).min()
    }

    fn port_opened(&mut self, now: Now, attached: Attached) {
        if let Some(live) = self.live.get_mut(&attached.instrument) {
            live.watcher.opened(attached.line.parse().ok());
            if let Some(ask) = live.capturing.asking() {
                ask.port_opened(now.mono);
            }
        }
        self.append(now, Entry::Attached(attached));
    }

    fn port_closed(&mut self, now: Now, name: &str, reason: &str) {
        self.end_bytes(now, name);
        self.end_signal(now, name, true);
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
            Entry::Detached {
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

    fn reload_signals(&mut self, now: Now, catalog: &Catalog) {
        let unchanged = |name: &str, live: &LiveSignal| {
            catalog
                .signals
                .iter()
                .any(|signal| signal.name == name && live.is_of(signal))
        };
        let ended: Vec<_> = self
            .signals
            .iter()
            .filter(|(name, live)| !unchanged(name, live))
            .map(|(name, _)| name.clone())
            .collect();
        for name in &ended {
            self.end_signal(now, name, true);
            self.signals.remove(name);
        }
        let mut signals = live_signals(catalog);
        signals.append(&mut self.signals);
        self.signals = signals;
    }
}

/// A live signal for each scanner and pedal.
fn live_signals(catalog: &Catalog) -> BTreeMap<String, LiveSignal> {
    let signals = catalog.signals.iter();
    signals
        .map(|signal| (signal.name.clone(), LiveSignal::new(signal)))
        .collect()
}

/// A live instrument for each that measures.
fn lives(catalog: &Catalog) -> BTreeMap<String, Live> {
    let measuring = |instrument: &&Instrument| instrument.kind.dimension().is_some();
    let instruments = catalog.instruments.iter().filter(measuring);
    instruments
        .map(|instrument| (instrument.name.clone(), Live::new(instrument)))
        .collect()
}
