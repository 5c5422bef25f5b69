//! Lines that were read together, so that several threads can work on them.
//!
//! In: an open segment, and what is known of it already. Out: a [`Block`] of whole lines with their numbers.
//!
//! - A line is never in two parts: a block grows to hold a line that is longer.

use super::dir::{Dir, io_error};
use super::reader::{len, read_at};
use super::{JournalError, SegmentNumber};
use crate::entry::Seq;
use std::fs::File;
use std::io;

/// A longer line was never written: it is a hole, or the file is something else.
const LONGEST_LINE: usize = 256 << 20;

/// A line, without its newline.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StoredLine<'b> {
    /// Number of the entry.
    pub seq: Seq,
    /// The line as stored.
    pub bytes: &'b [u8],
}

impl StoredLine<'_> {
    /// Size of the line in its segment, with the newline.
    pub fn stored_len(&self) -> u64 {
        len(self.bytes) + 1
    }
}

/// Lines that follow each other in one segment.
#[derive(Debug)]
pub struct Block {
    first: Seq,
    buffer: Vec<u8>,
    /// Number of its bytes that are whole lines with their newlines.
    end: usize,
    count: usize,
}

impl Block {
    /// The lines in the first `end` bytes of `buffer`, but at most this number of them.
    pub(super) fn new(first: Seq, buffer: Vec<u8>, end: usize, most: u64) -> Self {
        let most = usize::try_from(most).unwrap_or(usize::MAX);
        let newlines = || memchr::memchr_iter(b'\n', buffer.get(..end).unwrap_or_default());
        let count = newlines().count();
        let cut = (count > most).then(|| newlines().take(most).last());
        Self {
            first,
            end: cut.map_or(end, |last| last.map_or(0, |newline| newline + 1)),
            count: count.min(most),
            buffer,
        }
    }

    /// The lines with their numbers.
    pub fn lines(&self) -> impl Iterator<Item = StoredLine<'_>> {
        let mut next = self.first;
        self.texts().map(move |bytes| {
            let seq = next;
            next = seq.following();
            StoredLine { seq, bytes }
        })
    }

    /// The lines.
    pub(super) fn texts(&self) -> impl Iterator<Item = &[u8]> {
        let mut rest = self.bytes();
        std::iter::from_fn(move || {
            let (line, after) = rest.split_at_checked(memchr::memchr(b'\n', rest)?)?;
            rest = after.get(1..).unwrap_or_default();
            Some(line)
        })
    }

    /// Number of the last line; `None` if it has none.
    pub fn last(&self) -> Option<Seq> {
        let after = u64::try_from(self.count).ok()?.checked_sub(1)?;
        Some(Seq(self.first.0.saturating_add(after)))
    }

    /// Number of lines.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Size of the lines in their segment, with the newlines.
    pub fn stored_len(&self) -> u64 {
        len(self.bytes())
    }

    /// Its memory, for another block.
    pub fn into_buffer(self) -> Vec<u8> {
        self.buffer
    }

    fn bytes(&self) -> &[u8] {
        self.buffer.get(..self.end).unwrap_or_default()
    }

    /// What was read after the lines: the first `read` bytes of the buffer hold it.
    pub(super) fn rest(&self, read: usize) -> &[u8] {
        self.buffer.get(self.end..read).unwrap_or_default()
    }
}

/// The next part of segments that are read as a whole.
pub(super) enum Part {
    /// A segment begins.
    Begin(SegmentNumber),
    /// Lines of the segment, with numbers that count from 1.
    Lines(Block),
    /// The segment ends.
    End {
        /// Number of bytes that are whole lines.
        whole: u64,
        /// Number of bytes after the last newline.
        unfinished: u64,
        file: File,
    },
}

/// Segments, read from the first to the last.
pub(super) struct Parts<'d> {
    dir: &'d Dir,
    numbers: std::slice::Iter<'d, SegmentNumber>,
    open: Option<Reading>,
}

/// An open segment, read up to `at`, with the beginning of the line that follows.
struct Reading {
    number: SegmentNumber,
    file: File,
    at: u64,
    begun: Vec<u8>,
}

impl<'d> Parts<'d> {
    pub(super) fn new(dir: &'d Dir, numbers: &'d [SegmentNumber]) -> Self {
        Self {
            dir,
            numbers: numbers.iter(),
            open: None,
        }
    }

    /// The next part. Lines are read into `buffer`, as many as it has room for, and at least one.
    pub(super) fn next(&mut self, mut buffer: Vec<u8>) -> Result<Option<Part>, JournalError> {
        let Some(mut reading) = self.open.take() else {
            let Some(number) = self.numbers.next() else {
                return Ok(None);
            };
            self.open = Some(Reading {
                number: *number,
                file: self.dir.read(*number)?,
                at: 0,
                begun: Vec::new(),
            });
            return Ok(Some(Part::Begin(*number)));
        };
        let failed = |cause| {
            io_error(
                "read",
                &self.dir.path_of(&reading.number.file_name()),
                cause,
            )
        };
        let (end, read) =
            filled(&reading.file, reading.at, &reading.begun, &mut buffer).map_err(failed)?;
        if end == 0 {
            return Ok(Some(Part::End {
                whole: reading.at,
                unfinished: u64::try_from(read).unwrap_or(u64::MAX),
                file: reading.file,
            }));
        }
        let block = Block::new(Seq::FIRST, buffer, end, u64::MAX);
        reading.at += block.stored_len();
        reading.begun.clear();
        reading.begun.extend_from_slice(block.rest(read));
        self.open = Some(reading);
        Ok(Some(Part::Lines(block)))
    }
}

/// Fills `buffer` with the bytes of `file` from offset `at`, of which the first ones are `known`. It grows if it has no
/// room for a whole line. Returns the number of bytes that are whole lines, and of all that were read.
pub(super) fn filled(
    file: &File,
    at: u64,
    known: &[u8],
    buffer: &mut Vec<u8>,
) -> io::Result<(usize, usize)> {
    let least = known.len().max(1);
    if buffer.len() < least {
        buffer.resize(least, 0);
    }
    if let Some(beginning) = buffer.get_mut(..known.len()) {
        beginning.copy_from_slice(known);
    }
    let mut read = known.len();
    loop {
        let room = buffer.get_mut(read..).unwrap_or_default();
        let is_full = room.is_empty();
        let more = if is_full {
            0
        } else {
            let from = at + u64::try_from(read).unwrap_or(u64::MAX);
            read_at(file, room, from)?
        };
        read += more;
        if more > 0 {
            continue;
        }
        let newline = memchr::memrchr(b'\n', buffer.get(..read).unwrap_or_default());
        match newline {
            Some(newline) => return Ok((newline + 1, read)),
            None if is_full => grow(buffer)?,
            None => return Ok((0, read)),
        }
    }
}

/// Doubles the buffer for a line that is longer. A hole in a file, of which a line of zeros would be made, must not take
/// all memory, nor the memory that a 32-bit processor cannot address.
fn grow(buffer: &mut Vec<u8>) -> io::Result<()> {
    let longer = buffer.len().saturating_mul(2).min(LONGEST_LINE);
    if longer <= buffer.len() {
        return Err(io::Error::new(
            io::ErrorKind::InvalidData,
            format!("a line of more than {} MiB", LONGEST_LINE >> 20),
        ));
    }
    buffer.try_reserve_exact(longer - buffer.len())?;
    buffer.resize(longer, 0);
    Ok(())
}
