//! The bytes received since the last frame, with the faults known of them, and the frames found so far.
//!
//! At most [`CHUNK`] bytes are kept.

use super::Frame;
use crate::decode::DecodeError;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;

/// Bytes without meaning are given out in chunks of at most this size.
pub(super) const CHUNK: usize = 4096;

/// The bytes since the last end of a frame that are not yet given out.
#[derive(Debug, Default)]
pub(super) struct InHand {
    pub(super) bytes: Vec<u8>,
    /// Number of spoiled bytes among them; position and value of the first.
    spoiled: usize,
    first_spoiled: Option<(usize, u8)>,
    /// Whether an earlier chunk of the same line or burst was given out as broken.
    pub(super) is_rest: bool,
    /// Set while the line or burst may have begun unseen; the cause in words.
    pub(super) out_of_step: Option<&'static str>,
    pub(super) last_byte_at: Option<MonoMicros>,
    pub(super) found: VecDeque<Frame>,
}

impl InHand {
    /// Appends bytes; `give_out` is called whenever a full chunk is in hand.
    pub(super) fn take(&mut self, mut bytes: &[u8], give_out: impl Fn(&mut Self)) {
        while !bytes.is_empty() {
            let room = CHUNK.saturating_sub(self.bytes.len());
            let (fits, after) = bytes.split_at(room.min(bytes.len()));
            self.bytes.extend_from_slice(fits);
            if self.bytes.len() >= CHUNK {
                self.is_rest = true;
                give_out(self);
            }
            bytes = after;
        }
    }

    /// Notes that the next byte, `byte`, is spoiled.
    pub(super) fn spoil(&mut self, byte: u8) {
        self.spoiled += 1;
        self.first_spoiled.get_or_insert((self.bytes.len(), byte));
    }

    /// Whether no fault is known: not spoiled, not a rest, not out of step.
    pub(super) fn is_sound(&self) -> bool {
        !self.is_rest && self.out_of_step.is_none() && self.first_spoiled.is_none()
    }

    /// Removes and returns the bytes in hand. The error says why they are not a frame of at most `most` bytes; `None`
    /// if they may be one.
    pub(super) fn give(&mut self, most: usize) -> (Vec<u8>, Option<DecodeError>) {
        let raw = std::mem::take(&mut self.bytes);
        let of = raw.len();
        let spoiled = std::mem::take(&mut self.spoiled);
        let fault = match (self.first_spoiled.take(), self.out_of_step) {
            (Some((at, got)), _) => Some(DecodeError::LineFault {
                spoiled,
                of,
                at,
                got,
            }),
            (None, Some(behind)) => Some(DecodeError::MidFrame { got: of, behind }),
            (None, None) if self.is_rest || of > most => {
                Some(DecodeError::TooLong { got: of, most })
            }
            (None, None) => None,
        };
        (raw, fault)
    }

    /// Begins a new line or burst.
    pub(super) fn begin(&mut self) {
        self.is_rest = false;
        self.out_of_step = None;
    }
}
