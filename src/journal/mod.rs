//! Entries on disk: `state_dir/journal/NNNNNNNN.jsonl`, one line for each entry, append only.
//!
//! In: entries from the core, over a bounded channel. Out: [`Announcement`]s of lines that are on
//! disk, and [`Cursor`]s that read them back byte for byte.
//!
//! - Nothing is announced before it is synced.
//! - After a failed write or sync nothing is announced any more: a second sync can report success
//!   for bytes that the kernel has already thrown away.
//! - A line that was once announced is never changed.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: the journal is files and a thread"
)]

mod dir;
mod error;
#[cfg(test)]
mod failing;
mod follow;
mod lines;
mod lock;
mod reader;
mod recovery;
mod salvage;
mod thread;
mod times;
mod verify;
mod witness;
mod writer;

pub use dir::{Dir, SegmentNumber};
pub use error::{Damage, JournalError};
pub use follow::{DurableEnd, Follow, blocking};
pub use lock::StateLock;
pub use reader::{Cursor, Line};
pub use recovery::{Opened, Options, Torn, open, open_known};
pub use thread::{Announcement, Closed, DurableLine, Handle, NotTaken, spawn};
pub use verify::{Finding, Report, verify};
pub use witness::{RolledBack, Witness};
pub use writer::Writer;

use std::io;

/// A segment that is longer than this is full; the next entry it gets should be a `segment`.
pub const SEGMENT_BYTES: u64 = 16 * 1024 * 1024;

/// The folder of the journal inside `state_dir`.
pub const JOURNAL_FOLDER: &str = "journal";

/// The few things we ask of a disk; so few that a test can make each of them fail in turn.
pub trait Storage {
    /// An open segment.
    type File: Send;

    /// Makes a new segment, open for appending; an error if there is one of this number.
    fn create(&mut self, number: SegmentNumber) -> io::Result<Self::File>;

    /// Writes some of `bytes` at the end and says how many, as `write(2)` does.
    fn write(&mut self, file: &mut Self::File, bytes: &[u8]) -> io::Result<usize>;

    /// `fdatasync(2)`: what was written to the file is on disk, where the next start looks for it.
    fn sync_data(&mut self, file: &mut Self::File) -> io::Result<()>;

    /// Cuts the file to `len` bytes and makes that durable.
    fn cut(&mut self, file: &mut Self::File, len: u64) -> io::Result<()>;

    /// Makes the names of new and removed segments durable.
    fn sync_dir(&mut self) -> io::Result<()>;

    /// Removes a segment that holds nothing.
    fn remove(&mut self, number: SegmentNumber) -> io::Result<()>;
}
