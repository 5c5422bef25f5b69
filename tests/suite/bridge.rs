//! The bridge of `hardware-notes/bridge`: it is compiled and fed with the edges of a gauge port, and its output is
//! decoded.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use tallyjaw::decode::format::Ticks;
use tallyjaw::decode::{Decoded, Decoder, FrameFormat};
use tallyjaw::quantity::{Decimal, MonoMicros, Unit};
use tallyjaw::virtual_caliper::{Form, Sends};
use tempfile::TempDir;

/// The compiled bridge.
struct Bridge {
    folder: TempDir,
}

impl Bridge {
    fn compile() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("hardware-notes/bridge/bridge.c");
        let made = Command::new("cc")
            .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"])
            .args(["-DBRIDGE_ON_A_COMPUTER", "-o"])
            .arg(folder.path().join("bridge"))
            .arg(source)
            .output()
            .expect("no C compiler");
        assert!(
            made.status.success(),
            "{}",
            String::from_utf8_lossy(&made.stderr)
        );
        Self { folder }
    }

    /// The bytes that it sends for these edges.
    fn sends(&self, kind: &str, edges: &Edges) -> Vec<u8> {
        let mut bridge = Command::new(self.folder.path().join("bridge"))
            .arg(kind)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        bridge
            .stdin
            .take()
            .unwrap()
            .write_all(edges.lines.as_bytes())
            .unwrap();
        bridge.wait_with_output().unwrap().stdout
    }
}

/// The levels of a gauge port over time, as in the notes.
struct Edges {
    lines: String,
    /// Just before the clock wraps around.
    now: u32,
}

impl Edges {
    fn new() -> Self {
        Self {
            lines: String::new(),
            now: u32::MAX - 30_000,
        }
    }

    fn level(&mut self, clock: u8, data: u8) {
        let _ = writeln!(self.lines, "{} {clock} {data}", self.now);
    }

    fn wait(&mut self, micros: u32) {
        self.now = self.now.wrapping_add(micros);
    }

    fn bit(&mut self, data: u8) {
        self.level(1, data);
        self.wait(120);
        self.level(0, data);
        self.wait(120);
        self.level(1, data);
        self.wait(260);
    }

    /// Bits in the order sent, then silence.
    fn frame(&mut self, bits: impl IntoIterator<Item = u8>) {
        for bit in bits {
            self.bit(bit);
        }
        self.wait(100_000);
    }
}

/// The bits of a number, the lowest first.
fn low_first(number: u32, count: u32) -> impl Iterator<Item = u8> {
    (0..count).map(move |bit| u8::from(number >> bit & 1 == 1))
}

/// The order in which a gauge port sends the digits of the line.
fn bits_of(format: &str, line: &[u8]) -> Vec<u8> {
    let text = std::str::from_utf8(line).unwrap().trim_end();
    let number = |hex: &str| u32::from_str_radix(hex, 16).unwrap();
    if format == "bcd13-hex" {
        let nibbles = text
            .char_indices()
            .map(|(at, c)| number(&text[at..at + c.len_utf8()]));
        nibbles.flat_map(|nibble| low_first(nibble, 4)).collect()
    } else {
        let words = (0..text.len())
            .step_by(6)
            .map(|at| number(&text[at..at + 6]));
        words.flat_map(|word| low_first(word, 24)).collect()
    }
}

fn decode(format: &str, bytes: &[u8]) -> Vec<String> {
    let mut decoder = Decoder::new(FrameFormat::from_name(format).unwrap(), Unit::Newton);
    decoder.push(MonoMicros(0), bytes);
    decoder.end();
    std::iter::from_fn(|| decoder.poll())
        .map(|decoded| match decoded {
            Decoded::Value { value, .. } => value.to_string(),
            Decoded::Blank { .. } => "blank".to_owned(),
            Decoded::Undecoded { reason, .. } => reason.to_string(),
        })
        .collect()
}

const KINDS: [(&str, &str, Sends); 3] = [
    ("bcd13", "bcd13-hex", Sends::Bcd13(Form::Hex)),
    ("word24", "word24-hex", Sends::Word24(Form::Hex)),
    (
        "word48",
        "word48-hex",
        Sends::Word48 {
            form: Form::Hex,
            origin: Ticks(-2741),
        },
    ),
];

#[test]
fn what_a_gauge_port_says_comes_through_the_bridge_as_a_value() {
    let bridge = Bridge::compile();
    for (kind, format, sends) in KINDS {
        let mut edges = Edges::new();
        let mut said = Vec::new();
        for steps in [163, -163, 0, 1, -1, 99_999] {
            let digits = Decimal::new(steps, 2);
            let line = sends.frame(digits, Unit::Millimetre).unwrap();
            edges.frame(bits_of(format, &line));
            said.push((line, format!("{digits} mm")));
        }
        let lines: Vec<u8> = said.iter().flat_map(|(line, _)| line.clone()).collect();
        let values: Vec<_> = said.into_iter().map(|(_, value)| value).collect();
        let sent = bridge.sends(kind, &edges);
        assert_eq!(
            String::from_utf8_lossy(&sent),
            String::from_utf8_lossy(&lines),
            "{kind}"
        );
        assert_eq!(decode(format, &sent), values, "{kind}");
    }
}

#[test]
fn bits_that_are_no_whole_frame_are_told_and_give_no_value() {
    let bridge = Bridge::compile();
    for (kind, format, sends) in KINDS {
        let line = sends.frame(Decimal::new(163, 2), Unit::Millimetre).unwrap();
        let bits = bits_of(format, &line);
        for count in [1, bits.len() - 1, bits.len() + 1, 3 * bits.len()] {
            let mut edges = Edges::new();
            edges.frame(bits.iter().copied().cycle().take(count));
            edges.frame(bits.iter().copied());
            let sent = bridge.sends(kind, &edges);
            let told = format!("?{count:03}\r{}", String::from_utf8_lossy(&line));
            assert_eq!(String::from_utf8_lossy(&sent), told, "{kind}");
            let found = decode(format, &sent);
            assert_eq!(
                found,
                [
                    "unexpected byte 0x3f at 0, want a hexadecimal digit",
                    "1.63 mm"
                ]
            );
        }
    }
}

#[test]
fn a_glitch_on_the_clock_is_no_bit() {
    let bridge = Bridge::compile();
    let line = Sends::Bcd13(Form::Hex)
        .frame(Decimal::new(-163, 2), Unit::Millimetre)
        .unwrap();
    let mut edges = Edges::new();
    for bit in bits_of("bcd13-hex", &line) {
        edges.level(1, bit);
        edges.wait(120);
        edges.level(0, bit);
        edges.wait(5);
        edges.level(1, bit);
        edges.wait(5);
        edges.level(0, bit);
        edges.wait(110);
        edges.level(1, bit);
        edges.wait(260);
    }
    assert_eq!(bridge.sends("bcd13", &edges), line);
}
