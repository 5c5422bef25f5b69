//! Where a frame starts and ends, and nothing else.
//!
//! Bytes are pushed in two ways, which differ in what is known of their time. Bytes that arrived at `now` (from a
//! tape) prove the silence before them. Bytes that were only read at `now` do not: they may have waited in the kernel
//! while the reader was suspended. For those, a silence counts only if the reader reports it by
//! [`Splitter::silent_for`].

mod delimited;
mod idle_gap;
mod in_hand;

use super::DecodeError;
use crate::quantity::MonoMicros;
use delimited::{Delimited, PATIENCE};
pub use idle_gap::GAP;
use idle_gap::IdleGap;
use in_hand::InHand;
use std::time::Duration;

/// A frame begins after a silence this long. It is longer than any pause within a frame: the slowest line in use (300
/// baud) has a byte every 37 ms, and a USB adapter passes bytes on every 16 ms.
pub const FRAME_GAP: Duration = Duration::from_millis(100);

/// The silences that end a burst, a broken line or an unfinished frame. The reader of a line reports them, the
/// shortest first.
pub const SILENCES: [Duration; 3] = [GAP, FRAME_GAP, PATIENCE];

/// How frames of a format are separated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framing {
    /// Each frame ends with CR, LF, or both.
    Delimited {
        /// The longest body, terminator not counted.
        longest: usize,
    },
    /// Each frame has this many bytes, with silence before and after it.
    IdleGap {
        /// Bytes of a frame.
        length: usize,
    },
}

/// What a splitter finds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Frame {
    /// A whole frame.
    Whole {
        /// All bytes, with the terminator.
        raw: Vec<u8>,
        /// Number of bytes before the terminator.
        body: usize,
    },
    /// Terminators without text: the LF of a CR LF, empty lines. Neither a value nor a fault.
    Blank {
        /// The bytes.
        raw: Vec<u8>,
    },
    /// Bytes that are not part of a whole frame.
    Broken {
        /// The bytes.
        raw: Vec<u8>,
        /// Why.
        reason: DecodeError,
    },
}

impl Frame {
    /// Its bytes without the terminator of a whole frame.
    pub fn body(&self) -> &[u8] {
        match self {
            Self::Whole { raw, body } => raw.get(..*body).unwrap_or_default(),
            Self::Blank { raw } | Self::Broken { raw, .. } => raw,
        }
    }
}

/// Cuts a stream of bytes into frames.
#[derive(Debug)]
pub struct Splitter {
    rule: Rule,
    hand: InHand,
}

/// The rule by which a frame ends.
#[derive(Debug)]
enum Rule {
    Delimited(Delimited),
    IdleGap(IdleGap),
}

impl Splitter {
    /// A splitter for this framing.
    pub fn new(framing: Framing) -> Self {
        let rule = match framing {
            Framing::Delimited { longest } => Rule::Delimited(Delimited {
                longest,
                blank: Vec::new(),
            }),
            Framing::IdleGap { length } => Rule::IdleGap(IdleGap { length }),
        };
        Self {
            rule,
            hand: InHand::default(),
        }
    }

    /// Takes bytes that arrived at `now`; no other byte arrived since the last push.
    pub fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        // The wake-up may be late, so the time of the bytes decides which older bytes have expired.
        self.give_up_on_old_bytes(now);
        self.push_read(now, bytes);
    }

    /// Takes bytes that were read at `now`; their time of arrival is unknown.
    pub fn push_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        match &mut self.rule {
            Rule::Delimited(delimited) => delimited.take(&mut self.hand, bytes),
            Rule::IdleGap(idle_gap) => idle_gap.take(&mut self.hand, bytes),
        }
        self.note_time(now, bytes);
    }

    /// Takes bytes with a parity or framing error. They end no frame, and the frame that holds them is broken.
    pub fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.give_up_on_old_bytes(now);
        self.push_spoiled_read(now, bytes);
    }

    /// As [`Splitter::push_spoiled`], for bytes that were read at `now`.
    pub fn push_spoiled_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        for byte in bytes {
            self.hand.spoil(*byte);
            let byte = std::slice::from_ref(byte);
            match &mut self.rule {
                Rule::Delimited(delimited) => delimited.take_text(&mut self.hand, byte),
                Rule::IdleGap(idle_gap) => idle_gap.take(&mut self.hand, byte),
            }
        }
        self.note_time(now, bytes);
    }

    fn note_time(&mut self, now: MonoMicros, bytes: &[u8]) {
        if !bytes.is_empty() {
            let is_within = match &self.rule {
                Rule::Delimited(_) => Delimited::is_within(&self.hand),
                Rule::IdleGap(_) => true,
            };
            self.hand.last_byte_at = is_within.then_some(now);
        }
    }

    fn give_out(&mut self) {
        match &mut self.rule {
            Rule::Delimited(delimited) => delimited.give_out(&mut self.hand),
            Rule::IdleGap(idle_gap) => idle_gap.give_out(&mut self.hand),
        }
    }

    /// No more bytes will come.
    pub fn end(&mut self) {
        self.give_out();
        self.hand.begin();
        self.hand.last_byte_at = None;
    }

    /// The reader has seen a silence of `lasted` since the last bytes.
    pub fn silent_for(&mut self, lasted: Duration) {
        if let Some(last) = self.hand.last_byte_at {
            self.give_up_on_old_bytes(last.plus(lasted));
        }
    }

    /// Bytes may be missing here; `behind` names the cause. The following bytes are broken up to the next end of a
    /// frame or a silence of [`FRAME_GAP`].
    pub fn lose(&mut self, now: MonoMicros, behind: &'static str) {
        self.hand.out_of_step = Some(behind);
        self.give_out();
        self.hand.last_byte_at = Some(now);
    }

    /// Gives up the bytes of an unfinished frame that have expired at `now`. [`Splitter::push`] does so too.
    pub fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        if self.over_at().is_some_and(|at| at <= now) {
            self.end();
        }
    }

    /// When the bytes in hand expire; `None` if nothing waits. A silence after a burst that is already broken needs no
    /// wake-up: the next byte shows it.
    pub fn gives_up_at(&self) -> Option<MonoMicros> {
        match &self.rule {
            Rule::IdleGap(_) if self.hand.bytes.is_empty() => None,
            Rule::Delimited(_) | Rule::IdleGap(_) => self.over_at(),
        }
    }

    fn over_at(&self) -> Option<MonoMicros> {
        let patience = match &self.rule {
            Rule::Delimited(_) => Delimited::patience(&self.hand),
            Rule::IdleGap(_) => GAP,
        };
        self.hand.last_byte_at.map(|at| at.plus(patience))
    }

    /// The next frame.
    pub fn poll(&mut self) -> Option<Frame> {
        self.hand.found.pop_front()
    }
}
