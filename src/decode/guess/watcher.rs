//! Bytes that an instrument's settings make no sense of, and which settings would.
//!
//! In: every byte of an instrument as it comes, and word of each value that is understood. Out: an
//! advice, once the bytes that stand unread are enough for one.
//!
//! - Keeps at most [`KEPT`] bytes, and thinks about them less and less often while they make no
//!   sense at any settings: a flood of noise costs nothing to speak of.

use super::{Candidate, Chunk, Heard, Surety, opinion, reads_the_same};
use crate::decode::format::FrameFormat;
use crate::decode::line_settings::LineSettings;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;
use std::time::Duration;

/// Unread bytes that are kept: the last.
const KEPT: usize = 512;
/// Unread bytes are kept in at most this many chunks.
const MOST_CHUNKS: usize = 128;
/// Silence this long parts two presses.
const BETWEEN_PRESSES: Duration = Duration::from_millis(200);
/// New bytes before each of the first thoughts; after those, twice as many before each.
const FEW: usize = 6;
const MANY: usize = 64 * 1024;
const FIRST_THOUGHTS: usize = 8;

/// Watches the bytes of one instrument.
#[derive(Debug, Default)]
pub struct Watcher {
    line: Option<LineSettings>,
    unread: VecDeque<Chunk>,
    /// Bytes since it was last thought about.
    fresh: usize,
    wait_for: usize,
    thoughts: usize,
    advice: Option<String>,
}

impl Watcher {
    /// The port is open with these settings; without them there is no advice.
    pub fn opened(&mut self, line: Option<LineSettings>) {
        *self = Self {
            line,
            ..Self::default()
        };
    }

    /// Bytes as they came; whether the line spoiled them.
    pub fn push(&mut self, at: MonoMicros, bytes: &[u8], spoiled: bool) {
        let last = bytes
            .get(bytes.len().saturating_sub(KEPT)..)
            .unwrap_or_default();
        let bytes_new = last.len();
        if bytes_new == 0 || self.line.is_none() {
            return;
        }
        self.fresh = self.fresh.saturating_add(bytes_new);
        let mut kept: usize = self.unread.iter().map(|chunk| chunk.bytes.len()).sum();
        while kept.saturating_add(bytes_new) > KEPT || self.unread.len() >= MOST_CHUNKS {
            let Some(oldest) = self.unread.pop_front() else {
                break;
            };
            kept = kept.saturating_sub(oldest.bytes.len());
        }
        let bytes = last.to_vec();
        self.unread.push_back(Chunk { at, bytes, spoiled });
    }

    /// A value was understood: the settings are right, and what came so far is done with.
    pub fn understood(&mut self) {
        self.unread.clear();
        self.fresh = 0;
        self.wait_for = 0;
        self.thoughts = 0;
        self.advice = None;
    }

    /// What to do about the unread bytes of an instrument of this `format`, if that is known.
    pub fn advice(&mut self, format: &FrameFormat) -> Option<String> {
        let line = self.line?;
        if self.fresh >= self.wait_for.max(FEW) {
            self.fresh = 0;
            self.thoughts = self.thoughts.saturating_add(1);
            if self.thoughts >= FIRST_THOUGHTS {
                self.wait_for = self.wait_for.max(FEW).saturating_mul(2).min(MANY);
            }
            self.advice = self.think(line, format);
        }
        self.advice.clone()
    }

    fn think(&self, line: LineSettings, format: &FrameFormat) -> Option<String> {
        let mut fits = opinion(&self.presses(line)).fits;
        fits.retain(|fit| {
            let as_now = fit.format.name == format.name && reads_the_same(fit.line, line);
            fit.surety() == Surety::Sure && !as_now
        });
        let best = fits.first()?;
        let mut text = format!("these bytes are {}", best.name());
        if let Some(other) = fits.get(1) {
            text.push_str(" or ");
            text.push_str(&other.name());
        }
        text.push_str(&keys(best, line, format));
        Some(text)
    }

    fn presses(&self, line: LineSettings) -> Vec<Heard> {
        let mut presses: Vec<Heard> = Vec::new();
        let mut last: Option<MonoMicros> = None;
        for chunk in &self.unread {
            let goes_on = last.is_some_and(|last| chunk.at.since(last) < BETWEEN_PRESSES);
            match presses.last_mut().filter(|_| goes_on) {
                Some(press) => press.chunks.push(chunk.clone()),
                None => presses.push(Heard {
                    line,
                    chunks: vec![chunk.clone()],
                }),
            }
            last = Some(chunk.at);
        }
        presses
    }
}

/// The keys to set: those that differ.
fn keys(best: &Candidate, line: LineSettings, format: &FrameFormat) -> String {
    let mut keys = Vec::new();
    if !reads_the_same(best.line, line) {
        keys.push(format!("line = \"{}\"", best.line));
    }
    if best.format.name != format.name {
        keys.push(format!("format = \"{}\"", best.format.name));
    }
    format!(": set {}", keys.join(" and "))
}
