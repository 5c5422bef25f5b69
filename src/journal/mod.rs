//! Entries on disk: `state_dir/journal/NNNNNNNN.jsonl`, one line for each entry, append only.
//!
//! In: entries from the core, over a bounded channel. Out: an [`Announcement`] for lines that are on disk, and
//! [`Cursor`]s that read them back byte for byte.
//!
//! - Nothing is announced before it is synced.
//! - After a failed write or sync nothing more is announced, because a second sync can report success for bytes that
//!   the kernel has already discarded.
//! - A line that was announced is never changed.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: the journal is files and a thread"
)]

mod block;
mod dir;
mod error;
#[cfg(test)]
mod failing;
#[cfg(target_os = "linux")]
mod follow;
mod identity;
mod lines;
mod lock;
mod places;
mod reader;
mod recovery;
mod salvage;
mod seals;
mod thread;
mod times;
mod trouble;
mod verify;
mod witness;
mod writer;

pub use block::{Block, StoredLine};
pub use dir::{Dir, SegmentNumber};
pub use error::{Damage, JournalError};
#[cfg(target_os = "linux")]
pub use follow::{DurableEnd, Follow, blocking};
pub use identity::Identity;
pub(crate) use lines::ParsedLine;
pub use lock::StateLock;
pub use places::Places;
pub use reader::{Cursor, Line};
pub use recovery::{Opened, Options, Torn, open, open_known};
pub use seals::{SEAL_EVERY, SealingKey, Seals, Trust};
pub use thread::{Announcement, Closed, DurableLine, Handle, NotTaken, spawn};
pub(crate) use verify::verify_with;
pub use verify::{Finding, Kept, Report, verify};
pub use witness::{RolledBack, Witness};
pub use writer::Writer;

use std::io;

/// A longer segment is full, and the core must give a `segment` entry next. A start reads a segment, and so does a
/// command that uses the index; each further one costs every such command a few file operations.
pub const SEGMENT_BYTES: u64 = 8 * 1024 * 1024;

/// Name of the journal's folder in `state_dir`.
pub const JOURNAL_FOLDER: &str = "journal";

/// The operations on a disk that the journal needs. They are few, so that a test can make each of them fail.
pub trait Storage {
    /// An open segment.
    type File: Send;

    /// Creates a new segment, open for appending. It must not exist.
    fn create(&mut self, number: SegmentNumber) -> io::Result<Self::File>;

    /// Appends some of `bytes` and returns how many, as `write(2)` does.
    fn write(&mut self, file: &mut Self::File, bytes: &[u8]) -> io::Result<usize>;

    /// Makes written data durable, as `fdatasync(2)`, in the place where the next start looks for it.
    fn sync_data(&mut self, file: &mut Self::File) -> io::Result<()>;

    /// Truncates the file to `len` bytes, durably.
    fn cut(&mut self, file: &mut Self::File, len: u64) -> io::Result<()>;

    /// Makes the names of new and removed segments durable.
    fn sync_dir(&mut self) -> io::Result<()>;

    /// Removes a segment without content.
    fn remove(&mut self, number: SegmentNumber) -> io::Result<()>;
}
