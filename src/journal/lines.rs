//! Reads the lines of a segment in order, and checks each against the line before.

use super::dir::{Dir, io_error};
use super::{JournalError, SegmentNumber};
use crate::entry::line::{Digest, LineError, decode, peek_seq, unknown_field};
use crate::entry::{Seq, Stamped};
use std::fmt;
use std::fs::File;
use std::io::{BufRead, BufReader, Read as _, Seek as _, SeekFrom};

/// Reads a segment line by line.
pub(super) struct Lines<'a> {
    dir: &'a Dir,
    number: SegmentNumber,
    reader: BufReader<&'a File>,
    /// The current line, without its newline.
    pub(super) bytes: Vec<u8>,
    /// Number of the line in the file, from 1.
    pub(super) line: u64,
    /// Offset of its first byte.
    pub(super) from: u64,
    end: u64,
}

/// What comes next in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NextLine {
    /// A line with its newline.
    Line,
    /// Bytes without a newline at the end.
    Unfinished,
    /// Nothing.
    End,
}

impl<'a> Lines<'a> {
    pub(super) fn new(dir: &'a Dir, number: SegmentNumber, file: &'a File) -> Self {
        Self {
            dir,
            number,
            reader: BufReader::with_capacity(128 * 1024, file),
            bytes: Vec::new(),
            line: 0,
            from: 0,
            end: 0,
        }
    }

    /// Reads the next line into `bytes`.
    pub(super) fn advance(&mut self) -> Result<NextLine, JournalError> {
        self.bytes.clear();
        self.from = self.end;
        self.line += 1;
        let read = self
            .reader
            .read_until(b'\n', &mut self.bytes)
            .map_err(|cause| {
                io_error("read", &self.dir.path_of(&self.number.file_name()), cause)
            })?;
        self.end += u64::try_from(read).unwrap_or(u64::MAX);
        Ok(if read == 0 {
            NextLine::End
        } else if self.bytes.pop_if(|byte| *byte == b'\n').is_some() {
            NextLine::Line
        } else {
            NextLine::Unfinished
        })
    }
}

/// Heading of a line that is no entry at all.
pub(super) const UNREADABLE: &str = "unreadable line";

/// A fault in a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    /// The entry that the fault is about.
    pub(super) seq: Seq,
    /// Whether the fault is in the line before the current one.
    pub(super) line_before: bool,
    /// Description, for a heading.
    pub(super) what: &'static str,
    /// What is there.
    pub(super) got: String,
    /// What is expected.
    pub(super) want: String,
    /// Set if a newer release may have written the line.
    pub(super) newer: Option<LineError>,
}

impl Fault {
    fn here(seq: Seq, what: &'static str, got: &dyn fmt::Display, want: &dyn fmt::Display) -> Self {
        Self {
            seq,
            line_before: false,
            what,
            got: got.to_string(),
            want: want.to_string(),
            newer: None,
        }
    }

    fn newer(seq: Seq, error: &LineError) -> Self {
        let want = "what this release knows";
        Self {
            newer: Some(error.clone()),
            ..Self::here(seq, "line of a newer release", error, &want)
        }
    }
}

/// The content of a line, found by any thread without the lines before it.
pub(crate) struct ParsedLine {
    /// The digest of the line.
    pub(crate) digest: Digest,
    /// Its entry, and the digest that it gives for the line before.
    pub(crate) decoded: Result<(Stamped, Digest), LineError>,
    /// What the line says beyond its entry.
    unknown: Option<LineError>,
}

impl ParsedLine {
    pub(super) fn of(line: &[u8]) -> Self {
        let decoded = decode(line);
        let known = decoded.as_ref().ok();
        Self {
            digest: Digest::of(line),
            unknown: known.and_then(|(stamped, prev)| unknown_field(line, stamped, *prev)),
            decoded,
        }
    }
}

/// What the next line must follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Chain {
    /// Entry of the last line; `None` if unknown.
    pub(super) last: Option<Seq>,
    /// Number that a fault names for the last line: the one that it has, or should have.
    pub(super) named: Option<Seq>,
    /// Digest of the last line; `None` if unknown.
    pub(super) prev: Option<Digest>,
    /// Whether the next number may be higher than expected: after accepted damage, numbers are skipped that lost
    /// entries may have had.
    pub(super) may_jump: bool,
}

impl Chain {
    /// The state before the first line of a journal.
    pub(super) const BEGINNING: Self = Self {
        last: None,
        named: None,
        prev: Some(Digest::NONE),
        may_jump: false,
    };

    /// Takes any line, by what it is parsed. Returns its entry, if it has one, and all faults.
    pub(super) fn follow(
        &mut self,
        number: SegmentNumber,
        line: u64,
        parsed: ParsedLine,
    ) -> (Option<Stamped>, Vec<Fault>) {
        let want = self.last.map_or(Seq::FIRST, Seq::following);
        let before = *self;
        *self = Self {
            last: Some(want),
            named: Some(want),
            prev: Some(parsed.digest),
            may_jump: false,
        };
        let (stamped, prev) = match parsed.decoded {
            Ok(decoded) => decoded,
            Err(error) => {
                let fault = if error.is_newer() {
                    Fault::newer(want, &error)
                } else {
                    Fault::here(want, UNREADABLE, &error, &"an entry")
                };
                return (None, vec![fault]);
            }
        };
        let mut faults = Vec::new();
        let seq = stamped.seq;
        self.last = Some(seq);
        let is_wrong = before.last.is_some() && seq != want && !(before.may_jump && seq > want);
        self.named = Some(if is_wrong { want } else { seq });
        if is_wrong {
            faults.push(Fault::here(want, "wrong number", &seq, &want));
        }
        if let Some(digest) = before.prev.filter(|digest| *digest != prev) {
            let of = before.named.unwrap_or(seq);
            let what = "line is not as it was when the next one was written";
            let mut fault = Fault::here(of, what, &digest, &prev);
            fault.line_before = before.named.is_some();
            faults.push(fault);
        }
        faults.extend(opening_fault(number, line, &stamped));
        faults.extend(parsed.unknown.map(|error| Fault::newer(seq, &error)));
        (Some(stamped), faults)
    }
}

/// A segment begins with `segment`, the first one with `begun`. Neither may be elsewhere.
fn opening_fault(number: SegmentNumber, line: u64, stamped: &Stamped) -> Option<Fault> {
    let want = match (line, number) {
        (1, SegmentNumber(1)) => "begun",
        (1, _) => "segment",
        _ => "",
    };
    let got = stamped.entry.kind();
    let opens = stamped.entry.opens().is_some();
    if line == 1 && got != want {
        return Some(Fault::here(
            stamped.seq,
            "wrong first entry of a segment",
            &got,
            &want,
        ));
    }
    if line != 1 && opens {
        return Some(Fault::here(
            stamped.seq,
            "segment begins in the middle of a file",
            &got,
            &"any other kind",
        ));
    }
    None
}

/// Number and digest of the last line of a segment, with or without its newline; `None` if the segment is empty. Only
/// that line is read.
pub(super) fn last_line(
    dir: &Dir,
    number: SegmentNumber,
) -> Result<Option<(Option<Seq>, Digest)>, JournalError> {
    let failed = |cause| io_error("read", &dir.path_of(&number.file_name()), cause);
    let mut file = dir.read(number)?;
    let len = file.metadata().map_err(failed)?.len();
    let mut bytes = Vec::new();
    let mut want = 4096;
    loop {
        let from = len.saturating_sub(want);
        bytes.clear();
        file.seek(SeekFrom::Start(from)).map_err(failed)?;
        (&file)
            .take(len - from)
            .read_to_end(&mut bytes)
            .map_err(failed)?;
        let whole = bytes.strip_suffix(b"\n").unwrap_or(&bytes);
        let newline = whole.iter().rposition(|byte| *byte == b'\n');
        if newline.is_some() || from == 0 {
            let line = newline.map_or(whole, |at| whole.get(at + 1..).unwrap_or_default());
            let seq = peek_seq(line);
            return Ok((!line.is_empty()).then(|| (seq, Digest::of(line))));
        }
        want *= 8;
    }
}
