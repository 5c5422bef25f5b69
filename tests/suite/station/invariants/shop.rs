//! Two stations whose journal is written and read back entry by entry, and whose daemon may be
//! killed between any two entries.
//!
//! Time goes on while nothing runs. [`Shop::elapsed`] is the time on a wall clock of the shop that nobody ever sets.

use super::super::desk::{answering_kind, assert_answered, catalog, instrument, plan};
use std::sync::{Arc, LazyLock};
use std::time::Duration;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::entry::{Attached, Entry, JournalEntry, JournalId, Stamped, State};
use tallyjaw::quantity::{MonoMicros, Now, Unit, WallMicros};
use tallyjaw::spec::{
    Capture, Catalog, Flicker, InstrumentKind, PedalAction, Plan, Signal, SignalKind,
};
use tallyjaw::station::{Command, Core, Input, Output, Refusal};

/// Instruments in the order of [`INSTRUMENTS`]: a caliper with a key, a force gauge, a caliper that
/// streams, a caliper that is asked.
pub(crate) const INSTRUMENTS: [&str; 4] = ["caliper-1", "gauge-1", "caliper-2", "caliper-3"];
/// Those that measure lengths.
pub(crate) const LENGTHS: [&str; 3] = ["caliper-1", "caliper-2", "caliper-3"];
pub(crate) const STREAMING: &str = "caliper-2";
pub(crate) const SCANNERS: [&str; 2] = ["scanner-1", "scanner-2"];
pub(crate) const PEDALS: [&str; 4] = ["pedal-1", "pedal-2", "pedal-3", "pedal-4"];
pub(crate) const STATIONS: [&str; 2] = ["bench-1", "bench-2"];

/// The first is in force at first; the others come by a reload, and each changes something that a
/// series in hand may lean on.
pub(crate) static CATALOGS: LazyLock<Vec<Arc<Catalog>>> = LazyLock::new(|| {
    let mut tighter = shop();
    for row in &mut tighter.terminals[0].rows {
        row.limits[0].1 = "1.62 ±0.03 mm".parse().unwrap();
    }
    tighter.plans[0].id = Some("pump-new".to_owned());
    let mut in_inches = shop();
    in_inches.instruments[0].unit = Unit::Inch;
    in_inches.instruments[2].capture = Capture::Press {
        bounce: Duration::from_millis(150),
    };
    let mut fewer = shop();
    fewer.instruments.retain(|known| known.name != "gauge-1");
    fewer.signals.retain(|known| known.name != "pedal-1");
    let mut moved = shop();
    STATIONS[0].clone_into(&mut moved.instruments[2].station);
    STATIONS[1].clone_into(&mut moved.signals[0].station);
    let mut one_station = shop();
    one_station.stations.truncate(1);
    one_station
        .instruments
        .retain(|known| known.station == STATIONS[0]);
    one_station
        .signals
        .retain(|known| known.station == STATIONS[0]);
    [shop(), tighter, in_inches, fewer, moved, one_station]
        .map(Arc::new)
        .to_vec()
});

fn shop() -> Catalog {
    let mut catalog = catalog();
    // Narrow enough for a value to tell height from width.
    for axis in &mut catalog.axes {
        axis.plausible_percent = 15;
    }
    catalog.stations = STATIONS.map(str::to_owned).to_vec();
    let caliper = |name: &str, capture| {
        let caliper = InstrumentKind::Caliper;
        let known = instrument(name, caliper, Unit::Millimetre, "0.01 mm");
        tallyjaw::spec::Instrument {
            station: STATIONS[1].to_owned(),
            capture,
            ..known
        }
    };
    let steady = Capture::Steady {
        hold: Duration::from_millis(500),
        frames: 3,
        release_counts: 5,
        flicker: Flicker::Worst,
    };
    let ask = Capture::Ask {
        request: b"?\r".to_vec(),
        timeout: Duration::from_secs(1),
        every: None,
    };
    catalog.instruments.push(caliper("caliper-2", steady));
    catalog.instruments.push(caliper("caliper-3", ask));
    let signal = |name: &str, station: usize, kind| Signal {
        name: name.to_owned(),
        station: STATIONS[station].to_owned(),
        kind,
    };
    let pedal = |does| SignalKind::Pedal { does };
    catalog.signals = vec![
        signal("scanner-1", 0, SignalKind::Scanner { line_end: true }),
        signal("scanner-2", 1, SignalKind::Scanner { line_end: true }),
        signal("pedal-1", 0, pedal(PedalAction::Retract)),
        signal("pedal-2", 1, pedal(PedalAction::Ask)),
        signal("pedal-3", 1, pedal(PedalAction::Arm("pump-own".to_owned()))),
        signal("pedal-4", 1, pedal(PedalAction::Disarm)),
    ];
    let named = |id: &str, plan: Plan| Plan {
        id: Some(id.to_owned()),
        pieces: 2,
        ..plan
    };
    let repeat = true;
    catalog.plans = vec![
        named("pump-own", plan()),
        named("pump-ref", Plan { repeat, ..plan() }),
    ];
    catalog
}

pub(crate) struct Shop {
    pub(crate) core: Core,
    /// What is on the disk, as it was read back.
    pub(crate) entries: Vec<Stamped>,
    /// The time of each entry, by [`Shop::elapsed`].
    pub(crate) times: Vec<Duration>,
    /// What was on the disk before the last input.
    durable: usize,
    /// The digest of the last line.
    pub(crate) digest: Digest,
    replayed: State,
    catalog: Arc<Catalog>,
    elapsed: Duration,
    booted: Duration,
    clock_off_micros: i64,
}

impl Shop {
    pub(crate) fn new() -> Self {
        let catalog = Arc::clone(&CATALOGS[0]);
        let mut shop = Self {
            core: Core::new(Arc::clone(&catalog), State::default()),
            entries: Vec::new(),
            times: Vec::new(),
            durable: 0,
            digest: Digest::NONE,
            replayed: State::default(),
            catalog,
            elapsed: Duration::ZERO,
            booted: Duration::ZERO,
            clock_off_micros: 0,
        };
        shop.input(Input::Begun(JournalId("0".repeat(32))));
        shop.start();
        shop
    }

    fn start(&mut self) {
        self.input(Input::Started {
            version: "test",
            config_digest: "none",
        });
        let catalog = Arc::clone(&self.catalog);
        let instruments = catalog.instruments.iter().map(|known| &known.name);
        for name in instruments.chain(catalog.signals.iter().map(|known| &known.name)) {
            self.plug(name);
        }
    }

    pub(crate) fn plug(&mut self, name: &str) {
        let catalog = Arc::clone(&self.catalog);
        let instrument = catalog.instrument(name).map(|known| &known.station);
        let signal = catalog.signals.iter().find(|known| known.name == name);
        let Some(station) = instrument.or(signal.map(|known| &known.station)) else {
            return;
        };
        self.input(Input::PortOpened(Attached {
            instrument: name.to_owned(),
            station: station.clone(),
            port: "/dev/ttyUSB0".to_owned(),
            line: "9600 8N1".to_owned(),
            identity: None,
            socket: None,
            ambiguous: false,
            read_by: None, // the core knows how it is read
        }));
    }

    /// What the operator's own watch shows since the journal was begun.
    pub(crate) fn now(&self) -> Now {
        let micros = |time: Duration| u64::try_from(time.as_micros()).unwrap();
        let wall = 1_764_000_000_000_000 + i64::try_from(micros(self.elapsed)).unwrap();
        Now {
            wall: WallMicros(wall + self.clock_off_micros),
            mono: MonoMicros(5_000_000 + micros(self.elapsed.saturating_sub(self.booted))),
        }
    }

    pub(crate) fn input(&mut self, input: Input<'_>) {
        self.durable = self.entries.len();
        self.core.handle(self.now(), input);
        self.drain();
    }

    pub(crate) fn command(&mut self, command: Command) -> Result<(), Refusal> {
        self.input(Input::Woken);
        self.durable = self.entries.len();
        let before = self.core.state().clone();
        let kind = answering_kind(&command);
        let answer = self.core.command(self.now(), command);
        if answer.is_err() {
            assert_eq!(*self.core.state(), before, "a refusal changes nothing");
        }
        self.drain();
        let made = &self.entries[self.durable..];
        answer.map(|answer| assert_answered(answer, kind, made))
    }

    fn drain(&mut self) {
        while let Output::Append(stamped) = self.polled() {
            self.append(&stamped);
        }
        assert_eq!(
            self.replayed,
            *self.core.state(),
            "the journal amounts to the live state"
        );
    }

    /// The next output that is no request to an instrument.
    fn polled(&mut self) -> Output {
        loop {
            match self.core.poll() {
                Output::Send { .. } => {}
                output @ (Output::Append(_) | Output::WaitUntil(_)) => return output,
            }
        }
    }

    /// Writes the line of an entry, and goes on with what is read back from it.
    fn append(&mut self, stamped: &Stamped) {
        let line = encode(stamped, self.digest);
        let (read, prev) = decode(&line).unwrap();
        assert_eq!((&read, prev), (stamped, self.digest));
        let found = audit(&self.replayed, &read);
        assert_eq!(found, [], "`verify` would complain of {read:?}");
        if let Some(last) = self.entries.last() {
            assert_eq!(read.seq, last.seq.following(), "seq has no gaps");
        }
        self.digest = Digest::of(&line);
        self.replayed.apply(&read);
        self.entries.push(read);
        self.times.push(self.elapsed);
    }

    pub(crate) fn wait(&mut self, duration: Duration) {
        self.elapsed += duration;
        self.input(Input::Woken);
        let catalog = Arc::clone(&self.catalog);
        let names = catalog.instruments.iter().map(|known| &known.name);
        for instrument in names.chain(catalog.signals.iter().map(|known| &known.name)) {
            self.input(Input::Quiet {
                instrument,
                lasted: duration,
            });
        }
    }

    /// Somebody sets the computer's clock.
    pub(crate) fn step_clock(&mut self, micros: i64) {
        self.clock_off_micros += micros;
        self.input(Input::Woken);
        // If a step of the clock is not on the disk when the power goes, nobody can know of it.
        self.durable = self.entries.len();
    }

    pub(crate) fn send(&mut self, name: &str, text: &str) {
        let bytes = format!("{text}\r");
        self.input(Input::Bytes {
            instrument: name,
            bytes: bytes.as_bytes(),
        });
    }

    pub(crate) fn reload(&mut self, catalog: &Arc<Catalog>) {
        self.catalog = Arc::clone(catalog);
        self.input(Input::Reloaded(Arc::clone(catalog)));
        self.start();
    }

    pub(crate) fn stop_and_start(&mut self, off: Duration) {
        self.input(Input::Stopping { reason: "SIGTERM" });
        self.kill_and_start(0, off);
    }

    /// The process is killed. Of what its last input gave, the last `lost` entries are not on the
    /// disk; nobody was told of them.
    pub(crate) fn kill_and_start(&mut self, lost: usize, off: Duration) {
        let kept = self.entries.len().saturating_sub(lost).max(self.durable);
        self.entries.truncate(kept);
        self.times.truncate(kept);
        let state = self.replay();
        let chained = |prev, stamped: &Stamped| Digest::of(&encode(stamped, prev));
        self.digest = self.entries.iter().fold(Digest::NONE, chained);
        self.replayed = state.clone();
        self.core = Core::new(Arc::clone(&self.catalog), state);
        self.elapsed += off;
        self.booted = self.elapsed;
        self.start();
    }

    /// All entries, and the last segment alone, amount to the same.
    fn replay(&self) -> State {
        let mut whole = State::default();
        let mut segment = State::default();
        for stamped in &self.entries {
            whole.apply(stamped);
            if matches!(stamped.entry, Entry::Journal(JournalEntry::Segment(_))) {
                segment = State::default();
            }
            segment.apply(stamped);
        }
        assert_eq!(segment, whole, "a segment begins with all that was before");
        whole
    }
}
