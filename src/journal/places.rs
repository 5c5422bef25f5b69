//! Reads single lines of segments at places that are known from elsewhere.
//!
//! In: a segment and an offset. Out: the line that begins there, which the caller checks: a place may be wrong.

use super::dir::{Dir, io_error};
use super::reader::read_at;
use super::{JournalError, SegmentNumber};
use std::fs::File;

/// Number of bytes that most lines fit into.
const LINE_BYTES: usize = 1024;

/// Lines at known places. The last segment stays open.
#[derive(Debug)]
pub struct Places<'d> {
    dir: &'d Dir,
    open: Option<(SegmentNumber, File)>,
    bytes: Vec<u8>,
}

impl<'d> Places<'d> {
    /// Places in the segments of this folder.
    pub const fn new(dir: &'d Dir) -> Self {
        Self {
            dir,
            open: None,
            bytes: Vec::new(),
        }
    }

    /// The line that begins at offset `at`, without its newline; `None` if none ends after it.
    pub fn line(&mut self, number: SegmentNumber, at: u64) -> Result<Option<&[u8]>, JournalError> {
        let file = match self.open.take_if(|(open, _)| *open == number) {
            Some((_, file)) => file,
            None => self.dir.read(number)?,
        };
        let (_, file) = self.open.insert((number, file));
        let mut room = LINE_BYTES;
        loop {
            self.bytes.resize(room, 0);
            let read = read_at(file, &mut self.bytes, at)
                .map_err(|cause| io_error("read", &self.dir.path_of(&number.file_name()), cause))?;
            let found = memchr::memchr(b'\n', self.bytes.get(..read).unwrap_or_default());
            if let Some(newline) = found {
                return Ok(self.bytes.get(..newline));
            }
            if read < room {
                return Ok(None);
            }
            room = room.saturating_mul(4);
        }
    }
}
