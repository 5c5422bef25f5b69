//! Frames of a fixed length, without a terminator, separated by silence.
//!
//! In: bytes and when they came. Out: frames, in order; their raw bytes, joined, are the input.
//!
//! - A frame is the bytes between two silences, if their number is right. It is given out only after the second
//!   silence: after a byte of noise or at the wrong speed, the first bytes of a burst look valid too, and a 24-bit
//!   word has almost no redundancy to check.
//! - A chunk from the middle of a frame is too short to pass for one. Out of step (the bytes before are unknown), a
//!   burst of any length is refused.

use super::Frame;
use super::in_hand::InHand;
use crate::decode::DecodeError;
use std::time::Duration;

/// A silence this long separates two frames. A USB adapter passes bytes on at least every 16 ms (its latency timer),
/// and instruments send at most thirty frames a second.
pub const GAP: Duration = Duration::from_millis(20);

/// Splits at silence.
#[derive(Debug)]
pub(super) struct IdleGap {
    pub(super) length: usize,
}

impl IdleGap {
    pub(super) fn take(&self, hand: &mut InHand, bytes: &[u8]) {
        hand.take(bytes, |hand| self.give_out(hand));
    }

    /// Gives out the bytes in hand: a frame if their number is right, else broken.
    pub(super) fn give_out(&self, hand: &mut InHand) {
        if hand.bytes.is_empty() {
            return;
        }
        let (raw, fault) = hand.give(self.length);
        let got = raw.len();
        let cut_short = (got < self.length).then_some(DecodeError::CutShort { got });
        hand.found.push_back(match fault.or(cut_short) {
            Some(reason) => Frame::Broken { raw, reason },
            None => Frame::Whole { body: got, raw },
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::framing::in_hand::CHUNK;
    use crate::decode::framing::{Framing, Splitter};
    use crate::quantity::MonoMicros;

    const START: MonoMicros = MonoMicros(5_000_000);

    fn after(gaps: u32) -> MonoMicros {
        START.plus(GAP.saturating_mul(gaps))
    }

    fn frames(splitter: &mut Splitter) -> Vec<Frame> {
        std::iter::from_fn(|| splitter.poll()).collect()
    }

    fn whole(raw: &[u8]) -> Frame {
        Frame::Whole {
            body: raw.len(),
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
    fn a_frame_is_out_when_it_is_still_after_its_last_byte_however_it_was_cut() {
        let mut splitter = Splitter::new(Framing::IdleGap { length: 3 });
        splitter.push(START, b"ab");
        let second = START.plus(Duration::from_millis(16));
        splitter.push(second, b"c");
        let due = second.plus(GAP);
        assert_eq!(splitter.gives_up_at(), Some(due));
        splitter.give_up_on_old_bytes(MonoMicros(due.0 - 1));
        assert_eq!(frames(&mut splitter), []);
        splitter.give_up_on_old_bytes(due);
        assert_eq!(frames(&mut splitter), [whole(b"abc")]);
        assert_eq!(splitter.gives_up_at(), None);
    }

    #[test]
    fn a_frame_is_out_with_the_first_byte_of_the_next_even_if_nobody_woke_the_splitter() {
        let mut splitter = Splitter::new(Framing::IdleGap { length: 3 });
        splitter.push(START, b"abc");
        splitter.push(after(1), b"d");
        assert_eq!(frames(&mut splitter), [whole(b"abc")]);
        splitter.push(after(1), b"ef");
        splitter.end();
        assert_eq!(frames(&mut splitter), [whole(b"def")]);
    }

    #[test]
    fn joined_in_the_middle_of_a_frame_it_finds_the_next() {
        let mut splitter = Splitter::new(Framing::IdleGap { length: 3 });
        splitter.push(START, b"c");
        splitter.push(after(1), b"abc");
        splitter.end();
        let cut_short = broken(b"c", DecodeError::CutShort { got: 1 });
        assert_eq!(frames(&mut splitter), [cut_short, whole(b"abc")]);
    }

    #[test]
    fn no_part_of_a_burst_that_is_too_long_is_a_frame() {
        for length in [4, 6, 7, CHUNK, CHUNK + 1, CHUNK + 3, 3 * CHUNK] {
            let mut splitter = Splitter::new(Framing::IdleGap { length: 3 });
            let burst = vec![b'x'; length];
            let (before, rest) = burst.split_at(3);
            splitter.push(START, before);
            splitter.push(START.plus(Duration::from_millis(19)), rest);
            splitter.push(after(2), b"abc");
            splitter.end();
            let mut found = frames(&mut splitter);
            assert_eq!(found.pop(), Some(whole(b"abc")), "{length}");
            for frame in found {
                assert!(
                    matches!(
                        frame,
                        Frame::Broken {
                            reason: DecodeError::TooLong { .. },
                            ..
                        }
                    ),
                    "{length}: {frame:?}"
                );
            }
        }
    }

    #[test]
    fn a_spoiled_byte_breaks_its_frame_and_no_other() {
        let mut splitter = Splitter::new(Framing::IdleGap { length: 3 });
        splitter.push(START, b"a");
        splitter.push_spoiled(START, b"\xff");
        splitter.push(START, b"c");
        splitter.push(after(1), b"abc");
        splitter.end();
        let fault = DecodeError::LineFault {
            spoiled: 1,
            of: 3,
            at: 1,
            got: 0xff,
        };
        assert_eq!(
            frames(&mut splitter),
            [broken(b"a\xffc", fault), whole(b"abc")]
        );
    }

    #[test]
    fn a_flood_is_never_kept_whole() {
        let mut splitter = Splitter::new(Framing::IdleGap { length: 3 });
        for _ in 0..1024 {
            splitter.push(START, &[0; 1000]);
            splitter.push_spoiled(START, &[0; 24]);
            frames(&mut splitter);
            assert!(splitter.hand.bytes.len() < CHUNK);
            assert!(splitter.hand.bytes.capacity() <= 2 * CHUNK);
        }
    }
}
