//! Where a frame starts and ends, and nothing else.

mod delimited;
mod idle_gap;
mod spoiled;

use super::DecodeError;
use crate::quantity::MonoMicros;
use delimited::Delimited;
pub use idle_gap::GAP;
use idle_gap::IdleGap;

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
        /// With it.
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

    /// Takes bytes as they came.
    pub fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        match self {
            Self::Delimited(delimited) => delimited.push(now, bytes),
            Self::IdleGap(idle_gap) => idle_gap.push(now, bytes),
        }
    }

    /// Takes bytes that the line spoiled: they end no frame, and break the one that they stand in.
    pub fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
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

    /// Gives up bytes whose time is over; so does [`Splitter::push`].
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
