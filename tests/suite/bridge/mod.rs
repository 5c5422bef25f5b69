//! The bridge of `hardware-notes/bridge`: levels of a gauge port as time goes by, its lines, and what tallyjaw makes of
//! them.
//!
//! The frames are those of the virtual caliper, which is written independently of the bridge; their timing is that of
//! `hardware-notes/gauge-port.md`: common practice, from memory.

mod faults;
mod frames;
mod host;

use gauge_port::{Gauge, Kind, Levels, Line};
use tallyjaw::decode::format::Ticks;
use tallyjaw::decode::{Decoded, Decoder, FrameFormat};
use tallyjaw::quantity::{Decimal, MonoMicros, Unit};
use tallyjaw::virtual_caliper::{Form, Sends};

/// Each kind of gauge: the name of its format, and how the virtual caliper sends it.
const KINDS: [(Kind, &str, Sends); 3] = [
    (Kind::Bcd13, "bcd13-hex", Sends::Bcd13(Form::Hex)),
    (Kind::Word24, "word24-hex", Sends::Word24(Form::Hex)),
    (
        Kind::Word48,
        "word48-hex",
        Sends::Word48 {
            form: Form::Hex,
            origin: Ticks(-2741),
        },
    ),
];

/// The two lines of a gauge port over time.
#[derive(Debug, Clone)]
struct Signal {
    /// Each change: its time, and the levels from then on.
    changes: Vec<(u64, Levels)>,
    now: u64,
    /// How long clock is low, and then high, for each bit.
    low: u64,
    high: u64,
}

const REST: Levels = Levels {
    clock: true,
    data: true,
};

impl Signal {
    fn new() -> Self {
        Self {
            changes: vec![(0, REST)],
            now: 50_000,
            low: 120,
            high: 380,
        }
    }

    fn level(&mut self, clock: bool, data: bool) {
        self.changes.push((self.now, Levels { clock, data }));
    }

    /// Data changes while clock is high, and clock falls in the middle of it.
    fn bit(&mut self, data: bool) {
        self.level(true, data);
        self.now += self.high / 2;
        self.level(false, data);
        self.now += self.low;
        self.level(true, data);
        self.now += self.high - self.high / 2;
    }

    fn bits(&mut self, bits: impl IntoIterator<Item = bool>) {
        for bit in bits {
            self.bit(bit);
        }
    }

    /// Bits in the order sent, then silence.
    fn frame(&mut self, bits: impl IntoIterator<Item = bool>) {
        self.bits(bits);
        self.now += 100_000;
    }

    /// Levels that stand from `at` for `length`; before and after them the signal is what it was.
    fn pulse(&mut self, at: u64, length: u64, change: impl Fn(Levels) -> Levels) {
        let before = self.levels_at(at);
        let after = self.levels_at(at + length);
        for (time, levels) in &mut self.changes {
            if (at..at + length).contains(time) {
                *levels = change(*levels);
            }
        }
        self.changes.push((at, change(before)));
        self.changes.push((at + length, after));
        self.changes.sort_by_key(|(time, _)| *time);
    }

    fn levels_at(&self, at: u64) -> Levels {
        let past = self.changes.iter().take_while(|(time, _)| *time <= at);
        past.last().map_or(REST, |(_, levels)| *levels)
    }

    /// What a bridge sends that looks at each change, and each millisecond; its time begins at `start`.
    fn heard_from(&self, kind: Kind, start: u32) -> String {
        let mut gauge = Gauge::new(kind);
        let mut sent = Vec::new();
        let mut tick = 0;
        let time = |micros: u64| start.wrapping_add(u32::try_from(micros).unwrap());
        let end = self.changes.last().unwrap().0 + 20_000;
        for (at, levels) in self
            .changes
            .iter()
            .map(|(at, levels)| (*at, Some(*levels)))
            .chain([(end, None)])
        {
            while tick < at {
                sent.extend(gauge.idle(time(tick)));
                tick += 1_000;
            }
            sent.extend(levels.and_then(|levels| gauge.sample(time(at), levels)));
        }
        text_of(&sent)
    }

    fn heard(&self, kind: Kind) -> String {
        self.heard_from(kind, 0)
    }
}

fn text_of(lines: &[Line]) -> String {
    let texts = lines
        .iter()
        .map(|line| std::str::from_utf8(line.bytes()).unwrap());
    texts.collect()
}

/// The bits of a number, the lowest first.
fn low_first(number: u32, count: u32) -> impl Iterator<Item = bool> {
    (0..count).map(move |bit| number >> bit & 1 == 1)
}

/// The order in which a gauge port sends the digits of the line.
fn bits_of(kind: Kind, line: &str) -> Vec<bool> {
    let text = line.trim_end();
    let number = |hex: &str| u32::from_str_radix(hex, 16).unwrap();
    let (digits, bits) = if kind == Kind::Bcd13 { (1, 4) } else { (6, 24) };
    (0..text.len())
        .step_by(digits)
        .flat_map(|at| low_first(number(&text[at..at + digits]), bits))
        .collect()
}

/// The line of a value.
fn line_of(sends: Sends, digits: Decimal, unit: Unit) -> String {
    String::from_utf8(sends.frame(digits, unit).unwrap()).unwrap()
}

/// What tallyjaw reads, each as text: a value, or why there is none.
fn read(format: &str, unit: Unit, bytes: &str) -> Vec<String> {
    let mut decoder = Decoder::new(FrameFormat::from_name(format).unwrap(), unit);
    decoder.push(MonoMicros(0), bytes.as_bytes());
    decoder.end();
    std::iter::from_fn(|| decoder.poll())
        .map(|decoded| match decoded {
            Decoded::Value { value, .. } => value.to_string(),
            Decoded::Blank { .. } => "blank".to_owned(),
            Decoded::Undecoded { reason, .. } => reason.to_string(),
        })
        .collect()
}

/// What tallyjaw says of a line that begins with `?`.
const NO_FRAME: &str = "unexpected byte 0x3f at 0, want a hexadecimal digit";
