//! Frames that end with CR, LF, or both.
//!
//! In: bytes, in whatever chunks they came. Out: frames, in order; their raw bytes, joined, are the
//! input.
//!
//! - A frame ends at its first terminator byte; nothing waits for an LF after the CR. Terminators before the next text
//!   (the LF of a CR LF, empty lines) form a [`Frame::Blank`]. So the same press has the same raw bytes, whatever the
//!   chunks.
//! - A line that is too long is broken as a whole: no chunk of it can pass for a value.
//! - A spoiled byte does not end a line: the bytes after a spoiled CR may be the rest of a number.
//! - Out of step (the bytes before are unknown), the line is broken up to its end, or up to a silence longer than
//!   [`FRAME_GAP`](super::FRAME_GAP): the second half of a number is another number.

use super::in_hand::{CHUNK, InHand};
use super::{FRAME_GAP, Frame};
use crate::decode::DecodeError;
use std::time::Duration;

/// An unfinished frame is given up after this long without another byte. The slowest line in use (300 baud) has a byte
/// every 37 ms; two presses by hand are further apart than this.
pub(super) const PATIENCE: Duration = Duration::from_secs(1);

/// Splits at CR, LF, or both.
#[derive(Debug)]
pub(super) struct Delimited {
    pub(super) longest: usize,
    /// Terminators since the last frame.
    pub(super) blank: Vec<u8>,
}

impl Delimited {
    pub(super) fn take(&mut self, hand: &mut InHand, bytes: &[u8]) {
        let mut rest = bytes;
        while let Some(end) = rest.iter().position(|byte| is_terminator(*byte)) {
            let (text, from_terminator) = rest.split_at(end);
            let (terminator, after) = from_terminator.split_at(1);
            self.take_text(hand, text);
            self.take_terminator(hand, terminator);
            rest = after;
        }
        self.take_text(hand, rest);
    }

    pub(super) fn take_text(&mut self, hand: &mut InHand, text: &[u8]) {
        if !text.is_empty() {
            self.give_out_blank(hand);
        }
        hand.take(text, |hand| self.give_out_broken(hand));
    }

    fn take_terminator(&mut self, hand: &mut InHand, terminator: &[u8]) {
        if hand.bytes.is_empty() {
            hand.begin();
            self.blank.extend_from_slice(terminator);
            if self.blank.len() >= CHUNK {
                self.give_out_blank(hand);
            }
            return;
        }
        if hand.is_sound() && hand.bytes.len() <= self.longest {
            let body = hand.bytes.len();
            let mut raw = std::mem::take(&mut hand.bytes);
            raw.extend_from_slice(terminator);
            hand.found.push_back(Frame::Whole { body, raw });
        } else {
            hand.bytes.extend_from_slice(terminator);
            self.give_out_broken(hand);
            hand.begin();
        }
    }

    /// Gives out the bytes in hand, which are not a frame.
    pub(super) fn give_out(&mut self, hand: &mut InHand) {
        self.give_out_blank(hand);
        self.give_out_broken(hand);
    }

    fn give_out_blank(&mut self, hand: &mut InHand) {
        if !self.blank.is_empty() {
            let raw = std::mem::take(&mut self.blank);
            hand.found.push_back(Frame::Blank { raw });
        }
    }

    fn give_out_broken(&self, hand: &mut InHand) {
        if hand.bytes.is_empty() {
            return;
        }
        let (raw, fault) = hand.give(self.longest);
        let reason = fault.unwrap_or(DecodeError::CutShort { got: raw.len() });
        hand.found.push_back(Frame::Broken { raw, reason });
    }

    /// Whether an unfinished frame is in hand, which a silence would end.
    pub(super) fn is_within(hand: &InHand) -> bool {
        !hand.bytes.is_empty() || hand.is_rest || hand.out_of_step.is_some()
    }

    pub(super) fn patience(hand: &InHand) -> Duration {
        hand.out_of_step.map_or(PATIENCE, |_| FRAME_GAP)
    }
}

const fn is_terminator(byte: u8) -> bool {
    matches!(byte, b'\r' | b'\n')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::framing::{Framing, Rule, Splitter};
    use crate::quantity::MonoMicros;

    const START: MonoMicros = MonoMicros(5_000_000);

    fn frames(splitter: &mut Splitter) -> Vec<Frame> {
        std::iter::from_fn(|| splitter.poll()).collect()
    }

    fn whole(body: &[u8], raw: &[u8]) -> Frame {
        Frame::Whole {
            body: body.len(),
            raw: raw.to_vec(),
        }
    }

    #[test]
    fn a_frame_is_out_at_its_first_terminator_byte() {
        let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
        splitter.push(START, b"+1.6");
        assert_eq!(frames(&mut splitter), []);
        splitter.push(START, b"3\r");
        assert_eq!(frames(&mut splitter), [whole(b"+1.63", b"+1.63\r")]);
        assert_eq!(splitter.gives_up_at(), None);
    }

    #[test]
    fn the_line_feed_after_a_carriage_return_is_blank_wherever_the_stream_is_cut() {
        for cut in 0..=10 {
            let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
            let (before, after) = b"\r\n1\r\n2\r\n\r\n".split_at(cut);
            splitter.push(START, before);
            splitter.push(START, after);
            splitter.end();
            let blank = |raw: &[u8]| Frame::Blank { raw: raw.to_vec() };
            let want = [
                blank(b"\r\n"),
                whole(b"1", b"1\r"),
                blank(b"\n"),
                whole(b"2", b"2\r"),
                blank(b"\n\r\n"),
            ];
            assert_eq!(frames(&mut splitter), want, "cut at {cut}");
        }
    }

    #[test]
    fn a_half_frame_is_given_up_a_second_after_its_last_byte() {
        let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
        splitter.push(START, b"+1");
        let later = START.plus(Duration::from_millis(600));
        splitter.push(later, b".");
        let due = later.plus(PATIENCE);
        assert_eq!(splitter.gives_up_at(), Some(due));
        splitter.give_up_on_old_bytes(MonoMicros(due.0 - 1));
        assert_eq!(frames(&mut splitter), []);
        splitter.give_up_on_old_bytes(due);
        let cut_short = Frame::Broken {
            raw: b"+1.".to_vec(),
            reason: DecodeError::CutShort { got: 3 },
        };
        assert_eq!(frames(&mut splitter), [cut_short]);
        assert_eq!(splitter.gives_up_at(), None);
    }

    #[test]
    fn bytes_that_come_after_the_patience_start_a_new_frame_even_if_nobody_woke_the_splitter() {
        let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
        splitter.push(START, b"+9");
        splitter.push(START.plus(PATIENCE), b"+1.63\r");
        let cut_short = Frame::Broken {
            raw: b"+9".to_vec(),
            reason: DecodeError::CutShort { got: 2 },
        };
        assert_eq!(
            frames(&mut splitter),
            [cut_short, whole(b"+1.63", b"+1.63\r")]
        );
    }

    #[test]
    fn a_spoiled_byte_breaks_its_line_and_no_other() {
        let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
        splitter.push(START, b"+1\r+1");
        splitter.push_spoiled(START, b".\xff");
        splitter.push(START, b"3\r\n+1.64\r");
        let fault = DecodeError::LineFault {
            spoiled: 2,
            of: 6,
            at: 2,
            got: b'.',
        };
        let broken = Frame::Broken {
            raw: b"+1.\xff3\r".to_vec(),
            reason: fault,
        };
        let blank = Frame::Blank {
            raw: b"\n".to_vec(),
        };
        let want = [
            whole(b"+1", b"+1\r"),
            broken,
            blank,
            whole(b"+1.64", b"+1.64\r"),
        ];
        assert_eq!(frames(&mut splitter), want);
    }

    #[test]
    fn what_follows_a_spoiled_terminator_does_not_pass_for_a_line() {
        let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
        splitter.push(START, b"+1");
        splitter.push_spoiled(START, b"\r");
        splitter.push(START, b"63\r+1.64\r");
        let found = frames(&mut splitter);
        assert!(matches!(
            &found[0],
            Frame::Broken { raw, reason: DecodeError::LineFault { .. } } if raw == b"+1\r63\r"
        ));
        assert_eq!(found[1..], [whole(b"+1.64", b"+1.64\r")]);
    }

    #[test]
    fn spoiled_noise_is_given_up_like_any_other() {
        let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
        splitter.push_spoiled(START, &[0; 3 * CHUNK]);
        assert!(splitter.hand.bytes.is_empty());
        splitter.push_spoiled(START, &[0]);
        splitter.give_up_on_old_bytes(START.plus(PATIENCE));
        let lengths: Vec<_> = frames(&mut splitter)
            .iter()
            .map(|frame| match frame {
                Frame::Broken {
                    raw,
                    reason: DecodeError::LineFault { spoiled, of, .. },
                } => {
                    assert_eq!((raw.len(), raw.len()), (*spoiled, *of));
                    raw.len()
                }
                other @ (Frame::Whole { .. } | Frame::Blank { .. } | Frame::Broken { .. }) => {
                    panic!("{other:?}")
                }
            })
            .collect();
        assert_eq!(lengths, [CHUNK, CHUNK, CHUNK, 1]);
        splitter.push(START.plus(PATIENCE), b"1\r");
        assert_eq!(frames(&mut splitter), [whole(b"1", b"1\r")]);
    }

    #[test]
    fn no_tail_of_a_line_that_is_too_long_passes_for_a_frame() {
        for length in [9, CHUNK - 1, CHUNK, CHUNK + 1, CHUNK + 4, 3 * CHUNK] {
            let mut splitter = Splitter::new(Framing::Delimited { longest: 8 });
            let mut line = vec![b'7'; length];
            line.extend_from_slice(b"\r1\r");
            splitter.push(START, &line);
            let mut found = frames(&mut splitter);
            assert_eq!(found.pop(), Some(whole(b"1", b"1\r")), "{length}");
            for frame in found {
                match frame {
                    Frame::Broken { reason, .. } => {
                        assert!(matches!(reason, DecodeError::TooLong { .. }), "{reason}");
                    }
                    Frame::Blank { raw } => assert_eq!(raw, b"\r"),
                    Frame::Whole { raw, .. } => panic!("{length}: a frame out of {raw:?}"),
                }
            }
        }
    }

    #[test]
    fn a_megabyte_without_an_end_is_never_kept_whole() {
        for byte in [0xff, 0, b'1', b'\n', 0x1b] {
            let mut splitter = Splitter::new(Framing::Delimited { longest: 64 });
            let mut seen = 0;
            for _ in 0..1024 {
                splitter.push(START, &[byte; 1024]);
                seen += frames(&mut splitter).len();
                let Rule::Delimited(delimited) = &splitter.rule else {
                    unreachable!("as it was made");
                };
                assert!(splitter.hand.bytes.len() + delimited.blank.len() < CHUNK);
                assert!(splitter.hand.bytes.capacity() <= 2 * CHUNK);
            }
            assert_eq!(seen, 1024 * 1024 / CHUNK, "of 0x{byte:02x}");
        }
    }
}
