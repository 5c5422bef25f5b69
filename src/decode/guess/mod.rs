//! Finds the line settings and the frame format under which received bytes are valid.
//!
//! In: presses, each read with one setting of the port. Out: an [`Opinion`]: all settings and formats that fit every
//! press, with the evidence for each.
//!
//! - Data bits and parity follow from the bits received. A port at `8N1` shows the parity bit of `7E2` as bit 8; it
//!   marks those characters of `8E1` whose parity bit is not a valid stop bit. The number of stop bits does not matter
//!   to a receiver: `7E2` stands for `7E1` too.
//! - Text sent more slowly than the port reads is reconstructed bit by bit, if the port's speed is a multiple of the
//!   sender's. Text sent faster is lost, and the opinion says so.
//! - The user's own `pattern` is never guessed.
//! - No clock, no port, no float in here.

mod evidence;
mod interview;
mod reckon;
mod shown;
mod trial;
mod watcher;

pub use interview::{Interview, Step};
pub use shown::Shown;
pub use watcher::Watcher;

use super::DecodeError;
use super::format::FrameFormat;
use super::line_settings::{LineSettings, Parity};
use crate::quantity::{Length, Measured, MonoMicros, Quantity};
use trial::{Trial, Verdict};

/// The speeds that are tried, in baud, the most common first.
pub const SPEEDS: [u32; 8] = [9600, 4800, 2400, 19_200, 38_400, 57_600, 115_200, 1200];

/// Data bits, parity and stop bits that are tried, the most common first.
const FRAMES: [(u8, Parity, u8); 6] = [
    (8, Parity::None, 1),
    (7, Parity::Even, 2),
    (7, Parity::Odd, 1),
    (7, Parity::None, 2),
    (8, Parity::Even, 1),
    (8, Parity::Odd, 1),
];

/// A candidate whose evidence is this many bits weaker than that of the best is left out.
const FAR_BEHIND: u32 = 20;

/// Longer than any caliper (2 m).
const LONGEST: Length = Length::from_nanometres(2_000_000_000);
/// More than any force gauge at a bench measures (100 kN), in millinewtons.
const STRONGEST: i64 = 100_000_000;

/// Bytes as they came, and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chunk {
    /// When the last byte of it was read.
    pub at: MonoMicros,
    /// The bytes that one `read` returned.
    pub bytes: Vec<u8>,
    /// Whether each of them came without a stop bit or with wrong parity.
    pub spoiled: bool,
}

/// The bytes of one press, or of one run, read with one setting of the port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// The port's setting.
    pub line: LineSettings,
    /// The bytes, in order.
    pub chunks: Vec<Chunk>,
}

/// A setting and a format that fit every frame.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Rate, data bits, parity and stop bits under which the bytes were read.
    pub line: LineSettings,
    /// The built-in format that fits.
    pub format: &'static FrameFormat,
    /// Number of frames that fit.
    pub frames: usize,
    /// Number of different frames among them: a repeated frame adds no evidence.
    pub different: usize,
    /// Presses that were read at this speed.
    pub read: usize,
    /// Presses that were read at another speed and reconstructed.
    pub reckoned: usize,
    /// Presses without evidence: read at another speed, at which the bits are lost.
    pub silent: usize,
    /// The evidence: random bytes would fit once in `2^bits` cases.
    pub bits: u32,
    /// What the frames show of the instrument.
    pub shown: Shown,
    /// The values, in the order of the presses.
    pub values: Vec<Measured>,
}

/// How sure a candidate is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Surety {
    /// The fit may be chance.
    Guess,
    /// A fit by chance is rarer than once in a thousand.
    Likely,
    /// A fit by chance is rarer than once in a million.
    Sure,
}

impl Surety {
    /// The word in the output of `listen`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Guess => "a guess",
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }
}

impl Candidate {
    /// How sure it is.
    pub fn surety(&self) -> Surety {
        match self.bits {
            0..10 => Surety::Guess,
            10..20 => Surety::Likely,
            _ => Surety::Sure,
        }
    }

    /// `decimal-line at 4800 7E2`.
    pub fn name(&self) -> String {
        format!("{} at {}", self.format.name, self.line)
    }
}

/// The result for all presses so far.
#[derive(Debug, Clone, Default)]
pub struct Opinion {
    /// The candidates that fit every frame and are not far weaker than the best, the best first.
    pub fits: Vec<Candidate>,
    /// Why each other format does not fit, at the settings of the best: its first error.
    pub refused: Vec<(&'static str, DecodeError)>,
    /// How many settings and formats were tried.
    pub tried: usize,
    /// Where nothing fits: settings with which the bytes may have been sent, although their text could not be
    /// determined.
    pub leads: Vec<LineSettings>,
}

impl Opinion {
    /// The candidate, if exactly one fits.
    pub fn only(&self) -> Option<&Candidate> {
        match self.fits.as_slice() {
            [only] => Some(only),
            [] | [_, _, ..] => None,
        }
    }
}

/// The opinion on these presses.
pub fn opinion(heard: &[Heard]) -> Opinion {
    let lines = lines(heard);
    let mut opinion = Opinion::default();
    let mut judged: Vec<(Candidate, usize)> = Vec::new();
    for (place, line) in lines.iter().enumerate() {
        let mut trial = Trial::new(heard, *line);
        for format in formats(*line) {
            opinion.tried = opinion.tried.saturating_add(1);
            if let Verdict::Fits(candidate) = trial.judge(format) {
                judged.push((*candidate, place));
            }
        }
    }
    // Many trials make a fit by chance more probable, so their number reduces the evidence.
    let tried = opinion.tried.checked_ilog2().unwrap_or(0) + 1;
    for (candidate, _) in &mut judged {
        candidate.bits = candidate.bits.saturating_sub(tried);
    }
    judged.sort_by_key(|(candidate, place)| {
        let reckoned_only = candidate.read == 0;
        (std::cmp::Reverse(candidate.bits), reckoned_only, *place)
    });
    let best = judged.first().map_or(0, |(best, _)| best.bits);
    judged.retain(|(candidate, _)| candidate.bits.saturating_add(FAR_BEHIND) > best);
    opinion.fits = judged.into_iter().map(|(candidate, _)| candidate).collect();
    let line = opinion.fits.first().map(|best| best.line);
    opinion.refused = refusals(heard, line, &opinion.fits);
    if opinion.fits.is_empty() {
        opinion.leads = leads(heard, &lines);
    }
    opinion
}

/// Slower settings that some press supports and no press excludes.
fn leads(heard: &[Heard], lines: &[LineSettings]) -> Vec<LineSettings> {
    let may_be = |line: &&LineSettings| {
        let mut trial = Trial::new(heard, **line);
        let mut reckoned = heard.iter().enumerate().filter(|(_, heard)| {
            heard.line.baud > line.baud && reckon::times(heard.line, **line).is_some()
        });
        let mut any = false;
        let all = reckoned.all(|(at, heard)| {
            any = true;
            trial.may_be(at, heard)
        });
        any && all
    };
    lines.iter().filter(may_be).copied().collect()
}

/// The settings to try: those of the port, then the most common; settings that read bytes the same way stand once.
fn lines(heard: &[Heard]) -> Vec<LineSettings> {
    let mut lines: Vec<LineSettings> = Vec::new();
    let mut speeds: Vec<u32> = heard.iter().map(|heard| heard.line.baud).collect();
    speeds.extend(SPEEDS);
    let had = heard.iter().map(|heard| heard.line);
    let tried = speeds.into_iter().flat_map(|baud| {
        FRAMES.map(|(data_bits, parity, stop_bits)| LineSettings {
            baud,
            data_bits,
            parity,
            stop_bits,
        })
    });
    for line in had.chain(tried) {
        if !lines.iter().any(|known| reads_the_same(*known, line)) {
            lines.push(line);
        }
    }
    lines
}

/// Whether a receiver set to one reads text sent with the other: all but the stop bits are equal.
pub(super) fn reads_the_same(a: LineSettings, b: LineSettings) -> bool {
    (a.baud, a.data_bits, a.parity) == (b.baud, b.data_bits, b.parity)
}

/// The formats that these settings can carry: a packed frame needs eight data bits.
fn formats(line: LineSettings) -> impl Iterator<Item = &'static FrameFormat> {
    let formats = super::FORMATS.iter().copied();
    formats
        .filter(move |format| !format.needs_pattern() && (format.is_text() || line.data_bits == 8))
}

/// The first error of each format that does not fit at `line`.
fn refusals(
    heard: &[Heard],
    line: Option<LineSettings>,
    fits: &[Candidate],
) -> Vec<(&'static str, DecodeError)> {
    let Some(line) = line.or_else(|| heard.last().map(|heard| heard.line)) else {
        return Vec::new();
    };
    let mut trial = Trial::new(heard, line);
    let others = formats(line).filter(|format| {
        let is_it = |fit: &Candidate| fit.line == line && fit.format.name == format.name;
        !fits.iter().any(is_it)
    });
    others
        .filter_map(|format| match trial.judge(format) {
            Verdict::Refused(Some(reason)) => Some((format.name, reason)),
            Verdict::Refused(None) | Verdict::Fits(_) => None,
        })
        .collect()
}

/// Whether an instrument at a bench can show this value.
fn plausible(value: Measured, origin: Option<Length>) -> bool {
    let within =
        |length: Length| length.nanometres().unsigned_abs() <= LONGEST.nanometres().unsigned_abs();
    let value_can_be = match value.quantity() {
        Quantity::Length(length) => within(length),
        Quantity::Force(force) => force.millinewtons().unsigned_abs() <= STRONGEST.unsigned_abs(),
    };
    value_can_be && origin.is_none_or(within)
}
