//! Frames of a fixed length, without a terminator, parted by silence.
//!
//! In: bytes and when they came. Out: frames, in order; their raw bytes, joined, are the input.
//!
//! - A frame is what came between two silences, if it has the right length. It is out only after the
//!   second of them: with a byte of noise before it, or at the wrong speed, the first so many bytes
//!   of a burst are as good as any others, and a word of 24 bits has next to nothing to check.
//! - Joined in the middle of a frame, the chunk is too short to pass for one; adrift, when it is not
//!   known what came before, a burst is none whatever its length.
//! - No more than [`CHUNK`] bytes are ever kept.

use super::Frame;
use super::spoiled::Spoiled;
use crate::decode::DecodeError;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;
use std::time::Duration;

/// Silence this long parts two frames. A USB adapter hands bytes on every 16 ms at the slowest
/// (its latency timer), and instruments send thirty frames a second at the most.
pub const GAP: Duration = Duration::from_millis(20);

/// Bytes without meaning are given out in chunks of at most so many.
const CHUNK: usize = 4096;

/// A splitter at silence.
#[derive(Debug)]
pub struct IdleGap {
    length: usize,
    /// What came since the last silence and is not given out.
    pending: Vec<u8>,
    /// Of those in `pending`.
    spoiled: Spoiled,
    /// A chunk of the burst at hand is already given out as broken.
    in_broken_burst: bool,
    /// The burst at hand may have begun before; behind what, in words.
    adrift: Option<&'static str>,
    last_byte_at: Option<MonoMicros>,
    found: VecDeque<Frame>,
}

impl IdleGap {
    pub(super) fn new(length: usize) -> Self {
        Self {
            length,
            pending: Vec::new(),
            spoiled: Spoiled::default(),
            in_broken_burst: false,
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
        while !rest.is_empty() {
            let room = CHUNK.saturating_sub(self.pending.len());
            let (fits, after) = rest.split_at(room.min(rest.len()));
            self.pending.extend_from_slice(fits);
            self.give_out_full_chunk();
            rest = after;
        }
        self.note_time(now, bytes);
    }

    pub(super) fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        for byte in bytes {
            self.spoiled.note(self.pending.len(), *byte);
            self.pending.push(*byte);
            self.give_out_full_chunk();
        }
        self.note_time(now, bytes);
    }

    fn note_time(&mut self, now: MonoMicros, bytes: &[u8]) {
        if !bytes.is_empty() {
            self.last_byte_at = Some(now);
        }
    }

    fn give_out_full_chunk(&mut self) {
        if self.pending.len() >= CHUNK {
            self.in_broken_burst = true;
            self.give_out();
        }
    }

    /// What is in hand: a frame, or bytes that are none.
    fn give_out(&mut self) {
        if self.pending.is_empty() {
            return;
        }
        let raw = std::mem::take(&mut self.pending);
        let got = raw.len();
        let fault = match self.spoiled.take(got) {
            Some(fault) => Some(fault),
            None if let Some(behind) = self.adrift => Some(DecodeError::MidFrame { got, behind }),
            None if self.in_broken_burst || got > self.length => Some(DecodeError::TooLong {
                got,
                most: self.length,
            }),
            None if got < self.length => Some(DecodeError::CutShort { got }),
            None => None,
        };
        self.found.push_back(match fault {
            Some(reason) => Frame::Broken { raw, reason },
            None => Frame::Whole {
                body: raw.clone(),
                raw,
            },
        });
    }

    pub(super) fn end(&mut self) {
        self.give_out();
        self.in_broken_burst = false;
        self.adrift = None;
        self.last_byte_at = None;
    }

    pub(super) fn lose(&mut self, now: MonoMicros, behind: &'static str) {
        self.adrift = Some(behind);
        self.give_out();
        self.last_byte_at = Some(now);
    }

    pub(super) fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        if self.last_byte_at.is_some_and(|at| at.plus(GAP) <= now) {
            self.end();
        }
    }

    /// Only bytes in hand are worth waking for; the silence after others is seen at the next byte.
    pub(super) fn gives_up_at(&self) -> Option<MonoMicros> {
        if self.pending.is_empty() {
            None
        } else {
            self.last_byte_at.map(|at| at.plus(GAP))
        }
    }

    pub(super) fn last_byte_at(&self) -> Option<MonoMicros> {
        self.last_byte_at
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
    fn a_frame_is_out_when_it_is_still_after_its_last_byte_however_it_was_cut() {
        let mut splitter = IdleGap::new(3);
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
        let mut splitter = IdleGap::new(3);
        splitter.push(START, b"abc");
        splitter.push(after(1), b"d");
        assert_eq!(frames(&mut splitter), [whole(b"abc")]);
        splitter.push(after(1), b"ef");
        splitter.end();
        assert_eq!(frames(&mut splitter), [whole(b"def")]);
    }

    #[test]
    fn joined_in_the_middle_of_a_frame_it_finds_the_next() {
        let mut splitter = IdleGap::new(3);
        splitter.push(START, b"c");
        splitter.push(after(1), b"abc");
        splitter.end();
        let cut_short = broken(b"c", DecodeError::CutShort { got: 1 });
        assert_eq!(frames(&mut splitter), [cut_short, whole(b"abc")]);
    }

    #[test]
    fn no_part_of_a_burst_that_is_too_long_is_a_frame() {
        for length in [4, 6, 7, CHUNK, CHUNK + 1, CHUNK + 3, 3 * CHUNK] {
            let mut splitter = IdleGap::new(3);
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
        let mut splitter = IdleGap::new(3);
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
        let mut splitter = IdleGap::new(3);
        for _ in 0..1024 {
            splitter.push(START, &[0; 1000]);
            splitter.push_spoiled(START, &[0; 24]);
            frames(&mut splitter);
            assert!(splitter.pending.len() < CHUNK);
            assert!(splitter.pending.capacity() <= 2 * CHUNK);
        }
    }
}
