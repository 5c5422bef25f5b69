//! Reconstructs the text that was sent from the characters that a port at other settings received.
//!
//! In: the characters received, the port's settings, the settings to try. Out: every text that, sent with the latter,
//! would have been received as these characters.
//!
//! - All bits of a received character are known, the stop bit too: the terminal marks characters without one. Only the
//!   pause between two characters is unknown; every length is tried.
//! - Some drivers mark nothing. If no character is marked and no text fits, the stop bits are taken as unknown: a text
//!   that then fits proves nothing, and the lack of one proves the settings wrong. Packed frames may hold any byte and
//!   would always fit; for those the marks are trusted.
//! - A port slower than the sender has lost bits; nothing is reconstructed.
//! - At most [`MOST_HEARD`] characters are worked on, with at most [`MOST_WAYS`] texts at a time.

use super::Chunk;
use crate::decode::format::FrameFormat;
use crate::decode::line_settings::{LineSettings, Parity};
use std::collections::BTreeSet;

/// Maximum number of characters; a few presses have fewer.
const MOST_HEARD: usize = 192;

/// Maximum number of texts that are followed at a time.
const MOST_WAYS: usize = 200;

/// Maximum ratio of the port's speed to the sender's; beyond it one bit is longer than a received character and
/// carries too little.
const MOST_TIMES: u32 = 8;

/// A character as the port delivered it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Heard {
    byte: u8,
    /// The terminal marked it: wrong parity, or no stop bit.
    spoiled: bool,
}

/// The characters of a chunk.
pub(super) fn characters(chunk: &Chunk) -> impl Iterator<Item = Heard> {
    let spoiled = chunk.spoiled;
    chunk.bytes.iter().map(move |byte| Heard {
        byte: *byte,
        spoiled,
    })
}

/// Which bytes may come out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Alphabet {
    /// The bytes of lines with values: digits, signs, units, hexadecimal digits, line ends.
    Lines,
    Any,
}

impl Alphabet {
    /// The bytes of a format's frames.
    pub(super) fn of(format: &FrameFormat) -> Self {
        if format.is_text() {
            Self::Lines
        } else {
            Self::Any
        }
    }

    fn has(self, byte: u8) -> bool {
        match self {
            Self::Any => true,
            Self::Lines => {
                byte.is_ascii_hexdigit() || b"+-. \t\r\n\"GIKLMNUgiklmnu".contains(&byte)
            }
        }
    }
}

/// Number of the port's bits in one bit of the sender; `None` if nothing can be reconstructed.
pub(super) fn times(heard: LineSettings, sent: LineSettings) -> Option<u32> {
    let times = heard.baud.checked_div(sent.baud)?;
    let whole = times.checked_mul(sent.baud) == Some(heard.baud);
    (whole && times <= MOST_TIMES).then_some(times)
}

/// The texts that may have been sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Texts {
    /// All texts that would be received so; empty if the settings are wrong.
    All(Vec<Vec<u8>>),
    /// The settings may be right, but the texts cannot be listed: too many fit, too many characters came, or the
    /// terminal marked no faulty character.
    TooMany,
}

/// Every text that a port set to `port` receives as `heard`, if it is sent with `sent`.
pub(super) fn texts(
    heard: &[Heard],
    port: LineSettings,
    sent: LineSettings,
    alphabet: Alphabet,
) -> Texts {
    let Some(times) = times(port, sent) else {
        return Texts::All(Vec::new());
    };
    if heard.len() > MOST_HEARD {
        return Texts::TooMany;
    }
    let spoiled = heard.iter().any(|character| character.spoiled);
    // Most instruments send the characters of a frame without a pause, which leaves few texts. Pauses are tried only
    // if none is found.
    for stop_bits in [
        Some(sent.stop_bits),
        Some(3 - sent.stop_bits.clamp(1, 2)),
        None,
    ] {
        let shape = Shape {
            times,
            data_bits: u32::from(sent.data_bits),
            parity: sent.parity,
            stop_bits: u32::from(stop_bits.unwrap_or(1)),
            may_rest: stop_bits.is_none(),
            alphabet,
        };
        // Receivers differ after a missing stop bit: some wait for the line to rest, some take it for the next start
        // bit. Without a missing stop bit both do the same.
        for after_no_stop in [AfterNoStop::WaitsForRest, AfterNoStop::StartsAtOnce] {
            if after_no_stop == AfterNoStop::StartsAtOnce && !spoiled {
                continue;
            }
            let texts = follow(heard, port, shape, after_no_stop);
            if texts != Texts::All(Vec::new()) {
                return texts;
            }
        }
    }
    let may_be_unmarked = !spoiled && port.parity == Parity::None && alphabet == Alphabet::Lines;
    if may_be_unmarked && sounds_so_unmarked(heard, port, sent, alphabet) {
        return Texts::TooMany;
    }
    Texts::All(Vec::new())
}

/// Whether a terminal that does not mark a missing stop bit would receive some text so.
fn sounds_so_unmarked(
    heard: &[Heard],
    port: LineSettings,
    sent: LineSettings,
    alphabet: Alphabet,
) -> bool {
    let shape = Shape {
        times: times(port, sent).unwrap_or(1),
        data_bits: u32::from(sent.data_bits),
        parity: sent.parity,
        stop_bits: 1,
        may_rest: true,
        alphabet,
    };
    let texts = follow(heard, port, shape, AfterNoStop::MayBeUnmarked);
    texts != Texts::All(Vec::new())
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum AfterNoStop {
    WaitsForRest,
    StartsAtOnce,
    /// It waits and does not mark the character: any stop bit may be missing.
    MayBeUnmarked,
}

/// The sender's characters, in the port's bits.
#[derive(Debug, Clone, Copy)]
struct Shape {
    times: u32,
    data_bits: u32,
    parity: Parity,
    stop_bits: u32,
    /// Whether the line may pause between two characters.
    may_rest: bool,
    alphabet: Alphabet,
}

/// A text, followed up to here.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Way {
    text: Vec<u8>,
    /// Bits of the port since the sender's character began; `None` while its line rests.
    into: Option<u32>,
    /// The level of the sender's current bit.
    level: bool,
    data: u8,
}

fn follow(heard: &[Heard], port: LineSettings, shape: Shape, after_no_stop: AfterNoStop) -> Texts {
    let mut ways = BTreeSet::from([Way::default()]);
    let mut has_started = false;
    for (at, character) in heard.iter().enumerate() {
        let levels = levels(*character, port);
        let known = levels.get(usize::from(has_started)..).unwrap_or_default();
        let no_stop = levels.last() == Some(&false);
        let is_last = at.saturating_add(1) == heard.len();
        has_started = no_stop && !is_last && after_no_stop == AfterNoStop::StartsAtOnce;
        let mut next = BTreeSet::new();
        for way in ways {
            if after_no_stop == AfterNoStop::MayBeUnmarked {
                let but_stop = known.split_last().map_or(known, |(_, before)| before);
                let Some(way) = way.after(but_stop, shape) else {
                    continue;
                };
                for stop in [true, false] {
                    if let Some(way) = way.clone().fed(stop, shape) {
                        way.rests(!stop, is_last, shape, &mut next);
                    }
                }
                continue;
            }
            let Some(way) = way.after(known, shape) else {
                continue;
            };
            if has_started {
                next.insert(way);
            } else {
                way.rests(no_stop, is_last, shape, &mut next);
            }
        }
        if next.len() > MOST_WAYS {
            return Texts::TooMany;
        }
        ways = next;
    }
    let texts: BTreeSet<Vec<u8>> = ways.into_iter().map(|way| way.text).collect();
    Texts::All(texts.into_iter().collect())
}

/// The levels of the line that a character stands for: start, data, parity, stop.
fn levels(character: Heard, port: LineSettings) -> Vec<bool> {
    let Heard { byte, spoiled } = character;
    let mut levels = vec![false];
    levels.extend((0..port.data_bits.min(8)).map(|bit| byte >> bit & 1 == 1));
    let right = parity_bit(byte, port.parity);
    // With a parity bit, the mark means a parity error.
    levels.extend(right.map(|right| right != spoiled));
    levels.push(right.is_some() || !spoiled);
    levels
}

/// The parity bit of this byte; `None` without parity.
fn parity_bit(byte: u8, parity: Parity) -> Option<bool> {
    let odd = byte.count_ones() % 2 == 1;
    match parity {
        Parity::None => None,
        Parity::Even => Some(odd),
        Parity::Odd => Some(!odd),
    }
}

impl Way {
    /// Adds one bit of the port at this level; `None` if the sender cannot have sent it.
    fn fed(mut self, level: bool, shape: Shape) -> Option<Self> {
        let Some(into) = self.into else {
            if level {
                return (shape.may_rest || self.text.is_empty()).then_some(self);
            }
            self.into = Some(0);
            self.data = 0;
            return self.fed(level, shape);
        };
        let bit = into / shape.times;
        if into % shape.times == 0 {
            self.level = level;
        } else if self.level != level {
            return None;
        }
        let stop = 1 + shape.data_bits + u32::from(shape.parity != Parity::None);
        if bit >= stop && !level {
            return None;
        }
        let next = into + 1;
        self.into = Some(next);
        if next % shape.times != 0 {
            return Some(self);
        }
        if (1..=shape.data_bits).contains(&bit) {
            self.data |= u8::from(level).checked_shl(bit - 1).unwrap_or_default();
        }
        let is_parity = bit > shape.data_bits && bit < stop;
        let wrong_parity = is_parity && parity_bit(self.data, shape.parity) != Some(level);
        if wrong_parity || (bit == stop && !shape.alphabet.has(self.data)) {
            return None;
        }
        if next / shape.times == stop + shape.stop_bits {
            self.text.push(self.data);
            self.into = None;
        }
        Some(self)
    }

    fn after(self, levels: &[bool], shape: Shape) -> Option<Self> {
        let mut levels = levels.iter();
        levels.try_fold(self, |way, level| way.fed(*level, shape))
    }

    /// Adds the continuations over a pause of any length, endless after the last character. After a missing stop bit,
    /// the line is first low for any length.
    fn rests(self, no_stop: bool, is_last: bool, shape: Shape, into: &mut BTreeSet<Self>) {
        let goes_high = |way: Self, into: &mut BTreeSet<Self>| {
            if is_last {
                into.extend(way.ends(shape));
            } else {
                way.stays_high(shape, into);
            }
        };
        if !no_stop {
            return goes_high(self, into);
        }
        let mut low = Some(self);
        while let Some(way) = low {
            if let Some(high) = way.clone().fed(true, shape) {
                goes_high(high, into);
            }
            // The loop ends, because no character is low for longer than its data bits.
            low = way.fed(false, shape);
        }
    }

    /// The line stays at rest, which completes the current character.
    fn ends(mut self, shape: Shape) -> Option<Self> {
        while self.into.is_some() {
            self = self.fed(true, shape)?;
        }
        Some(self)
    }

    fn stays_high(self, shape: Shape, into: &mut BTreeSet<Self>) {
        let mut way = self;
        loop {
            // The next start bit can only begin where one of the sender's bits ends.
            if way.into.is_none_or(|bits| bits % shape.times == 0) {
                into.insert(way.clone());
            }
            let rested = way.into.is_none();
            match way.fed(true, shape) {
                Some(next) if !rested => way = next,
                Some(_) | None => return,
            }
        }
    }
}
