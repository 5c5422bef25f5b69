//! Frames of a fixed length, without a terminator, parted by silence.
//!
//! In: bytes and when they came. Out: frames, in order; their raw bytes, joined, are the input.
//!
//! - A frame starts after a gap and is out with its last byte: nobody waits for the next gap.
//! - What comes between a whole frame and the next gap belongs to no frame: joined in the middle
//!   of a frame, or at the wrong speed, no shifted piece can pass for a value.

use super::Frame;
use crate::decode::DecodeError;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;
use std::time::Duration;

/// Silence this long parts two frames. A USB adapter hands bytes on every 16 ms at the slowest
/// (its latency timer), and instruments send thirty frames a second at the most.
pub const GAP: Duration = Duration::from_millis(20);

/// Bytes without meaning are given out in pieces of at most so many.
const PIECE: usize = 4096;

/// A splitter at silence.
#[derive(Debug)]
pub struct IdleGap {
    length: usize,
    pending: Vec<u8>,
    /// A whole frame, or more than one, has gone out since the last gap.
    past_frame: bool,
    last_byte_at: Option<MonoMicros>,
    found: VecDeque<Frame>,
}

impl IdleGap {
    pub(super) fn new(length: usize) -> Self {
        Self {
            length,
            pending: Vec::new(),
            past_frame: false,
            last_byte_at: None,
            found: VecDeque::new(),
        }
    }

    pub(super) fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.give_up_on_old_bytes(now);
        for byte in bytes {
            self.pending.push(*byte);
            if !self.past_frame && self.pending.len() == self.length {
                let raw = std::mem::take(&mut self.pending);
                self.found.push_back(Frame::Whole {
                    body: raw.clone(),
                    raw,
                });
                self.past_frame = true;
            } else if self.pending.len() >= PIECE {
                self.give_out_broken();
            }
        }
        if !bytes.is_empty() {
            self.last_byte_at = Some(now);
        }
    }

    fn give_out_broken(&mut self) {
        if self.pending.is_empty() {
            return;
        }
        let raw = std::mem::take(&mut self.pending);
        let got = raw.len();
        let reason = if self.past_frame {
            DecodeError::TooLong {
                got: got.saturating_add(self.length),
                most: self.length,
            }
        } else {
            DecodeError::CutShort { got }
        };
        self.found.push_back(Frame::Broken { raw, reason });
    }

    pub(super) fn end(&mut self) {
        self.give_out_broken();
        self.past_frame = false;
        self.last_byte_at = None;
    }

    pub(super) fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        if self.last_byte_at.is_some_and(|at| at.plus(GAP) <= now) {
            self.end();
        }
    }

    /// Only bytes in hand are worth waking for; a gap after a whole frame is seen at the next byte.
    pub(super) fn gives_up_at(&self) -> Option<MonoMicros> {
        if self.pending.is_empty() {
            None
        } else {
            self.last_byte_at.map(|at| at.plus(GAP))
        }
    }

    pub(super) fn poll(&mut self) -> Option<Frame> {
        self.found.pop_front()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: MonoMicros = MonoMicros(5_000_000);

    fn after(gaps: u32) -> MonoMicros {
        START.plus(GAP.saturating_mul(gaps))
    }

    fn frames(splitter: &mut IdleGap) -> Vec<Frame> {
        std::iter::from_fn(|| splitter.poll()).collect()
    }

    fn whole(raw: &[u8]) -> Frame {
        Frame::Whole {
            body: raw.to_vec(),
            raw: raw.to_vec(),
        }
    }

    fn broken(raw: &[u8], reason: DecodeError) -> Frame {
        Frame::Broken {
            raw: raw.to_vec(),
            reason,
        }
    }

    #[test]
    fn a_frame_is_out_with_its_last_byte_however_it_was_cut() {
        let mut splitter = IdleGap::new(3);
        splitter.push(START, b"ab");
        assert_eq!(frames(&mut splitter), []);
        splitter.push(START.plus(Duration::from_millis(16)), b"c");
        assert_eq!(frames(&mut splitter), [whole(b"abc")]);
        assert_eq!(splitter.gives_up_at(), None);
        splitter.push(after(2), b"def");
        assert_eq!(frames(&mut splitter), [whole(b"def")]);
    }

    #[test]
    fn joined_in_the_middle_of_a_frame_it_finds_the_next() {
        let mut splitter = IdleGap::new(3);
        splitter.push(START, b"c");
        splitter.push(after(1), b"abc");
        let cut_short = broken(b"c", DecodeError::CutShort { got: 1 });
        assert_eq!(frames(&mut splitter), [cut_short, whole(b"abc")]);
    }

    #[test]
    fn bytes_after_a_frame_without_a_gap_are_no_frame() {
        let mut splitter = IdleGap::new(3);
        splitter.push(START, b"abcdefg");
        splitter.push(after(1), b"hij");
        let too_long = broken(b"defg", DecodeError::TooLong { got: 7, most: 3 });
        assert_eq!(
            frames(&mut splitter),
            [whole(b"abc"), too_long, whole(b"hij")]
        );
    }

    #[test]
    fn a_flood_is_never_kept_whole() {
        let mut splitter = IdleGap::new(3);
        for _ in 0..1024 {
            splitter.push(START, &[0; 1024]);
            frames(&mut splitter);
            assert!(splitter.pending.len() < PIECE);
        }
    }
}
