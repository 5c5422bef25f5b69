//! The durable end of a journal that is being written, and its followers.
//!
//! In: lines as they become durable. Out: for each follower, the lines after its own place in chunks, and then a wait
//! for more.
//!
//! - The newest lines are in memory, so a follower that keeps up reads no file. Older lines are read from the files on
//!   another thread.
//! - A follower that takes nothing is given nothing, and delays nobody.

use super::{Cursor, DurableLine, JournalError, Line};
use crate::entry::{Seq, Stamped};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// Number and total size of the lines in memory.
const HELD_LINES: usize = 1024;
const HELD_BYTES: usize = 1024 * 1024;

/// Approximate number of bytes that a follower is given at a time.
const CHUNK: usize = 64 * 1024;

/// The durable end of a journal.
#[derive(Debug)]
pub struct DurableEnd {
    state_dir: PathBuf,
    held: Mutex<Held>,
    changed: watch::Sender<()>,
}

/// The newest lines, without a gap up to `last`.
#[derive(Debug)]
struct Held {
    lines: VecDeque<Line>,
    bytes: usize,
    last: Seq,
}

impl DurableEnd {
    /// The end of the journal in `state_dir` after its durable entry `last`.
    pub fn new(state_dir: &Path, last: Seq) -> Self {
        Self {
            state_dir: state_dir.to_owned(),
            held: Mutex::new(Held {
                lines: VecDeque::new(),
                bytes: 0,
                last,
            }),
            changed: watch::Sender::new(()),
        }
    }

    /// Nothing can fail while the lock is held, so a poisoned lock still protects valid data.
    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Adds durable lines. [`DurableEnd::wake`] must be called afterwards to wake followers.
    pub fn add(&self, lines: &[DurableLine]) {
        let mut held = self.held();
        for DurableLine { seq, line, .. } in lines {
            held.last = *seq;
            held.bytes += line.len();
            held.lines.push_back(Line {
                seq: *seq,
                bytes: Arc::clone(line),
            });
        }
        while held.lines.len() > HELD_LINES || held.bytes > HELD_BYTES {
            let Some(line) = held.lines.pop_front() else {
                break;
            };
            held.bytes = held.bytes.saturating_sub(line.bytes.len());
        }
    }

    /// Wakes every follower, for new lines or for a notice.
    pub fn wake(&self) {
        self.changed.send_replace(());
    }

    /// The newest durable entry.
    pub fn last(&self) -> Seq {
        self.held().last
    }

    /// Folder that contains the journal.
    pub fn state_dir(&self) -> &Path {
        &self.state_dir
    }

    /// A follower that begins after entry `after`; `Seq(0)` for all entries.
    pub fn follow(self: &Arc<Self>, after: Seq) -> Follow {
        Follow {
            end: Arc::clone(self),
            changed: self.changed.subscribe(),
            after,
            cursor: None,
        }
    }

    fn next_after(&self, after: Seq) -> Next {
        let held = self.held();
        if after >= held.last {
            return Next::Nothing;
        }
        let oldest = held.lines.front().map(|line| line.seq);
        if oldest.is_none_or(|oldest| oldest > after.following()) {
            return Next::InFiles { durable: held.last };
        }
        let mut bytes = 0;
        let start = held.lines.partition_point(|line| line.seq <= after);
        let lines = held.lines.range(start..).take_while(|line| {
            let begins = bytes == 0;
            bytes += line.bytes.len() + 1;
            begins || bytes <= CHUNK
        });
        Next::Lines(lines.cloned().collect())
    }
}

/// Where the next lines are.
#[derive(Debug, PartialEq, Eq)]
enum Next {
    Lines(Vec<Line>),
    /// In the files only, up to `durable`.
    InFiles {
        durable: Seq,
    },
    Nothing,
}

/// A follower: a place in a journal that is being written.
#[derive(Debug)]
pub struct Follow {
    end: Arc<DurableEnd>,
    changed: watch::Receiver<()>,
    after: Seq,
    /// Kept while it reads files, so that its place need not be searched again.
    cursor: Option<Cursor>,
}

impl Follow {
    /// The last entry that was given out, or the one after which it began.
    pub const fn after(&self) -> Seq {
        self.after
    }

    /// The newest durable entry.
    pub fn newest(&self) -> Seq {
        self.end.last()
    }

    /// Moves after another entry.
    pub fn go_to(&mut self, after: Seq) {
        if after != self.after {
            self.after = after;
            self.cursor = None;
        }
    }

    /// Moves after everything that is durable now.
    pub fn skip_to_the_end(&mut self) {
        self.go_to(self.end.last());
    }

    /// The next durable lines; empty if there are none. If this is cancelled it starts again at the same place.
    pub async fn lines(&mut self) -> Result<Vec<Line>, JournalError> {
        self.changed.mark_unchanged();
        let lines = match self.end.next_after(self.after) {
            Next::Nothing => return Ok(Vec::new()),
            Next::Lines(lines) => {
                self.cursor = None;
                lines
            }
            Next::InFiles { durable } => self.read(durable).await?,
        };
        let Some(last) = lines.last() else {
            let seq = self.after.following();
            return Err(JournalError::Missing { seq });
        };
        self.after = last.seq;
        Ok(lines)
    }

    /// The entries in the next durable lines.
    pub async fn entries(&mut self) -> Result<Vec<Stamped>, JournalError> {
        let lines = self.lines().await?;
        lines.iter().map(Line::entry).collect()
    }

    /// Waits until new lines are durable.
    pub async fn changed(&mut self) {
        // The sender belongs to the same object, so it cannot be gone.
        let _ = self.changed.changed().await;
    }

    async fn read(&mut self, durable: Seq) -> Result<Vec<Line>, JournalError> {
        let (cursor, end, after) = (self.cursor.take(), Arc::clone(&self.end), self.after);
        let read = move || {
            let mut cursor = match cursor {
                Some(cursor) => cursor,
                None => Cursor::new(&end.state_dir, after)?,
            };
            let mut lines = Vec::new();
            let mut bytes = 0;
            while bytes < CHUNK
                && let Some(line) = cursor.next_line(durable)?
            {
                bytes += line.bytes.len() + 1;
                lines.push(line);
            }
            Ok::<_, JournalError>((cursor, lines))
        };
        let (cursor, lines) = blocking(read).await?;
        self.cursor = Some(cursor);
        Ok(lines)
    }
}

/// Runs work that may wait for a disk on another thread than that of ports and clients.
pub async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> T {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(_) => std::future::pending().await, // The runtime is stopping, and this task with it.
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{ClockStepped, Entry};
    use crate::quantity::WallMicros;

    fn line_of(seq: u64, text: &str) -> DurableLine {
        DurableLine {
            seq: Seq(seq),
            line: text.as_bytes().into(),
            stamped: Arc::new(Stamped {
                token: None,
                seq: Seq(seq),
                at: WallMicros(0),
                entry: Entry::from(ClockStepped { by_micros: 1 }),
            }),
        }
    }

    fn end() -> DurableEnd {
        DurableEnd::new(Path::new("nowhere"), Seq(10))
    }

    #[test]
    fn who_keeps_up_is_served_from_memory_and_who_is_behind_from_the_files() {
        let end = end();
        assert_eq!(end.next_after(Seq(10)), Next::Nothing);
        let in_files = |durable| Next::InFiles {
            durable: Seq(durable),
        };
        assert_eq!(end.next_after(Seq(9)), in_files(10));
        let (eleven, twelve) = ("e".repeat(CHUNK), "twelve".to_owned());
        end.add(&[line_of(11, &eleven), line_of(12, &twelve)]);
        let lines = |seq, text: &str| {
            let bytes = text.as_bytes().into();
            let seq = Seq(seq);
            Next::Lines(vec![Line { seq, bytes }])
        };
        assert_eq!(end.next_after(Seq(10)), lines(11, &eleven));
        assert_eq!(end.next_after(Seq(11)), lines(12, &twelve));
        assert_eq!(end.next_after(Seq(12)), Next::Nothing);
        assert_eq!(end.next_after(Seq(9)), in_files(12));
    }

    #[test]
    fn lines_are_handed_out_together_while_they_are_small() {
        let end = end();
        end.add(&[line_of(11, "eleven"), line_of(12, "twelve")]);
        let Next::Lines(lines) = end.next_after(Seq(10)) else {
            panic!("they are in memory");
        };
        let seqs: Vec<_> = lines.iter().map(|line| line.seq.0).collect();
        assert_eq!(seqs, [11, 12]);
    }

    #[test]
    fn memory_is_bounded_however_many_lines_there_are() {
        let end = end();
        for seq in 11..5_000 {
            end.add(&[line_of(seq, &"x".repeat(900))]);
        }
        let held = end.held();
        assert!(held.lines.len() <= HELD_LINES && held.bytes <= HELD_BYTES);
        assert_eq!(held.lines.back().map(|line| line.seq), Some(Seq(4_999)));
    }
}
