//! Tries one setting of the line on all presses.
//!
//! In: presses. Out: for each format, whether every frame fits, and the evidence in bits.

use super::reckon::{self, Alphabet, Texts};
use super::shown::Shown;
use super::{Candidate, Chunk, Heard, evidence, plausible, reads_the_same};
use crate::decode::format::FrameFormat;
use crate::decode::framing::GAP;
use crate::decode::line_settings::LineSettings;
use crate::decode::{DecodeError, Decoded, Decoder};
use crate::quantity::{Length, Measured, MonoMicros, Unit};
use std::collections::BTreeMap;

/// Evidence in bits of an origin that is equal in successive frames: the logarithm of the number of positions on the
/// longest scale.
const SAME_ORIGIN: u32 = 20;

/// Evidence in bits of a run of bytes that is as long as a frame (own estimate, no source).
const SAME_LENGTH: u32 = 2;

/// Maximum number of different frames whose evidence is summed; more would not change the result.
const MOST_COUNTED: usize = 24;

/// Whether a format fits.
pub(super) enum Verdict {
    /// There is at least one frame, and all fit.
    Fits(Box<Candidate>),
    /// Some frame does not fit; the error, if a frame was received that could be read.
    Refused(Option<DecodeError>),
}

/// A setting of the line, tried.
pub(super) struct Trial<'a> {
    heard: &'a [Heard],
    line: LineSettings,
    reckoned: BTreeMap<(usize, Alphabet), Vec<Texts>>,
}

/// A frame that fits.
struct Frame {
    value: Measured,
    origin: Option<Length>,
    raw: Vec<u8>,
}

/// What a decoder made of bytes.
#[derive(Default)]
struct DecodeTally {
    frames: Vec<Frame>,
    refused: Option<DecodeError>,
    /// Whether the first item was refused: it may be the end of an earlier frame.
    first_refused: bool,
    refusals: usize,
}

/// What is known of a candidate so far.
#[derive(Default)]
struct Tally {
    frames: Vec<Frame>,
    read: usize,
    reckoned: usize,
    silent: usize,
    /// Bits of evidence lost by choosing one text of several.
    choice: u32,
}

impl<'a> Trial<'a> {
    pub(super) fn new(heard: &'a [Heard], line: LineSettings) -> Self {
        let reckoned = BTreeMap::new();
        Self {
            heard,
            line,
            reckoned,
        }
    }

    pub(super) fn judge(&mut self, format: &'static FrameFormat) -> Verdict {
        let mut tally = Tally::default();
        if let Err(reason) = self.read(format, &mut tally) {
            return Verdict::Refused(Some(reason));
        }
        for (at, heard) in self.heard.iter().enumerate() {
            if reads_the_same(heard.line, self.line) {
                continue;
            }
            match self.reckon(at, heard, format, &mut tally) {
                Reckoned::Fits if heard.line.baud == self.line.baud => tally.read += 1,
                Reckoned::Fits => tally.reckoned += 1,
                Reckoned::Silent => tally.silent += 1,
                Reckoned::No => return Verdict::Refused(None),
            }
        }
        match tally.into_candidate(self.line, format) {
            Some(candidate) => Verdict::Fits(Box::new(candidate)),
            None => Verdict::Refused(None),
        }
    }

    /// Decodes the presses that were read with exactly these settings, as one stream.
    fn read(&self, format: &'static FrameFormat, tally: &mut Tally) -> Result<(), DecodeError> {
        let heard = self.heard.iter();
        let direct: Vec<&Heard> = heard
            .filter(|heard| reads_the_same(heard.line, self.line))
            .collect();
        let chunks = direct.iter().flat_map(|heard| heard.chunks.iter());
        let mut found = decode(format, chunks);
        // Reading may have begun in the middle of a frame, so the first item may be its end.
        let joined_late = found.first_refused && found.refusals == 1 && found.frames.len() > 1;
        if let Some(reason) = found.refused.take()
            && !joined_late
        {
            return Err(reason);
        }
        tally.read = direct.len();
        tally.frames = found.frames;
        Ok(())
    }

    /// Reconstructs one press that was read with other settings.
    fn reckon(
        &mut self,
        at: usize,
        heard: &Heard,
        format: &'static FrameFormat,
        tally: &mut Tally,
    ) -> Reckoned {
        let mut reckoned = Reckoned::Fits;
        let alphabet = Alphabet::of(format);
        for run in self.runs(at, heard, alphabet) {
            let texts = match run {
                Texts::All(texts) => texts,
                Texts::TooMany => {
                    reckoned = Reckoned::Silent;
                    continue;
                }
            };
            let fitting = texts.iter().filter_map(|text| {
                let chunk = Chunk {
                    at: MonoMicros(0),
                    bytes: text.clone(),
                    spoiled: false,
                };
                let found = decode(format, std::iter::once(&chunk));
                (found.refused.is_none() && !found.frames.is_empty()).then_some(found.frames)
            });
            let mut fitting: Vec<Vec<Frame>> = fitting.collect();
            let choice = fitting.len().checked_ilog2().unwrap_or(0);
            let Some(frames) = fitting.pop() else {
                return Reckoned::No;
            };
            tally.choice = tally.choice.saturating_add(choice);
            tally.frames.extend(frames);
        }
        reckoned
    }

    /// Whether the press may have been sent with these settings, whatever its text.
    pub(super) fn may_be(&mut self, at: usize, heard: &Heard) -> bool {
        let mut runs = self.runs(at, heard, Alphabet::Lines).iter();
        runs.all(|run| *run != Texts::All(Vec::new()))
    }

    /// The runs of a press, each with its texts; empty if nothing can be reconstructed.
    fn runs(&mut self, at: usize, heard: &Heard, alphabet: Alphabet) -> &[Texts] {
        let line = self.line;
        self.reckoned
            .entry((at, alphabet))
            .or_insert_with(|| reckoned_runs(heard, line, alphabet))
    }
}

/// The result of a press that was read with other settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reckoned {
    Fits,
    Silent,
    No,
}

/// The runs of a press, each with its texts. A line may arrive in several chunks, so for line formats the whole press
/// is one run.
fn reckoned_runs(heard: &Heard, line: LineSettings, alphabet: Alphabet) -> Vec<Texts> {
    if reckon::times(heard.line, line).is_none() {
        return vec![Texts::TooMany]; // the bits are lost
    }
    let runs = match alphabet {
        Alphabet::Lines => vec![heard.chunks.iter().flat_map(reckon::characters).collect()],
        Alphabet::Any => split_at_silence(&heard.chunks),
    };
    let texts = |run: &Vec<reckon::Heard>| reckon::texts(run, heard.line, line, alphabet);
    runs.iter().map(texts).collect()
}

fn split_at_silence(chunks: &[Chunk]) -> Vec<Vec<reckon::Heard>> {
    let mut runs: Vec<Vec<reckon::Heard>> = Vec::new();
    let mut last: Option<MonoMicros> = None;
    for chunk in chunks {
        let goes_on = last.is_some_and(|last| chunk.at.since(last) < GAP);
        match runs.last_mut().filter(|_| goes_on) {
            Some(run) => run.extend(reckon::characters(chunk)),
            None => runs.push(reckon::characters(chunk).collect()),
        }
        last = Some(chunk.at);
    }
    runs
}

fn decode<'b>(
    format: &'static FrameFormat,
    chunks: impl Iterator<Item = &'b Chunk>,
) -> DecodeTally {
    let mut decoder = Decoder::new(format, Unit::Millimetre);
    let mut found = DecodeTally::default();
    for chunk in chunks {
        if chunk.spoiled {
            decoder.push_spoiled(chunk.at, &chunk.bytes);
        } else {
            decoder.push(chunk.at, &chunk.bytes);
        }
        found.take(&mut decoder);
    }
    decoder.end();
    found.take(&mut decoder);
    found
}

impl DecodeTally {
    fn take(&mut self, decoder: &mut Decoder) {
        while let Some(decoded) = decoder.poll() {
            match decoded {
                // Terminators and fault codes are evidence neither for nor against.
                Decoded::Blank { .. }
                | Decoded::Undecoded {
                    reason: DecodeError::GaugeFault { .. },
                    ..
                } => {}
                Decoded::Value { value, origin, raw } if plausible(value, origin) => {
                    self.frames.push(Frame { value, origin, raw });
                }
                Decoded::Value { value, .. } => {
                    let got = value.to_string();
                    self.refuse(DecodeError::TooLarge { got });
                }
                Decoded::Undecoded { reason, .. } => self.refuse(reason),
            }
        }
    }

    fn refuse(&mut self, reason: DecodeError) {
        self.first_refused |= self.frames.is_empty() && self.refusals == 0;
        self.refusals = self.refusals.saturating_add(1);
        self.refused.get_or_insert(reason);
    }
}

impl Tally {
    fn into_candidate(self, line: LineSettings, format: &'static FrameFormat) -> Option<Candidate> {
        if self.frames.is_empty() {
            return None;
        }
        let mut different: Vec<&Frame> = Vec::new();
        for frame in &self.frames {
            if !different.iter().any(|known| known.raw == frame.raw) {
                different.push(frame);
            }
        }
        let counted = different.iter().take(MOST_COUNTED);
        let eighths: u32 = counted
            .map(|frame| evidence::eighths(format, &frame.raw))
            .sum();
        let same_origin = different.windows(2).filter(|pair| match pair {
            [before, after] => before.origin.is_some() && before.origin == after.origin,
            _ => false,
        });
        let origins = u32::try_from(same_origin.count()).unwrap_or(u32::MAX);
        let bits = (eighths / 8)
            .saturating_add(origins.saturating_mul(SAME_ORIGIN))
            .saturating_sub(self.choice);
        // Runs of noise have any length; these all had the length of a frame.
        let lengths = if format.is_text() { 0 } else { SAME_LENGTH };
        let different = different.len();
        let lengths = lengths.saturating_mul(u32::try_from(different).unwrap_or(u32::MAX));
        let values: Vec<Measured> = self.frames.iter().map(|frame| frame.value).collect();
        let raw = self.frames.iter().map(|frame| frame.raw.as_slice());
        Some(Candidate {
            line,
            format,
            frames: self.frames.len(),
            different,
            read: self.read,
            reckoned: self.reckoned,
            silent: self.silent,
            bits: bits.saturating_add(lengths),
            shown: Shown::of(format, raw, &values),
            values,
        })
    }
}
