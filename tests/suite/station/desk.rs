//! A station with a caliper and a force gauge, driven by hand: presses, waits, commands.

use std::sync::Arc;
use std::time::Duration;
use tallyjaw::decode::FrameFormat;
use tallyjaw::entry::{
    Attached, Entry, FrameEntry, JournalId, Means, NotCounted, Reading, Seq, Stamped, Standing,
    State,
};
use tallyjaw::quantity::{Area, Dimension, MonoMicros, Now, Unit, WallMicros};
use tallyjaw::spec::{
    AlertRule, Axis, AxisName, Capture, Catalog, Decision, Instrument, InstrumentCare,
    InstrumentKind, Nest, Order, Plan, Purpose, Questions, SheetRow, Subject, Terminal, Tool,
    ToolCare, ToolClass, Verdict, WireRequest, ZeroPolicy,
};
use tallyjaw::station::{Armable, Command, Core, Input, Output, Refusal};

pub(crate) const HEIGHT: &str = "core_crimp_height";
pub(crate) const WIDTH: &str = "core_crimp_width";

/// The kind of the entry that answers a command; the core must name that entry.
pub(crate) const fn answering_kind(command: &Command) -> Option<&'static str> {
    match command {
        Command::Arm { .. } => Some("armed"),
        Command::Resume { .. } => Some("resumed"),
        Command::Disarm { .. } => Some("disarmed"),
        Command::Retract { .. } => Some("retracted"),
        Command::Restore { .. } => Some("restored"),
        Command::Operator { .. } => Some("operator_said"),
        Command::Tool { .. } => Some("tool_said"),
        Command::Job { .. } => Some("job_said"),
        Command::Lot { .. } => Some("lot_said"),
        Command::Note { .. } => Some("noted"),
        Command::Zero { .. } => Some("zero_said"),
        Command::Adapter { .. } => Some("adapter_said"),
        Command::Look { .. } => Some("looked"),
        Command::Pulled { .. } => Some("pulled"),
        Command::Crimps { .. } => Some("crimped"),
        Command::Settle { .. } => Some("settled"),
        Command::Picture(_) => Some("pictured"),
        Command::PictureRefused(_) => Some("refused"),
        Command::Ask { .. } => None,
    }
}

/// The entry that the core named is of this kind, and one of those that the command made.
pub(crate) fn assert_answered(answer: Option<Seq>, kind: Option<&str>, made: &[Stamped]) {
    let named = answer.map(|seq| made.iter().find(|stamped| stamped.seq == seq).unwrap());
    assert_eq!(named.map(|stamped| stamped.entry.kind()), kind);
}

pub(crate) struct Desk {
    pub(crate) core: Core,
    pub(crate) entries: Vec<Stamped>,
    /// What was sent to instruments.
    pub(crate) sent: Vec<(String, Vec<u8>)>,
    catalog: Arc<Catalog>,
    now: Now,
}

impl Desk {
    pub(crate) fn new() -> Self {
        Self::with(catalog())
    }

    /// The same station with other instruments.
    pub(crate) fn with(catalog: Catalog) -> Self {
        let catalog = Arc::new(catalog);
        let now = Now {
            wall: WallMicros(1_764_000_000_000_000),
            mono: MonoMicros(5_000_000),
        };
        let core = Core::new(Arc::clone(&catalog), State::default());
        let mut desk = Self {
            core,
            entries: Vec::new(),
            sent: Vec::new(),
            catalog,
            now,
        };
        desk.input(Input::Begun(JournalId("0".repeat(32))));
        desk.start();
        desk
    }

    /// Goes on with a journal that was begun elsewhere. Its earlier entries are not checked.
    pub(crate) fn going_on(state: State) -> Self {
        Self::going_on_with(catalog(), state)
    }

    /// As above, at a station with other instruments.
    pub(crate) fn going_on_with(catalog: Catalog, state: State) -> Self {
        let mut desk = Self::with(catalog);
        desk.entries.clear();
        desk.core = Core::new(Arc::clone(&desk.catalog), state);
        desk.start();
        desk
    }

    fn start(&mut self) {
        self.input(Input::Started {
            version: "test",
            config_digest: "none",
        });
        for instrument in ["caliper-1", "gauge-1"] {
            self.input(Input::PortOpened(Attached {
                instrument: instrument.to_owned(),
                station: "bench-1".to_owned(),
                port: "/dev/ttyUSB0".to_owned(),
                line: "9600 8N1".to_owned(),
                identity: None,
                socket: None,
                ambiguous: false,
                read_by: None, // the core knows how it is read
            }));
        }
    }

    /// The port of `instrument` goes and comes back as this adapter (its identity, its socket), or as one that is
    /// not on USB. An adapter without a serial number is like others of its type.
    pub(crate) fn adapter(&mut self, instrument: &str, adapter: Option<(&str, &str)>) {
        self.adapter_with(instrument, adapter, false);
    }

    /// As [`Desk::adapter`], where another adapter with the same serial number is plugged in.
    pub(crate) fn adapter_with(
        &mut self,
        instrument: &str,
        adapter: Option<(&str, &str)>,
        twin: bool,
    ) {
        self.input(Input::PortClosed {
            instrument,
            reason: "unplugged",
        });
        self.input(Input::PortOpened(Attached {
            instrument: instrument.to_owned(),
            station: "bench-1".to_owned(),
            port: "/dev/ttyUSB0".to_owned(),
            line: "9600 8N1".to_owned(),
            identity: adapter.map(|(usb, _)| usb.to_owned()),
            socket: adapter.map(|(_, socket)| socket.to_owned()),
            ambiguous: twin || adapter.is_some_and(|(usb, _)| !usb.contains("serial")),
            read_by: None,
        }));
    }

    /// The process is killed: only what is in the entries is left.
    pub(crate) fn restart(&mut self) {
        assert_eq!(
            self.amounts_to(),
            *self.core.state(),
            "the journal amounts to the live state"
        );
        self.restart_with_what_is_kept();
    }

    fn amounts_to(&self) -> State {
        let mut state = State::default();
        for stamped in &self.entries {
            state.apply(stamped);
        }
        state
    }

    /// As [`Desk::restart`], when the power went before the last entries were on the disk.
    pub(crate) fn restart_with_what_is_kept(&mut self) {
        let state = self.amounts_to();
        self.core = Core::new(Arc::clone(&self.catalog), state);
        self.start();
    }

    pub(crate) fn input(&mut self, input: Input<'_>) {
        self.core.handle(self.now, input);
        self.drain();
    }

    pub(crate) fn command(&mut self, command: Command) -> Result<(), Refusal> {
        let before = self.entries.len();
        let kind = answering_kind(&command);
        let answer = self.core.command(self.now, command);
        self.drain();
        answer.map(|answer| assert_answered(answer, kind, &self.entries[before..]))
    }

    fn drain(&mut self) {
        loop {
            match self.core.poll() {
                Output::Append(stamped) => {
                    if let Some(last) = self.entries.last() {
                        assert_eq!(stamped.seq, last.seq.following(), "seq has no gaps");
                    }
                    crate::texts::assert_spoken(&stamped.entry);
                    self.entries.push(stamped);
                }
                Output::Send { instrument, bytes } => self.sent.push((instrument, bytes)),
                Output::WaitUntil(_) => return,
            }
        }
    }

    pub(crate) fn wait(&mut self, duration: Duration) {
        let micros = u64::try_from(duration.as_micros()).unwrap();
        self.now.mono.0 += micros;
        self.now.wall.0 += i64::try_from(micros).unwrap();
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

    /// Somebody sets the computer's clock by so many seconds.
    pub(crate) fn set_clock(&mut self, seconds: i64) {
        self.set_clock_unseen(seconds);
        self.input(Input::Woken);
    }

    /// As [`Desk::set_clock`], before the daemon looks at it again.
    pub(crate) fn set_clock_unseen(&mut self, seconds: i64) {
        self.now.wall.0 += seconds * 1_000_000;
    }

    /// A press of the caliper's data key, a second after whatever was before.
    pub(crate) fn press(&mut self, value: &str) -> &Entry {
        self.press_on("caliper-1", value)
    }

    pub(crate) fn press_on(&mut self, instrument: &str, value: &str) -> &Entry {
        self.wait(Duration::from_secs(1));
        let before = self.entries.len();
        self.input(Input::Bytes {
            instrument,
            bytes: format!("{value}\r").as_bytes(),
        });
        assert!(self.entries.len() > before, "{value} left no entry");
        &self.entries[before].entry
    }

    /// The result of a press: its verdict, or why it does not count.
    pub(crate) fn reading(&mut self, value: &str) -> Result<Verdict, (NotCounted, String)> {
        match self.press(value) {
            Entry::Frame(FrameEntry::Reading(reading)) => outcome(reading),
            other => panic!("{value} became {other:?}"),
        }
    }

    pub(crate) fn arm(&mut self, plan: Plan) -> Result<(), Refusal> {
        self.command(Command::Arm {
            cut: true,
            station: None,
            what: Armable::Inline(Box::new(plan)),
            operator: None,
        })
    }

    pub(crate) fn retract(&mut self, seq: Option<Seq>) -> Result<(), Refusal> {
        self.command(Command::Retract {
            station: None,
            seq,
            reason: None,
            by: Means::Command,
        })
    }

    /// The last reading is retracted by this means, for this reason.
    pub(crate) fn retract_by(&mut self, by: Means, reason: Option<&str>) -> Result<(), Refusal> {
        self.command(Command::Retract {
            station: None,
            seq: None,
            reason: reason.map(str::to_owned),
            by,
        })
    }

    pub(crate) fn restore(&mut self) -> Result<(), Refusal> {
        self.command(Command::Restore {
            station: None,
            by: Means::Command,
        })
    }

    /// Whether some stream does not stand still.
    pub(crate) fn moves(&self) -> bool {
        !self.core.moving(self.now.mono).is_empty()
    }

    pub(crate) fn prompt(&self) -> String {
        tallyjaw::station::prompt::sentence(self.core.state(), "bench-1")
    }

    pub(crate) fn last(&self) -> &Entry {
        &self.entries.last().unwrap().entry
    }

    pub(crate) fn kinds_from(&self, from: usize) -> Vec<&'static str> {
        self.entries[from..]
            .iter()
            .map(|stamped| stamped.entry.kind())
            .collect()
    }
}

pub(crate) fn outcome(reading: &Reading) -> Result<Verdict, (NotCounted, String)> {
    match &reading.standing {
        Standing::Counted => Ok(reading.slot.as_ref().unwrap().verdict.unwrap()),
        Standing::NotCounted { reason, hint } => Err((*reason, hint.clone().unwrap_or_default())),
    }
}

pub(crate) fn crimps(terminal: &str, wire: &str) -> Subject {
    Subject::Crimps {
        terminal: terminal.to_owned(),
        wire: WireRequest {
            text: wire.to_owned(),
            sizing: None,
        },
    }
}

pub(crate) fn plan() -> Plan {
    Plan {
        budgets: Vec::new(),
        id: None,
        subject: crimps("QF-250-F", "2.0 mm²"),
        axes: vec![AxisName::new(HEIGHT), AxisName::new(WIDTH)],
        order: Order::ByAxis,
        pieces: 3,
        purpose: Purpose::FirstOff,
        tool: Some("T-07".to_owned()),
        nest: Some("2.0".to_owned()),
        decision: Decision::Simple,
        zero: ZeroPolicy::default(),
        pull_force: None,
        questions: Questions::default(),
        repeat: false,
        alerts: AlertRule::defaults(Purpose::FirstOff),
        asks: Vec::new(),
        strands: None,
    }
}

/// An axis of the shop's own: a force that leaves the piece whole.
pub(crate) const LATCH_FORCE: &str = "latch_force";

/// The catalog, with a latch force of 20 to 60 N for the first wire of the first terminal.
pub(crate) fn with_latch_force() -> Catalog {
    let mut catalog = catalog();
    catalog.axes.push(Axis {
        name: AxisName::new(LATCH_FORCE),
        dimension: Dimension::Force,
        plausible_percent: 20,
        plausible_of_lower: None,
    });
    let limits = "20..60 N".parse().unwrap();
    catalog.terminals[0].rows[0]
        .limits
        .push((AxisName::new(LATCH_FORCE), limits));
    catalog
}

pub(crate) fn catalog() -> Catalog {
    let area = |text: &str| text.parse::<Area>().unwrap();
    let row = |wire: &str, limits: &[(&str, &str)]| SheetRow {
        sizes: area(wire).into(),
        limits: limits
            .iter()
            .map(|(axis, limits)| (AxisName::new(*axis), limits.parse().unwrap()))
            .collect(),
    };
    let terminal = Terminal {
        name: None,
        id: "QF-250-F".to_owned(),
        source: Some("maker's sheet, rev C".to_owned()),
        repair_needs: Some("a pull test of 5 pieces".to_owned()),
        rows: vec![
            row(
                "2.0 mm²",
                &[
                    (HEIGHT, "1.62 ±0.05 mm"),
                    (WIDTH, "2.40 ±0.10 mm"),
                    ("bellmouth", "0.10..0.40 mm"),
                    ("pull_force", ">= 180 N"),
                    ("strip_length", "5.00 ±0.01 mm"),
                ],
            ),
            row("5.0 mm²", &[(HEIGHT, "2.30 ±0.05 mm")]),
        ],
    };
    let nest = |id: &str| Nest {
        id: id.to_owned(),
        wires: vec![area(&format!("{id} mm²"))],
    };
    let tool = |id: &str, class| Tool {
        id: id.to_owned(),
        class,
        terminals: vec!["QF-250-F".to_owned()],
        nests: vec![nest("2.0"), nest("5.0")],
        care: ToolCare::default(),
    };
    Catalog {
        budgets: Vec::new(),
        qualification: None,
        stations: vec!["bench-1".to_owned()],
        axes: Axis::built_in(),
        terminals: vec![terminal],
        plans: Vec::new(),
        tools: vec![
            tool("T-07", ToolClass::Production),
            tool("R-02", ToolClass::Repair),
        ],
        jobs: None,
        operators: Vec::new(),
        runs: Vec::new(),
        signals: Vec::new(),
        instruments: vec![
            instrument(
                "caliper-1",
                InstrumentKind::Caliper,
                Unit::Millimetre,
                "0.01 mm",
            ),
            instrument("gauge-1", InstrumentKind::Force, Unit::Newton, "1 N"),
        ],
    }
}

pub(crate) fn instrument(
    name: &str,
    kind: InstrumentKind,
    unit: Unit,
    resolution: &str,
) -> Instrument {
    let quantity = |text: &str| {
        text.parse::<tallyjaw::quantity::Measured>()
            .unwrap()
            .quantity()
    };
    let length = kind == InstrumentKind::Caliper;
    Instrument {
        name: name.to_owned(),
        station: "bench-1".to_owned(),
        kind,
        format: FrameFormat::from_name("decimal-line").unwrap(),
        pattern: None,
        unit,
        resolution: quantity(resolution),
        max_error: length.then(|| quantity("0.02 mm")),
        repeatability: None,
        range: length.then(|| (quantity("0 mm"), quantity("150 mm"))),
        capture: Capture::Press {
            bounce: Duration::from_millis(150),
        },
        care: InstrumentCare::default(),
        papers: tallyjaw::spec::Papers::default(),
    }
}
