//! Where a frame starts and ends, and nothing else.
//!
//! Bytes are taken in two ways, which differ in what is known of their time. What came at `now` (a tape's
//! bytes) shows the silence before it. What was only read at `now` shows none: it may have waited since
//! the last read, while the reader stood still. There a silence counts only where the reader reports it, by
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

/// Longer than any pause within a frame: the slowest line in use (300 baud) has a byte every 37 ms, and a
/// USB adapter hands bytes on every 16 ms. Behind such a silence a frame begins.
pub const FRAME_GAP: Duration = Duration::from_millis(100);

/// The silences that end something. Whoever reads a line has to report them, the shortest first.
pub const SILENCES: [Duration; 3] = [GAP, FRAME_GAP, PATIENCE];

/// How frames of a format are separated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framing {
    /// Each ends with CR, LF, or both.
    Delimited {
        /// The longest body, terminator not counted.
        longest: usize,
    },
    /// Each has this many bytes, and silence before and after it.
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
        /// Without its terminator.
        body: Vec<u8>,
        /// All bytes, with the terminator.
        raw: Vec<u8>,
    },
    /// Terminators that end nothing: the LF of a CR LF, empty lines. Neither a value nor a fault.
    Blank {
        /// The bytes.
        raw: Vec<u8>,
    },
    /// Bytes that belong to no whole frame.
    Broken {
        /// The bytes.
        raw: Vec<u8>,
        /// Why.
        reason: DecodeError,
    },
}

/// Cuts a stream of bytes into frames.
#[derive(Debug)]
pub struct Splitter {
    rule: Rule,
    hand: InHand,
}

/// What a frame ends by.
#[derive(Debug)]
enum Rule {
    Delimited(Delimited),
    IdleGap(IdleGap),
}

impl Splitter {
    /// For this framing.
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

    /// Takes bytes that came at `now`: nothing came between those before and these.
    pub fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        // Whoever wakes us may be late; what is old is old by the time of the bytes.
        self.give_up_on_old_bytes(now);
        self.push_read(now, bytes);
    }

    /// Takes bytes that were read at `now`; when they came nobody knows.
    pub fn push_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        match &mut self.rule {
            Rule::Delimited(delimited) => delimited.take(&mut self.hand, bytes),
            Rule::IdleGap(idle_gap) => idle_gap.take(&mut self.hand, bytes),
        }
        self.note_time(now, bytes);
    }

    /// Takes bytes that the line spoiled: they end no frame, and break the one that they stand in.
    pub fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.give_up_on_old_bytes(now);
        self.push_spoiled_read(now, bytes);
    }

    /// The same for bytes that were read at `now`.
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

    /// A silence was seen that has lasted for so long since the last bytes.
    pub fn silent_for(&mut self, lasted: Duration) {
        if let Some(last) = self.hand.last_byte_at {
            self.give_up_on_old_bytes(last.plus(lasted));
        }
    }

    /// Bytes may be missing from here on, `behind` this: what comes next is no frame, up to the next end of
    /// one or a silence longer than any in a frame.
    pub fn lose(&mut self, now: MonoMicros, behind: &'static str) {
        self.hand.out_of_step = Some(behind);
        self.give_out();
        self.hand.last_byte_at = Some(now);
    }

    /// Nothing more came up to `now`: gives up bytes whose time is over. So does [`Splitter::push`].
    pub fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        if self.over_at().is_some_and(|at| at <= now) {
            self.end();
        }
    }

    /// When that will be. Of bursts, only bytes in hand are worth waking for; the silence after others is seen at
    /// the next byte.
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
