//! The write path: encode, one write, sync. Every sync says what it makes durable.
//!
//! In: entries in order. Out: their lines, once they are on disk.
//!
//! - All waiting entries are written with one write and one sync.
//! - The writer moves to a new segment only when its content and name are on disk.
//! - If the disk is full, the half-written line is cut off, and the writer continues from the last durable entry. Any
//!   other failure poisons the writer for good.

use super::{DurableLine, JournalError, SegmentNumber, StateLock, Storage};
use crate::entry::line::{self, Digest};
use crate::entry::{JournalId, Seq, Stamped};
use std::collections::VecDeque;
use std::io;
use std::sync::Arc;

/// The place where writing continues.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Position {
    /// The segment that is written to; the number before the first if there is none yet.
    pub(super) segment: SegmentNumber,
    /// Length of the segment in bytes.
    pub(super) segment_bytes: u64,
    /// Length of its first line, which holds the state.
    pub(super) opening_bytes: u64,
    /// The last entry.
    pub(super) last: Option<Seq>,
    /// Digest of the last entry's line.
    pub(super) prev: Digest,
}

/// How a journal is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Manner {
    /// `false` only for measuring the cost of syncing.
    pub(super) sync: bool,
    /// A longer segment is full, unless most of it is the state at its beginning. Otherwise a state that is longer than
    /// a segment would fill one segment after another.
    pub(super) segment_bytes_most: u64,
}

/// Writes at the end of a journal.
#[derive(Debug)]
pub struct Writer<S: Storage> {
    storage: S,
    /// `None` until the first entry creates the first segment.
    file: Option<S::File>,
    position: Position,
    manner: Manner,
    full_said: bool,
    poisoned_at: Option<Seq>,
    /// The lock, held as long as writing is possible; and the identity under which the end is noted in its file.
    lock: Option<(StateLock, Option<JournalId>)>,
}

impl<S: Storage> Writer<S> {
    /// Continues at `position` in `file`.
    pub(super) fn new(
        storage: S,
        file: Option<S::File>,
        position: Position,
        manner: Manner,
        lock: Option<StateLock>,
    ) -> Self {
        Self {
            storage,
            file,
            position,
            manner,
            full_said: false,
            poisoned_at: None,
            lock: lock.map(|lock| (lock, None)),
        }
    }

    /// Makes entries from the front of `waiting` durable and removes them from it: all, or those before the next one
    /// that begins a segment. Their lines are returned only when they are on disk.
    ///
    /// After an error `waiting` is unchanged. After [`JournalError::Full`] the journal ends where it ended before.
    /// After any other error the writer is poisoned for good.
    pub fn append(
        &mut self,
        waiting: &mut VecDeque<Stamped>,
    ) -> Result<Vec<DurableLine>, JournalError> {
        if let Some(first) = self.poisoned_at {
            return Err(JournalError::Poisoned { first });
        }
        let first = self.next();
        self.poisoned_at = Some(first); // Cleared only when every step has succeeded.
        let run = run_len(waiting);
        let opens = waiting.front().is_some_and(opens_segment);
        let (lines, bytes, prev) = self.encode(waiting.iter().take(run))?;
        let stored = if opens || self.file.is_none() {
            self.store_in_new_segment(&bytes, first)
        } else {
            self.store(&bytes, first)
        };
        if let Err(error) = stored {
            if matches!(error, JournalError::Full { .. }) {
                self.poisoned_at = None;
            }
            return Err(error);
        }
        self.poisoned_at = None;
        self.position.last = lines.last().map(|(seq, _)| *seq).or(self.position.last);
        self.position.prev = prev;
        if opens {
            self.note_end();
        }
        Ok(lines
            .into_iter()
            .zip(waiting.drain(..run))
            .map(|((seq, line), stamped)| DurableLine {
                seq,
                line,
                stamped: Arc::new(stamped),
            })
            .collect())
    }

    /// Notes the end of the journal in the lock file, now, with every new segment and at the end. A start that finds
    /// less knows that entries are lost.
    pub(super) fn note_end_of(&mut self, journal: &JournalId) {
        if let Some((_, name)) = &mut self.lock {
            *name = Some(journal.clone());
        }
        self.note_end();
    }

    pub(super) fn note_end(&self) {
        if let (Some((lock, Some(journal))), Some(tail)) = (&self.lock, self.tail()) {
            lock.note(journal, tail);
        }
    }

    /// For tests that make the storage fail.
    #[cfg(test)]
    pub(super) fn storage_mut(&mut self) -> &mut S {
        &mut self.storage
    }

    /// The number of the next entry.
    pub fn next(&self) -> Seq {
        self.position.last.map_or(Seq::FIRST, Seq::following)
    }

    /// The last entry on disk.
    pub fn last(&self) -> Option<Seq> {
        self.position.last
    }

    /// The last entry on disk and the digest of its line.
    pub fn tail(&self) -> Option<(Seq, Digest)> {
        self.position.last.map(|last| (last, self.position.prev))
    }

    /// Length of the current segment in bytes.
    pub fn segment_bytes(&self) -> u64 {
        self.position.segment_bytes
    }

    /// Whether the segment has exceeded its limit since the last call.
    pub(super) fn segment_is_newly_full(&mut self) -> bool {
        let most = self.manner.segment_bytes_most;
        let opening = self.position.opening_bytes;
        let full = self.position.segment_bytes >= most.max(opening.saturating_mul(2));
        full && !std::mem::replace(&mut self.full_said, true)
    }

    /// Reports a full segment again, because the requested `segment` entry may have been discarded.
    pub(super) fn say_full_again(&mut self) {
        self.full_said = false;
    }

    /// The lines of `entries` in one chunk with their newlines, and the digest of the last.
    #[expect(clippy::type_complexity, reason = "used once, just above")]
    fn encode<'a>(
        &self,
        entries: impl Iterator<Item = &'a Stamped>,
    ) -> Result<(Vec<(Seq, Arc<[u8]>)>, Vec<u8>, Digest), JournalError> {
        let mut lines = Vec::new();
        let mut bytes = Vec::new();
        let mut prev = self.position.prev;
        let mut want = self.next();
        for stamped in entries {
            if stamped.seq != want {
                let got = stamped.seq;
                return Err(JournalError::OutOfOrder { got, want });
            }
            let line = line::encode(stamped, prev);
            prev = Digest::of(&line);
            bytes.extend_from_slice(&line);
            bytes.push(b'\n');
            lines.push((want, Arc::from(line)));
            want = want.following();
        }
        Ok((lines, bytes, prev))
    }

    fn store(&mut self, bytes: &[u8], seq: Seq) -> Result<(), JournalError> {
        let Some(file) = self.file.as_mut() else {
            return self.store_in_new_segment(bytes, seq);
        };
        if let Err(cause) = write_all(&mut self.storage, file, bytes) {
            if !is_full(&cause) {
                return Err(JournalError::Write { seq, cause });
            }
            self.storage
                .cut(file, self.position.segment_bytes)
                .map_err(|cause| JournalError::Sync { seq, cause })?; // fsync: the half line is gone
            return Err(JournalError::Full { seq, cause });
        }
        if self.manner.sync {
            self.storage
                .sync_data(file)
                .map_err(|cause| JournalError::Sync { seq, cause })?; // fdatasync: the entries
        }
        self.position.segment_bytes += len(bytes);
        Ok(())
    }

    fn store_in_new_segment(&mut self, bytes: &[u8], seq: Seq) -> Result<(), JournalError> {
        let number = self.position.segment.following();
        let mut file = match self.storage.create(number) {
            Ok(file) => file,
            Err(cause) if is_full(&cause) => return Err(JournalError::Full { seq, cause }),
            Err(cause) => return Err(JournalError::Write { seq, cause }),
        };
        if let Err(cause) = write_all(&mut self.storage, &mut file, bytes) {
            if !is_full(&cause) {
                return Err(JournalError::Write { seq, cause });
            }
            self.storage
                .remove(number)
                .and_then(|()| self.storage.sync_dir()) // fsync: the new name is gone again
                .map_err(|cause| JournalError::Sync { seq, cause })?;
            return Err(JournalError::Full { seq, cause });
        }
        if self.manner.sync {
            self.storage
                .sync_data(&mut file) // fdatasync: the entries
                .and_then(|()| self.storage.sync_dir()) // fsync: the name of the new segment
                .map_err(|cause| JournalError::Sync { seq, cause })?;
        }
        self.file = Some(file);
        self.full_said = false;
        self.position.segment = number;
        self.position.segment_bytes = len(bytes);
        self.position.opening_bytes = first_line_len(bytes);
        Ok(())
    }
}

/// Length of the first line, with its newline.
fn first_line_len(bytes: &[u8]) -> u64 {
    bytes
        .split_inclusive(|byte| *byte == b'\n')
        .next()
        .map_or(0, len)
}

/// Number of entries at the front that go into the same file.
fn run_len(waiting: &VecDeque<Stamped>) -> usize {
    let others = waiting.iter().skip(1);
    1 + others.take_while(|entry| !opens_segment(entry)).count()
}

fn opens_segment(stamped: &Stamped) -> bool {
    stamped.entry.opens().is_some()
}

fn write_all<S: Storage>(storage: &mut S, file: &mut S::File, mut bytes: &[u8]) -> io::Result<()> {
    while !bytes.is_empty() {
        match storage.write(file, bytes) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(written) => bytes = bytes.get(written..).unwrap_or_default(),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

fn is_full(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded
    )
}

fn len(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}
