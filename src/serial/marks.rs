//! Separates bytes with line errors from good ones.
//!
//! In: what the terminal delivers, in any chunks. Out: [`ByteRun`]s. Their bytes joined are exactly what the hardware
//! received.
//!
//! The terminal is set to mark errors (`PARMRK`). A byte with a parity or framing error, or a break, arrives as `ff 00`
//! and the byte; a real `ff` arrives twice. Only this file undoes that. Later code knows a bad byte by the kind of its
//! run and never by its neighbours: a real `ff 00`, which a packed frame may contain, stays two good bytes.

/// Removes the marks from a stream that arrives in chunks.
#[derive(Debug, Default)]
pub struct Marks {
    state: State,
}

/// Bytes of one kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ByteRun {
    /// Bytes without errors.
    Sound(Vec<u8>),
    /// Bytes with an error of parity or framing, as received; a break is a 0.
    Spoiled(Vec<u8>),
}

#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
enum State {
    #[default]
    Plain,
    /// An `ff` came; the next byte decides what it means.
    Escape,
    /// `ff 00` came; the next byte is the one with an error.
    Spoiled,
}

impl ByteRun {
    /// The bytes of either kind.
    pub fn bytes(&self) -> &[u8] {
        match self {
            Self::Sound(bytes) | Self::Spoiled(bytes) => bytes,
        }
    }
}

impl Marks {
    /// The runs in a chunk.
    pub fn take(&mut self, chunk: &[u8]) -> Vec<ByteRun> {
        if self.state == State::Plain && !chunk.contains(&0xff) {
            let sound = (!chunk.is_empty()).then(|| ByteRun::Sound(chunk.to_vec()));
            return sound.into_iter().collect();
        }
        let mut runs = Vec::new();
        for byte in chunk {
            self.state = match (self.state, *byte) {
                (State::Plain, 0xff) => State::Escape,
                (State::Escape, 0x00) => State::Spoiled,
                (State::Spoiled, spoiled) => {
                    add_spoiled(&mut runs, spoiled);
                    State::Plain
                }
                (State::Escape, 0xff) => {
                    add_sound(&mut runs, 0xff);
                    State::Plain
                }
                // A terminal with marks never sends this; one without marks has sent both bytes.
                (State::Escape, other) => {
                    add_sound(&mut runs, 0xff);
                    add_sound(&mut runs, other);
                    State::Plain
                }
                (State::Plain, sound) => {
                    add_sound(&mut runs, sound);
                    State::Plain
                }
            };
        }
        runs
    }

    /// Returns what was held back at the end of the stream.
    pub fn end(&mut self) -> Option<ByteRun> {
        match std::mem::take(&mut self.state) {
            State::Plain => None,
            State::Escape => Some(ByteRun::Sound(vec![0xff])),
            State::Spoiled => Some(ByteRun::Sound(vec![0xff, 0x00])),
        }
    }
}

/// Adds the marks that a terminal would add to this run.
pub fn marked(run: &ByteRun) -> Vec<u8> {
    let mark = |byte: &u8| match run {
        ByteRun::Spoiled(_) => vec![0xff, 0x00, *byte],
        ByteRun::Sound(_) if *byte == 0xff => vec![0xff, 0xff],
        ByteRun::Sound(_) => vec![*byte],
    };
    run.bytes().iter().flat_map(mark).collect()
}

/// Removes the marks of a port.
///
/// A pseudo-terminal cannot carry line errors: it doubles every `ff` from its other end. If [`FAR_END_MARKS`] is set,
/// the other end writes marks itself. Those are removed after the terminal's own.
#[derive(Debug)]
pub(super) struct PortMarks {
    terminal: Marks,
    far_end: Option<Marks>,
}

/// Environment variable: programs that write into pseudo-terminals mark bad bytes. It is used by tests of wrong line
/// settings and for playing tapes.
const FAR_END_MARKS: &str = "TALLYJAW_PTY_MARKS";

/// Whether `TALLYJAW_PTY_MARKS=1`, so that the writer of a pseudo-terminal marks bad bytes as a terminal does; see
/// [`marked`].
pub fn far_end_marks() -> bool {
    std::env::var_os(FAR_END_MARKS).is_some_and(|value| value == "1")
}

impl PortMarks {
    pub(super) fn new(far_end_marks: bool) -> Self {
        Self {
            terminal: Marks::default(),
            far_end: far_end_marks.then(Marks::default),
        }
    }

    pub(super) fn far_end_marks(&self) -> bool {
        self.far_end.is_some()
    }

    pub(super) fn take(&mut self, chunk: &[u8]) -> Vec<ByteRun> {
        let runs = self.terminal.take(chunk);
        self.through_far_end(runs)
    }

    pub(super) fn end(&mut self) -> Vec<ByteRun> {
        let last = self.terminal.end();
        let mut runs = self.through_far_end(last);
        runs.extend(self.far_end.as_mut().and_then(Marks::end));
        runs
    }

    fn through_far_end(&mut self, runs: impl IntoIterator<Item = ByteRun>) -> Vec<ByteRun> {
        let Some(far_end) = &mut self.far_end else {
            return runs.into_iter().collect();
        };
        let each = |run| match run {
            ByteRun::Sound(bytes) => far_end.take(&bytes),
            ByteRun::Spoiled(bytes) => vec![ByteRun::Spoiled(bytes)],
        };
        runs.into_iter().flat_map(each).collect()
    }
}

fn add_sound(runs: &mut Vec<ByteRun>, byte: u8) {
    match runs.last_mut() {
        Some(ByteRun::Sound(bytes)) => bytes.push(byte),
        Some(ByteRun::Spoiled(_)) | None => runs.push(ByteRun::Sound(vec![byte])),
    }
}

fn add_spoiled(runs: &mut Vec<ByteRun>, byte: u8) {
    match runs.last_mut() {
        Some(ByteRun::Spoiled(bytes)) => bytes.push(byte),
        Some(ByteRun::Sound(_)) | None => runs.push(ByteRun::Spoiled(vec![byte])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The runs as a list of bytes with their kind.
    fn bytes_of(runs: impl IntoIterator<Item = ByteRun>) -> Vec<(u8, bool)> {
        let each = |run: ByteRun| {
            let spoiled = matches!(run, ByteRun::Spoiled(_));
            let bytes = run.bytes().to_vec();
            bytes.into_iter().map(move |byte| (byte, spoiled))
        };
        runs.into_iter().flat_map(each).collect()
    }

    /// The marks that a terminal adds, by termios(3).
    fn all_marked(sent: &[(u8, bool)]) -> Vec<u8> {
        let run = |(byte, spoiled): &(u8, bool)| match spoiled {
            true => ByteRun::Spoiled(vec![*byte]),
            false => ByteRun::Sound(vec![*byte]),
        };
        sent.iter().map(run).flat_map(|run| marked(&run)).collect()
    }

    proptest! {
        #[test]
        fn received_bytes_come_out_unchanged_wherever_the_stream_is_cut(
            sent in prop::collection::vec(
                (prop::sample::select(vec![0xff, 0x00, b'1', b'\r']), any::<bool>()),
                0..40,
            ),
            cut in 0usize..120,
        ) {
            let marked = all_marked(&sent);
            let (before, after) = marked.split_at(cut.min(marked.len()));
            let mut marks = Marks::default();
            let mut got = marks.take(before);
            got.extend(marks.take(after));
            got.extend(marks.end());
            prop_assert_eq!(bytes_of(got), sent);
        }
    }

    #[test]
    fn an_ff_and_a_zero_that_were_sent_are_no_mark() {
        let mut marks = Marks::default();
        let runs = marks.take(b"\xff\xff\xff\xff\x00\x00\x16\x32");
        assert_eq!(runs, [ByteRun::Sound(b"\xff\xff\x00\x00\x16\x32".to_vec())]);
    }

    #[test]
    fn marks_of_the_other_end_of_a_pseudo_terminal_count_only_where_it_is_said_to_mark() {
        let doubled = b"1\xff\xff\x002\xff\xff\xff\xff3";
        let mut unsaid = PortMarks::new(false);
        assert_eq!(
            unsaid.take(doubled),
            [ByteRun::Sound(b"1\xff\x002\xff\xff3".to_vec())]
        );
        let mut said = PortMarks::new(true);
        let want = [
            ByteRun::Sound(b"1".to_vec()),
            ByteRun::Spoiled(b"2".to_vec()),
            ByteRun::Sound(b"\xff3".to_vec()),
        ];
        assert_eq!(said.take(doubled), want);
        assert_eq!(said.take(b"\xff"), []);
        assert_eq!(said.end(), [ByteRun::Sound(b"\xff".to_vec())]);
    }

    #[test]
    fn spoiled_bytes_keep_their_place_and_their_value() {
        let mut marks = Marks::default();
        let runs = marks.take(b"+1\xff\x00.\xff\x00\xff63\r");
        let want = [
            ByteRun::Sound(b"+1".to_vec()),
            ByteRun::Spoiled(b".\xff".to_vec()),
            ByteRun::Sound(b"63\r".to_vec()),
        ];
        assert_eq!(runs, want);
    }

    #[test]
    fn what_was_begun_at_the_end_is_not_lost() {
        let mut marks = Marks::default();
        assert_eq!(marks.take(b"1\xff"), [ByteRun::Sound(b"1".to_vec())]);
        assert_eq!(marks.end(), Some(ByteRun::Sound(vec![0xff])));
        assert_eq!(marks.end(), None);
        assert_eq!(marks.take(b"\xff\x00"), []);
        assert_eq!(marks.end(), Some(ByteRun::Sound(vec![0xff, 0x00])));
    }
}
