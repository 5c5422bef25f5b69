//! Levels of clock and data with their times → a line for each frame.
//!
//! A bit is what data is when clock falls. A level of the clock counts once it has lasted for [`GLITCH`], so a shorter
//! pulse is none, in either direction. A silence of [`SILENCE`] ends a frame, whole or not, so after anything that went
//! wrong the next frame is read again.

use crate::Line;

/// Levels of the clock that last shorter than this are noise, in microseconds.
pub const GLITCH: u32 = 20;

/// What is still for this long has ended, in microseconds; bits come at most 1 ms apart.
pub const SILENCE: u32 = 5_000;

/// The largest number of bits that is counted.
const MOST: u16 = 999;

/// The frames that a gauge sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Thirteen nibbles, bit 1 of each first: `bcd13-hex`.
    Bcd13,
    /// One word of 24 bits, bit 1 first: `word24-hex`.
    Word24,
    /// Two of them, the absolute one first: `word48-hex`.
    Word48,
}

impl Kind {
    /// The kind of a board, by which of its two straps are there.
    pub const fn strapped(word24: bool, word48: bool) -> Self {
        match (word24, word48) {
            (true, false) => Self::Word24,
            (false, true) => Self::Word48,
            (true, true) | (false, false) => Self::Bcd13,
        }
    }

    /// How many bits a frame has.
    pub const fn bits(self) -> u16 {
        match self {
            Self::Bcd13 => 52,
            Self::Word24 => 24,
            Self::Word48 => 48,
        }
    }
}

/// The levels of the two lines as they are at the gauge: `true` is high. A stage that inverts is undone before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Levels {
    /// Clock.
    pub clock: bool,
    /// Data.
    pub data: bool,
}

/// A change of the clock that has yet to last.
#[derive(Debug, Clone, Copy)]
struct Change {
    at: u32,
    /// Data at that moment.
    data: bool,
}

/// The port of a gauge.
#[derive(Debug)]
pub struct Gauge {
    kind: Kind,
    /// The level that counts; not known before the first look.
    clock: Option<bool>,
    change: Option<Change>,
    /// When it last changed.
    edge: u32,
    /// Bit 1 lowest. More than a frame has are counted only.
    bits: u64,
    count: u16,
}

impl Gauge {
    /// A port on which nothing was seen.
    pub const fn new(kind: Kind) -> Self {
        Self {
            kind,
            clock: None,
            change: None,
            edge: 0,
            bits: 0,
            count: 0,
        }
    }

    /// Clock or data has changed, or may have. More calls than changes do no harm.
    pub fn sample(&mut self, now: u32, levels: Levels) -> Option<Line> {
        let line = self.idle(now);
        match self.clock {
            None => self.clock = Some(levels.clock),
            Some(clock) if clock == levels.clock => self.change = None,
            Some(_) => {
                self.change.get_or_insert(Change {
                    at: now,
                    data: levels.data,
                });
            }
        }
        line
    }

    /// Time has passed: ends what has been still for long enough. Call it every millisecond or so.
    pub fn idle(&mut self, now: u32) -> Option<Line> {
        let Some(change) = self.change else {
            return self.ended(now);
        };
        if now.wrapping_sub(change.at) < GLITCH {
            return None;
        }
        // Silence before the change was noticed when the change was.
        self.change = None;
        self.edge = change.at;
        let level = self.clock.is_none_or(|clock| !clock);
        self.clock = Some(level);
        if !level {
            self.bit(change.data);
        }
        self.ended(now)
    }

    fn bit(&mut self, data: bool) {
        if self.count < self.kind.bits() {
            let bit = u64::from(data).checked_shl(u32::from(self.count));
            self.bits |= bit.unwrap_or_default();
        }
        self.count = self.count.saturating_add(1).min(MOST);
    }

    /// The line of the bits so far, if they have ended by `now`.
    fn ended(&mut self, now: u32) -> Option<Line> {
        if self.count == 0 || now.wrapping_sub(self.edge) < SILENCE {
            return None;
        }
        let line = if self.count == self.kind.bits() {
            self.frame()
        } else {
            no_frame(self.count)
        };
        self.bits = 0;
        self.count = 0;
        Some(line)
    }

    fn frame(&self) -> Line {
        let [b0, b1, b2, b3, b4, b5, b6, _] = self.bits.to_le_bytes();
        let mut line = Line::new();
        match self.kind {
            // The first nibble that came is the first digit.
            Kind::Bcd13 => {
                for byte in [b0, b1, b2, b3, b4, b5] {
                    line.put_nibble(byte);
                    line.put_nibble(byte >> 4);
                }
                line.put_nibble(b6);
            }
            // A number is written with its highest digit first.
            Kind::Word24 => put_word(&mut line, [b2, b1, b0]),
            Kind::Word48 => {
                put_word(&mut line, [b2, b1, b0]);
                put_word(&mut line, [b5, b4, b3]);
            }
        }
        line.put(b'\r');
        line
    }
}

fn put_word(line: &mut Line, high_first: [u8; 3]) {
    for byte in high_first {
        line.put_nibble(byte >> 4);
        line.put_nibble(byte);
    }
}

/// `?` and the number of bits that came, such as `?023`.
fn no_frame(count: u16) -> Line {
    let mut line = Line::new();
    line.put(b'?');
    line.put_decimal(count);
    line.put(b'\r');
    line
}
