//! Frames that end with CR, LF, or both.
//!
//! In: bytes, in whatever chunks they came. Out: frames, in order; their raw bytes, joined, are the
//! input.
//!
//! - A frame is out at its first terminator byte: nobody waits to see whether an LF follows the CR.
//!   What then comes before the next text (the LF of a CR LF, empty lines) is a [`Frame::Blank`].
//!   So the same press has the same raw bytes, however the stream was cut.
//! - A line that is too long is broken up to its end: no chunk of it can pass for a value.
//! - A byte that the line spoiled ends no line: what follows a spoiled CR may be the rest of a number.
//! - Adrift, when it is not known what came before, a line is broken up to its end, or to a silence
//!   longer than a frame's gap: a number from its middle on is another number.
//! - No more than [`CHUNK`] bytes are ever kept.

use super::spoiled::Spoiled;
use super::{FRAME_GAP, Frame};
use crate::decode::DecodeError;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;
use std::time::Duration;

/// Bytes of an unfinished frame are given up after this long without another. The slowest line in
/// use (300 baud) has a byte every 37 ms; a press by hand takes longer than this to come again.
pub(super) const PATIENCE: Duration = Duration::from_secs(1);

/// Bytes without meaning are given out in chunks of at most so many.
const CHUNK: usize = 4096;

/// A splitter at CR, LF, or both.
#[derive(Debug)]
pub struct Delimited {
    longest: usize,
    /// Text without its end.
    pending: Vec<u8>,
    /// Terminators since the last frame.
    blank: Vec<u8>,
    /// A chunk of the line at hand is already given out as broken.
    in_broken_line: bool,
    /// Of those in `pending`.
    spoiled: Spoiled,
    /// The line at hand may have begun before; behind what, in words.
    adrift: Option<&'static str>,
    last_byte_at: Option<MonoMicros>,
    found: VecDeque<Frame>,
}

impl Delimited {
    pub(super) fn new(longest: usize) -> Self {
        Self {
            longest,
            pending: Vec::new(),
            blank: Vec::new(),
            in_broken_line: false,
            spoiled: Spoiled::default(),
            adrift: None,
            last_byte_at: None,
            found: VecDeque::new(),
        }
    }

    pub(super) fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        // Whoever wakes us may be late; what is old is old by the time of the bytes.
        self.give_up_on_old_bytes(now);
        self.push_read(now, bytes);
    }

    pub(super) fn push_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        let mut rest = bytes;
        while let Some(end) = rest.iter().position(|byte| is_terminator(*byte)) {
            let (text, from_terminator) = rest.split_at(end);
            let (terminator, after) = from_terminator.split_at(1);
            self.take_text(text);
            self.take_terminator(terminator);
            rest = after;
        }
        self.take_text(rest);
        self.note_time(now, bytes);
    }

    pub(super) fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        for byte in bytes {
            self.spoiled.note(self.pending.len(), *byte);
            self.take_text(std::slice::from_ref(byte));
        }
        self.note_time(now, bytes);
    }

    fn note_time(&mut self, now: MonoMicros, bytes: &[u8]) {
        if !bytes.is_empty() {
            let unfinished =
                !self.pending.is_empty() || self.in_broken_line || self.adrift.is_some();
            self.last_byte_at = unfinished.then_some(now);
        }
    }

    fn take_text(&mut self, mut text: &[u8]) {
        if !text.is_empty() {
            self.give_out_blank();
        }
        while !text.is_empty() {
            let room = CHUNK.saturating_sub(self.pending.len());
            let (fits, after) = text.split_at(room.min(text.len()));
            self.pending.extend_from_slice(fits);
            if self.pending.len() >= CHUNK {
                self.give_out_broken();
                self.in_broken_line = true;
            }
            text = after;
        }
    }

    fn take_terminator(&mut self, terminator: &[u8]) {
        if self.pending.is_empty() {
            self.in_broken_line = false;
            self.adrift = None;
            self.blank.extend_from_slice(terminator);
            if self.blank.len() >= CHUNK {
                self.give_out_blank();
            }
            return;
        }
        let sound = !self.in_broken_line && self.adrift.is_none() && self.spoiled.is_none();
        if sound && self.pending.len() <= self.longest {
            let body = self.pending.clone();
            let mut raw = std::mem::take(&mut self.pending);
            raw.extend_from_slice(terminator);
            self.found.push_back(Frame::Whole { body, raw });
        } else {
            self.pending.extend_from_slice(terminator);
            self.give_out_broken();
            self.in_broken_line = false;
            self.adrift = None;
        }
    }

    fn give_out_blank(&mut self) {
        if !self.blank.is_empty() {
            let raw = std::mem::take(&mut self.blank);
            self.found.push_back(Frame::Blank { raw });
        }
    }

    fn give_out_broken(&mut self) {
        if self.pending.is_empty() {
            return;
        }
        let raw = std::mem::take(&mut self.pending);
        let got = raw.len();
        let too_long = self.in_broken_line || got > self.longest;
        let reason = match self.spoiled.take(got) {
            Some(fault) => fault,
            None if let Some(behind) = self.adrift => DecodeError::MidFrame { got, behind },
            None if too_long => DecodeError::TooLong {
                got,
                most: self.longest,
            },
            None => DecodeError::CutShort { got },
        };
        self.found.push_back(Frame::Broken { raw, reason });
    }

    pub(super) fn end(&mut self) {
        self.give_out_blank();
        self.give_out_broken();
        self.in_broken_line = false;
        self.adrift = None;
        self.last_byte_at = None;
    }

    pub(super) fn lose(&mut self, now: MonoMicros, behind: &'static str) {
        self.give_out_blank();
        self.adrift = Some(behind);
        self.give_out_broken();
        self.last_byte_at = Some(now);
    }

    pub(super) fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        if self.gives_up_at().is_some_and(|at| at <= now) {
            self.end();
        }
    }

    pub(super) fn gives_up_at(&self) -> Option<MonoMicros> {
        let patience = self.adrift.map_or(PATIENCE, |_| FRAME_GAP);
        self.last_byte_at.map(|at| at.plus(patience))
    }

    pub(super) fn last_byte_at(&self) -> Option<MonoMicros> {
        self.last_byte_at
    }

    pub(super) fn poll(&mut self) -> Option<Frame> {
        self.found.pop_front()
    }
}

const fn is_terminator(byte: u8) -> bool {
    matches!(byte, b'\r' | b'\n')
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: MonoMicros = MonoMicros(5_000_000);

    fn frames(splitter: &mut Delimited) -> Vec<Frame> {
        std::iter::from_fn(|| splitter.poll()).collect()
    }

    fn whole(body: &[u8], raw: &[u8]) -> Frame {
        Frame::Whole {
            body: body.to_vec(),
            raw: raw.to_vec(),
        }
    }

    #[test]
    fn a_frame_is_out_at_its_first_terminator_byte() {
        let mut splitter = Delimited::new(8);
        splitter.push(START, b"+1.6");
        assert_eq!(frames(&mut splitter), []);
        splitter.push(START, b"3\r");
        assert_eq!(frames(&mut splitter), [whole(b"+1.63", b"+1.63\r")]);
        assert_eq!(splitter.gives_up_at(), None);
    }

    #[test]
    fn the_line_feed_after_a_carriage_return_is_blank_wherever_the_stream_is_cut() {
        for cut in 0..=10 {
            let mut splitter = Delimited::new(8);
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
        let mut splitter = Delimited::new(8);
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
        let mut splitter = Delimited::new(8);
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
        let mut splitter = Delimited::new(8);
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
        let mut splitter = Delimited::new(8);
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
        let mut splitter = Delimited::new(8);
        splitter.push_spoiled(START, &[0; 3 * CHUNK]);
        assert!(splitter.pending.is_empty());
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
            let mut splitter = Delimited::new(8);
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
            let mut splitter = Delimited::new(64);
            let mut seen = 0;
            for _ in 0..1024 {
                splitter.push(START, &[byte; 1024]);
                seen += frames(&mut splitter).len();
                assert!(splitter.pending.len() + splitter.blank.len() < CHUNK);
                assert!(splitter.pending.capacity() <= 2 * CHUNK);
            }
            assert_eq!(seen, 1024 * 1024 / CHUNK, "of 0x{byte:02x}");
        }
    }
}
