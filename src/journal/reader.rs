//! Reads lines back, byte for byte, also while the journal is written.
//!
//! In: the number of the last known entry, and that of the last durable one. Out: the lines between them, as stored.
//!
//! - A line after the durable entry is never returned, not even from a buffer. After a full disk it may have been cut
//!   off and written differently.
//! - A damaged line is passed on as it is, so that the lines after it are not missed. Lines are counted, because a
//!   damaged line may have any number; each segment starts the count again.

use super::block::{Block, StoredLine, filled};
use super::dir::{Dir, io_error};
use super::{JOURNAL_FOLDER, JournalError, SegmentNumber};
use crate::entry::line::{decode, peek_seq};
use crate::entry::{Seq, Stamped};
use crate::system;
use std::fs::File;
use std::io;
use std::path::Path;
use std::sync::Arc;

/// Number of bytes of a line that are enough to read its number.
const HEAD_BYTES: usize = 4096;
/// Number of bytes that are read at a time.
const CHUNK_BYTES: usize = 64 * 1024;
/// A binary search stops when this number of bytes is left.
const SEARCHED_BYTES: u64 = 64 * 1024;

/// A line of the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Number of the entry.
    pub seq: Seq,
    /// The line as stored, without its newline.
    pub bytes: Arc<[u8]>,
}

impl Line {
    /// Parses the line. Its digest is not checked here.
    pub fn entry(&self) -> Result<Stamped, JournalError> {
        let seq = self.seq;
        let decoded = decode(&self.bytes).map_err(|cause| JournalError::NoEntry { seq, cause })?;
        Ok(decoded.0)
    }
}

impl From<StoredLine<'_>> for Line {
    fn from(line: StoredLine<'_>) -> Self {
        Self {
            seq: line.seq,
            bytes: line.bytes.into(),
        }
    }
}

/// A place in a journal from which lines are read.
#[derive(Debug)]
pub struct Cursor {
    dir: Dir,
    /// The first line to return.
    want: Seq,
    position: Option<Position>,
}

/// Beginning of a line in an open segment.
#[derive(Debug)]
struct Position {
    number: SegmentNumber,
    file: File,
    /// Offset of the line.
    at: u64,
    /// Number of the line's entry.
    here: Seq,
    /// Bytes from that offset on, as far as they were read.
    ahead: Vec<u8>,
    /// Number of these bytes that were consumed.
    used: usize,
    /// The durable entry when they were read. Later lines must be read again.
    trusted: Seq,
}

impl Cursor {
    /// Stands for a durable end at the last complete line, for a journal that nobody writes.
    pub const TO_THE_END: Seq = Seq(u64::MAX);

    /// A cursor after entry `after`; `Seq(0)` for all entries. Nothing is read yet.
    pub fn new(state_dir: &Path, after: Seq) -> Result<Self, JournalError> {
        Ok(Self {
            dir: Dir::open(&state_dir.join(JOURNAL_FOLDER))?,
            want: after.following(),
            position: None,
        })
    }

    /// The entry before the newest segment, which begins with the whole state; `Seq(0)` if there is only one segment.
    pub fn before_the_newest_segment(state_dir: &Path) -> Result<Seq, JournalError> {
        let dir = Dir::open(&state_dir.join(JOURNAL_FOLDER))?;
        let Some(number) = dir.segments()?.pop() else {
            return Ok(Seq(0));
        };
        let file = dir.read(number)?;
        let failed = |cause| io_error("read", &dir.path_of(&number.file_name()), cause);
        let first = head(&file, 0).map_err(failed)?.unwrap_or(Seq::FIRST);
        Ok(Seq(first.0.saturating_sub(1)))
    }

    /// Goes on at entry `first`, if it is not beyond it already. Nothing is read of the lines in between.
    pub fn skip_to(&mut self, first: Seq) -> Result<(), JournalError> {
        if first <= self.want {
            return Ok(());
        }
        self.want = first;
        let Some(position) = &mut self.position else {
            return Ok(());
        };
        let next = self.dir.first_of(position.number.following());
        if next.is_ok_and(|next| next.is_some_and(|next| next > first)) {
            let path = self.dir.path_of(&position.number.file_name());
            position.forget_ahead();
            return position
                .skip_towards(first)
                .map_err(|cause| io_error("read", &path, cause));
        }
        self.position = None;
        Ok(())
    }

    /// Number of bytes from here to the present end. Some of them may belong to lines that are already known.
    pub fn bytes_ahead(&mut self) -> Result<u64, JournalError> {
        if self.position.is_none() {
            self.position = find(&self.dir, self.want)?;
        }
        let Some(position) = &self.position else {
            return Ok(0);
        };
        let mut bytes = 0;
        for number in self.dir.segments()? {
            if number >= position.number {
                bytes += self.dir.bytes_of(number)?;
            }
        }
        Ok(bytes.saturating_sub(position.at))
    }

    /// The next line up to the `durable` entry; `None` if there is none. It never waits.
    pub fn next_line(&mut self, durable: Seq) -> Result<Option<Line>, JournalError> {
        if self.want > durable {
            if let Some(position) = self.position.as_mut() {
                position.forget_ahead();
            }
            return Ok(None);
        }
        if self.position.is_none() {
            self.position = find(&self.dir, self.want)?;
        }
        while let Some(position) = self.position.as_mut() {
            let seq = position.here;
            if seq > durable {
                break;
            }
            let number = position.number;
            let failed = |cause| io_error("read", &self.dir.path_of(&number.file_name()), cause);
            let wanted = seq >= self.want;
            match position.take_line(durable, wanted).map_err(failed)? {
                Some(bytes) if wanted => {
                    self.want = seq.following();
                    return Ok(Some(Line { seq, bytes }));
                }
                Some(_) => {}
                None => match position.following(&self.dir)? {
                    Some(following) => *position = following,
                    None => break,
                },
            }
        }
        Ok(None)
    }

    /// The next lines up to the `durable` entry, all of one segment; `None` if there are none. It never waits. They are
    /// read into `buffer`, as many as it has room for, and at least one.
    pub fn next_block(
        &mut self,
        durable: Seq,
        buffer: Vec<u8>,
    ) -> Result<Option<Block>, JournalError> {
        if self.want > durable {
            return Ok(None);
        }
        if self.position.is_none() {
            self.position = find(&self.dir, self.want)?;
        }
        let mut buffer = Some(buffer);
        while let Some(position) = self.position.as_mut() {
            let here = position.here;
            if here > durable {
                break;
            }
            let number = position.number;
            let failed = |cause| io_error("read", &self.dir.path_of(&number.file_name()), cause);
            let is_taken = if here < self.want {
                let skipped = position.take_line(durable, false);
                skipped.map_err(failed)?.is_some()
            } else {
                let into = buffer.take().unwrap_or_default();
                if let Some(block) = position.take_block(durable, into).map_err(failed)? {
                    self.want = position.here;
                    return Ok(Some(block));
                }
                false
            };
            if !is_taken {
                match position.following(&self.dir)? {
                    Some(following) => *position = following,
                    None => break,
                }
            }
        }
        Ok(None)
    }
}

impl Position {
    fn beginning(number: SegmentNumber, file: File, here: Seq) -> Self {
        Self {
            number,
            file,
            at: 0,
            here,
            ahead: Vec::new(),
            used: 0,
            trusted: Seq(0),
        }
    }

    /// Consumes the current line, if it is complete. Returns its bytes if they are `wanted`, otherwise none.
    fn take_line(&mut self, durable: Seq, wanted: bool) -> io::Result<Option<Arc<[u8]>>> {
        if self.here > self.trusted {
            self.forget_ahead();
        }
        let mut searched = self.used;
        loop {
            let unsearched = self.ahead.get(searched..).unwrap_or_default();
            if let Some(found) = memchr::memchr(b'\n', unsearched) {
                let end = searched + found;
                let line = self.ahead.get(self.used..end).unwrap_or_default();
                self.at += len(line) + 1;
                let line = if wanted { line.into() } else { Arc::default() };
                self.used = end + 1;
                self.here = self.here.following();
                return Ok(Some(line));
            }
            self.ahead.drain(..self.used);
            self.used = 0;
            searched = self.ahead.len();
            if !self.read_ahead(durable)? {
                return Ok(None);
            }
        }
    }

    /// Consumes the lines from here to the `durable` entry that fit into `buffer`, and at least one.
    fn take_block(&mut self, durable: Seq, mut buffer: Vec<u8>) -> io::Result<Option<Block>> {
        if self.here > self.trusted {
            self.forget_ahead();
        }
        if self.ahead.is_empty() {
            self.trusted = durable;
        }
        let known = self.ahead.get(self.used..).unwrap_or_default();
        let (end, read) = filled(&self.file, self.at, known, &mut buffer)?;
        let most = durable.0.saturating_sub(self.here.0).saturating_add(1);
        let block = Block::new(self.here, buffer, end, most);
        self.ahead.clear();
        self.ahead.extend_from_slice(block.rest(read));
        self.used = 0;
        self.at += block.stored_len();
        let count = u64::try_from(block.count()).unwrap_or(u64::MAX);
        self.here = Seq(self.here.0.saturating_add(count));
        Ok((count > 0).then_some(block))
    }

    /// Reads more bytes. Returns whether there were any.
    fn read_ahead(&mut self, durable: Seq) -> io::Result<bool> {
        if self.ahead.is_empty() {
            self.trusted = durable;
        }
        let known = self.ahead.len();
        self.ahead.resize(known + CHUNK_BYTES, 0);
        let from = self.at + u64::try_from(known).unwrap_or(u64::MAX);
        let result = read_at(
            &self.file,
            self.ahead.get_mut(known..).unwrap_or_default(),
            from,
        );
        self.ahead.truncate(known + result.as_ref().unwrap_or(&0));
        Ok(result? > 0)
    }

    fn forget_ahead(&mut self) {
        self.ahead = Vec::new(); // Frees the memory, because most cursors wait most of the time.
        self.used = 0;
    }

    /// Beginning of the next segment, if it has a complete line and nothing was added to this one meanwhile.
    fn following(&self, dir: &Dir) -> Result<Option<Self>, JournalError> {
        let number = self.number.following();
        let file = match dir.read(number) {
            Ok(file) => file,
            Err(JournalError::Io(failed)) if failed.cause.kind() == io::ErrorKind::NotFound => {
                return Ok(None);
            }
            Err(error) => return Err(error),
        };
        let failed = |cause| io_error("read", &dir.path_of(&number.file_name()), cause);
        let mut more = [0];
        let from = self.at + len(&self.ahead);
        if read_at(&self.file, &mut more, from).map_err(failed)? > 0 {
            return Ok(None);
        }
        let said = head(&file, 0).map_err(failed)?;
        let here = said.filter(|seq| *seq >= self.here).unwrap_or(self.here);
        let mut position = Self::beginning(number, file, here);
        position.read_ahead(Seq(0)).map_err(failed)?;
        let complete = position.ahead.contains(&b'\n') || position.ahead.len() == CHUNK_BYTES;
        position.forget_ahead();
        Ok(complete.then_some(position))
    }
}

/// A place at or shortly before the line `want`; `None` in an empty journal.
fn find(dir: &Dir, want: Seq) -> Result<Option<Position>, JournalError> {
    let numbers = dir.segments()?;
    let Some(first) = numbers.first() else {
        return Ok(None);
    };
    let open = |number: SegmentNumber| {
        let file = dir.read(number)?;
        let said = head(&file, 0)
            .map_err(|cause| io_error("read", &dir.path_of(&number.file_name()), cause))?;
        Ok::<_, JournalError>((number, file, said))
    };
    let (mut number, mut file, said) = open(*first)?;
    let mut here = said.unwrap_or(Seq::FIRST);
    let mut left = numbers.get(1..).unwrap_or_default();
    // Invariant: the line is in the current segment or in one of those that are left.
    while !left.is_empty() {
        let (lower, upper) = left.split_at(left.len() / 2);
        let Some((middle, above)) = upper.split_first() else {
            break;
        };
        let opened = open(*middle)?;
        match opened.2 {
            Some(seq) if seq <= want => {
                (number, file, here) = (opened.0, opened.1, seq);
                left = above;
            }
            Some(_) | None => left = lower, // A line whose head is damaged is reached by reading on.
        }
    }
    let mut position = Position::beginning(number, file, here);
    position
        .skip_towards(want)
        .map_err(|cause| io_error("read", &dir.path_of(&number.file_name()), cause))?;
    Ok(Some(position))
}

impl Position {
    /// Halves the rest of the segment until it is short enough to read.
    fn skip_towards(&mut self, want: Seq) -> io::Result<()> {
        let mut end = self.file.metadata()?.len();
        while end.saturating_sub(self.at) > SEARCHED_BYTES {
            let middle = self.at + (end - self.at) / 2;
            let line = line_after(&self.file, middle, end)?;
            let said = match line {
                Some(at) => head(&self.file, at)?.map(|seq| (at, seq)),
                None => None,
            };
            match said {
                Some((at, seq)) if seq <= want && seq >= self.here => {
                    (self.at, self.here) = (at, seq);
                }
                Some(_) | None => end = middle,
            }
        }
        Ok(())
    }
}

/// Offset of the first line that begins between `from` and `end`.
fn line_after(file: &File, from: u64, end: u64) -> io::Result<Option<u64>> {
    let mut chunk = [0; HEAD_BYTES];
    let mut at = from;
    while at < end {
        let read = read_at(file, &mut chunk, at)?;
        let bytes = chunk.get(..read).unwrap_or_default();
        if let Some(found) = bytes.iter().position(|byte| *byte == b'\n') {
            let line = at + u64::try_from(found).unwrap_or(u64::MAX) + 1;
            return Ok((line < end).then_some(line));
        }
        if read == 0 {
            return Ok(None);
        }
        at += len(bytes);
    }
    Ok(None)
}

/// Number in the line at offset `at`.
pub(super) fn head(file: &File, at: u64) -> io::Result<Option<Seq>> {
    let mut chunk = [0; HEAD_BYTES];
    let read = read_at(file, &mut chunk, at)?;
    Ok(peek_seq(chunk.get(..read).unwrap_or_default()))
}

/// One read, repeated if a signal interrupts it.
pub(super) fn read_at(file: &File, buffer: &mut [u8], at: u64) -> io::Result<usize> {
    loop {
        match system::read_at(file, buffer, at) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

pub(super) fn len(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}
