//! Watches an instrument's unread bytes and advises other settings for them.
//!
//! In: every byte of an instrument, and a call for each value that is understood. Out: advice, once there are enough
//! unread bytes.
//!
//! - At most [`KEPT`] bytes are kept. While they fit no settings, they are analysed less and less often, so a flood of
//!   noise costs little.

use super::{Candidate, Chunk, Heard, Surety, opinion, reads_the_same};
use crate::decode::format::FrameFormat;
use crate::decode::line_settings::LineSettings;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;
use std::time::Duration;

/// Number of unread bytes that are kept, the newest.
const KEPT: usize = 512;
/// Unread bytes are kept in at most this many chunks.
const MOST_CHUNKS: usize = 128;
/// A silence this long separates two presses.
const BETWEEN_PRESSES: Duration = Duration::from_millis(200);
/// New bytes before each of the first analyses; later the number doubles each time.
const FEW: usize = 6;
const MANY: usize = 64 * 1024;
const FIRST_THOUGHTS: usize = 8;

/// Watches the bytes of one instrument.
#[derive(Debug, Default)]
pub struct Watcher {
    line: Option<LineSettings>,
    unread: VecDeque<Chunk>,
    /// Bytes since the last analysis.
    fresh: usize,
    wait_for: usize,
    thoughts: usize,
    advice: Option<String>,
}

impl Watcher {
    /// The port was opened with these settings; `None` turns advice off.
    pub fn opened(&mut self, line: Option<LineSettings>) {
        *self = Self {
            line,
            ..Self::default()
        };
    }

    /// Takes bytes as they arrived; `spoiled` if they have parity or framing errors.
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

    /// A value was understood: the settings are right, and the bytes so far are dropped.
    pub fn understood(&mut self) {
        self.unread.clear();
        self.fresh = 0;
        self.wait_for = 0;
        self.thoughts = 0;
        self.advice = None;
    }

    /// Advice on the unread bytes of an instrument with this `format`; `None` if there is none.
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

/// The configuration keys whose values differ.
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
