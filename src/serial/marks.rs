//! Bytes that the line spoiled, told from those that it did not.
//!
//! The terminal is set to mark them (`PARMRK`): a byte with a parity or framing error, or a break,
//! comes as `ff 00` and the byte; an `ff` that was really sent comes twice. In here the second `ff`
//! is taken out again and the marks are left in: no text format has an `ff`, so no value is ever
//! read from a spoiled byte, and it is there to see in the `unread` entry. (An `ff` and a `00` that
//! were really sent look like a mark; a binary format would have to be told the difference.)

/// Takes doubled `ff` out of a stream that comes in pieces.
#[derive(Debug, Default)]
pub(super) struct Marks {
    state: State,
}

#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
enum State {
    #[default]
    Plain,
    /// An `ff` came; the next byte says what it is.
    Escape,
    /// `ff 00` came; the next byte is the spoiled one.
    Spoiled,
}

impl Marks {
    /// The bytes of a piece as they were sent.
    pub(super) fn take(&mut self, piece: &[u8]) -> Vec<u8> {
        if self.state == State::Plain && !piece.contains(&0xff) {
            return piece.to_vec();
        }
        let mut sent = Vec::with_capacity(piece.len() + 1);
        for byte in piece {
            self.state = match (self.state, *byte) {
                (State::Plain, 0xff) => State::Escape,
                (State::Escape, 0x00) => {
                    sent.extend_from_slice(&[0xff, 0x00]);
                    State::Spoiled
                }
                (State::Escape, 0xff) => {
                    sent.push(0xff);
                    State::Plain
                }
                (State::Escape, other) => {
                    sent.extend_from_slice(&[0xff, other]);
                    State::Plain
                }
                (State::Plain | State::Spoiled, other) => {
                    sent.push(other);
                    State::Plain
                }
            };
        }
        sent
    }

    /// The stream is over: what was kept to see what follows.
    pub(super) fn end(&mut self) -> Option<u8> {
        let kept = self.state == State::Escape;
        self.state = State::Plain;
        kept.then_some(0xff)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doubled_ff_is_one_and_a_mark_stays_wherever_the_stream_is_cut() {
        let marked = b"1\xff\xff2\xff\x003\xff\x00\xff4\xff\xff\x005";
        let sent = b"1\xff2\xff\x003\xff\x00\xff4\xff\x005";
        for cut in 0..=marked.len() {
            let mut marks = Marks::default();
            let (before, after) = marked.split_at(cut);
            let mut got = marks.take(before);
            got.extend(marks.take(after));
            got.extend(marks.end());
            assert_eq!(got, sent, "cut at {cut}");
        }
    }

    #[test]
    fn a_last_ff_is_not_lost() {
        let mut marks = Marks::default();
        assert_eq!(marks.take(b"1\xff"), b"1");
        assert_eq!(marks.end(), Some(0xff));
        assert_eq!(marks.end(), None);
    }
}
