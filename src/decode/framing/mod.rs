//! Where a frame starts and ends, and nothing else.
//!
//! Bytes are taken in two ways, which differ in what is known of their time. What came at `now` (a tape's
//! bytes) shows the silence before it. What was only read at `now` shows none: it may have waited since
//! the last read, while whoever reads stood still. There a silence counts only where it is told, by
//! [`Splitter::silent_for`].

mod delimited;
mod idle_gap;
mod spoiled;

use super::DecodeError;
use crate::quantity::MonoMicros;
use delimited::{Delimited, PATIENCE};
pub use idle_gap::GAP;
use idle_gap::IdleGap;
use std::time::Duration;

/// Longer than any pause within a frame: the slowest line in use (300 baud) has a byte every 37 ms, and a
/// USB adapter hands bytes on every 16 ms. Behind such a silence a frame begins.
pub const FRAME_GAP: Duration = Duration::from_millis(100);

/// The silences that end something: whoever reads a line has to tell these, the shortest first.
pub const SILENCES: [Duration; 3] = [GAP, FRAME_GAP, PATIENCE];

/// How frames of a format are told apart.
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
pub enum Splitter {
    /// Frames that end with CR, LF or both.
    Delimited(Delimited),
    /// Frames of a fixed length with silence between.
    IdleGap(IdleGap),
}

impl Splitter {
    /// For this framing.
    pub fn new(framing: Framing) -> Self {
        match framing {
            Framing::Delimited { longest } => Self::Delimited(Delimited::new(longest)),
            Framing::IdleGap { length } => Self::IdleGap(IdleGap::new(length)),
        }
    }

    /// Takes bytes that came at `now`: nothing came between those before and these.
    pub fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        match self {
            Self::Delimited(delimited) => delimited.push(now, bytes),
            Self::IdleGap(idle_gap) => idle_gap.push(now, bytes),
        }
    }

    /// Takes bytes that were read at `now`; when they came nobody knows.
    pub fn push_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        match self {
            Self::Delimited(delimited) => delimited.push_read(now, bytes),
            Self::IdleGap(idle_gap) => idle_gap.push_read(now, bytes),
        }
    }

    /// Takes bytes that the line spoiled: they end no frame, and break the one that they stand in.
    pub fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.give_up_on_old_bytes(now);
        self.push_spoiled_read(now, bytes);
    }

    /// The same for bytes that were read at `now`.
    pub fn push_spoiled_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        match self {
            Self::Delimited(delimited) => delimited.push_spoiled(now, bytes),
            Self::IdleGap(idle_gap) => idle_gap.push_spoiled(now, bytes),
        }
    }

    /// No more bytes will come.
    pub fn end(&mut self) {
        match self {
            Self::Delimited(delimited) => delimited.end(),
            Self::IdleGap(idle_gap) => idle_gap.end(),
        }
    }

    /// A silence was seen that has lasted for so long since the last bytes.
    pub fn silent_for(&mut self, lasted: Duration) {
        let last = match self {
            Self::Delimited(delimited) => delimited.last_byte_at(),
            Self::IdleGap(idle_gap) => idle_gap.last_byte_at(),
        };
        if let Some(last) = last {
            self.give_up_on_old_bytes(last.plus(lasted));
        }
    }

    /// Bytes may be missing from here on, `behind` this: what comes next is no frame, up to the next end of
    /// one or a silence longer than any in a frame.
    pub fn lose(&mut self, now: MonoMicros, behind: &'static str) {
        match self {
            Self::Delimited(delimited) => delimited.lose(now, behind),
            Self::IdleGap(idle_gap) => idle_gap.lose(now, behind),
        }
    }

    /// Nothing more came up to `now`: gives up bytes whose time is over. So does [`Splitter::push`].
    pub fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        match self {
            Self::Delimited(delimited) => delimited.give_up_on_old_bytes(now),
            Self::IdleGap(idle_gap) => idle_gap.give_up_on_old_bytes(now),
        }
    }

    /// When that will be.
    pub fn gives_up_at(&self) -> Option<MonoMicros> {
        match self {
            Self::Delimited(delimited) => delimited.gives_up_at(),
            Self::IdleGap(idle_gap) => idle_gap.gives_up_at(),
        }
    }

    /// The next frame.
    pub fn poll(&mut self) -> Option<Frame> {
        match self {
            Self::Delimited(delimited) => delimited.poll(),
            Self::IdleGap(idle_gap) => idle_gap.poll(),
        }
    }
}
