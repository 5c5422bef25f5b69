//! Distinguishes a closed segment from any other with a few reads, for files that are derived from it.

use super::dir::{Dir, io_error};
use super::lines::{Lines, NextLine, last_line};
use super::reader::{head, read_at};
use super::{JournalError, SegmentNumber};
use crate::entry::Seq;
use crate::entry::line::Digest;
use std::fmt;
use std::time::{Duration, SystemTime};

/// Number of bytes at the beginning that are compared. They hold the digest of the line before, and so name everything
/// that was written before the segment.
const HEAD_BYTES: usize = 4096;

/// The properties that distinguish a segment from any other.
///
/// This does not check the lines in between. The chain does, and only `verify` checks the chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    /// Size of the file.
    bytes: u64,
    /// When it was last written to, since 1970.
    modified: Duration,
    /// Number of the first entry.
    pub first: Seq,
    /// Digest of the first bytes.
    head: Digest,
    /// Number of the last entry.
    pub last: Seq,
    /// Digest of the last line.
    tail: Digest,
}

impl Identity {
    /// Size of the file.
    pub const fn bytes(&self) -> u64 {
        self.bytes
    }
}

impl fmt::Display for Identity {
    /// All properties as one word, which is equal for equal segments.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            bytes,
            modified,
            first,
            head,
            last,
            tail,
        } = self;
        let (seconds, nanoseconds) = (modified.as_secs(), modified.subsec_nanos());
        write!(
            f,
            "{bytes}-{seconds}.{nanoseconds}-{first}-{head}-{last}-{tail}"
        )
    }
}

impl Dir {
    /// Identity of a segment; `None` where its first or last line has no number.
    pub fn identity(&self, number: SegmentNumber) -> Result<Option<Identity>, JournalError> {
        let failed = |cause| io_error("read", &self.path_of(&number.file_name()), cause);
        let file = self.read(number)?;
        let found = file.metadata().map_err(failed)?;
        let modified = found.modified().map_err(failed)?;
        // A time before 1970 tells nothing apart, and was no time of a write.
        let modified = modified.duration_since(SystemTime::UNIX_EPOCH);
        let modified = modified.unwrap_or_default();
        let mut bytes = [0; HEAD_BYTES];
        let read = read_at(&file, &mut bytes, 0).map_err(failed)?;
        let first = head(&file, 0).map_err(failed)?;
        let last = last_line(self, number)?;
        let last = last.and_then(|(seq, digest)| Some((seq?, digest)));
        Ok(first.zip(last).map(|(first, (last, tail))| Identity {
            bytes: found.len(),
            modified,
            first,
            head: Digest::of(bytes.get(..read).unwrap_or_default()),
            last,
            tail,
        }))
    }

    /// Number of the first entry of a segment; `None` where its first line has none.
    pub fn first_of(&self, number: SegmentNumber) -> Result<Option<Seq>, JournalError> {
        let file = self.read(number)?;
        head(&file, 0).map_err(|cause| io_error("read", &self.path_of(&number.file_name()), cause))
    }

    /// Gives every line of a segment to `take`, until that returns `false`. Returns whether all were taken, and the last
    /// one had its newline.
    pub fn each_line(
        &self,
        number: SegmentNumber,
        mut take: impl FnMut(&[u8]) -> bool,
    ) -> Result<bool, JournalError> {
        let file = self.read(number)?;
        let mut lines = Lines::new(self, number, &file);
        loop {
            match lines.advance()? {
                NextLine::Line if take(&lines.bytes) => {}
                NextLine::Line | NextLine::Unfinished => return Ok(false),
                NextLine::End => return Ok(true),
            }
        }
    }
}
