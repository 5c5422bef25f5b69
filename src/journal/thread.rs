//! The thread that owns the file. It takes waiting entries, makes them durable, and announces them afterwards.
//!
//! In: entries over a bounded channel. Out: [`Announcement`]s in order. If the disk is full it discards waiting
//! entries, announces how many, and continues when the daemon says so. After any other failure it announces nothing
//! more.

use super::{JournalError, Storage, Writer};
use crate::entry::{Seq, Stamped};
use crossbeam_channel::{Receiver, Sender, TrySendError};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Maximum number of entries that may wait for the disk.
const WAITING_MOST: usize = 1024;

/// A message from the journal to the daemon.
#[derive(Debug, Clone)]
pub enum Announcement {
    /// These lines are on disk.
    Durable {
        /// At least one line, in order.
        lines: Vec<DurableLine>,
        /// Time for writing and syncing them.
        took: Duration,
        /// Length of their segment in bytes.
        segment_bytes: u64,
        /// Whether the segment has just exceeded its limit, so that the core must be given `SegmentFull`. It is set
        /// once for each segment, and again after [`Announcement::Resumed`].
        segment_full: bool,
    },
    /// The disk is full. Waiting and new entries are discarded until [`Handle::resume`]. Writing must then begin again
    /// with the entry `first_lost`.
    Full {
        /// Error of the system.
        error: String,
        /// The first entry that is not on disk.
        first_lost: Seq,
        /// Number of entries discarded so far.
        entries_lost: u64,
    },
    /// The journal accepts entries again. Entries appended before [`Handle::resume`] are not written.
    Resumed {
        /// Total number of entries discarded since [`Announcement::Full`].
        entries_lost: u64,
    },
    /// A write or sync failed for good. Nothing is announced after this.
    Failed {
        /// Error of the system.
        error: String,
        /// The first entry that may not be on disk.
        first_lost: Seq,
        /// Number of entries that may not be on disk.
        entries_lost: u64,
    },
}

/// A durable line.
#[derive(Debug, Clone)]
pub struct DurableLine {
    /// Number of the entry.
    pub seq: Seq,
    /// The line as stored, without its newline.
    pub line: Arc<[u8]>,
    /// The entry in the line.
    pub stamped: Arc<Stamped>,
}

/// Why an entry was not accepted.
#[derive(Debug, thiserror::Error)]
pub enum NotTaken {
    /// Too many entries are waiting. The entry is given back.
    #[error("the journal is behind: {WAITING_MOST} entries wait for the disk")]
    NoRoom(Box<Stamped>),
    /// The journal has failed.
    #[error("the journal has failed at entry {first}")]
    Failed {
        /// The first entry that may not be on disk.
        first: Seq,
    },
    /// The thread has ended.
    #[error("the journal's thread has ended")]
    Ended,
}

/// Final numbers of the thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closed {
    /// The last entry on disk.
    pub last: Option<Seq>,
    /// Number of accepted entries that are not on disk.
    pub entries_lost: u64,
}

/// A message to the thread.
#[derive(Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "nearly all are entries; a box for each would be one allocation more"
)]
enum Message {
    Append(Stamped),
    Resume,
}

/// The daemon's handle of the journal's thread. Dropping it waits for entries on their way.
#[derive(Debug)]
pub struct Handle {
    sender: Option<Sender<Message>>,
    thread: Option<JoinHandle<Closed>>,
    /// The first entry that was lost for good; 0 if none was.
    failed_at: Arc<AtomicU64>,
}

/// Starts the thread. It calls `announce` in the order of the journal, and waits for each call.
pub fn spawn<S>(writer: Writer<S>, announce: impl FnMut(Announcement) + Send + 'static) -> Handle
where
    S: Storage + Send + 'static,
{
    let (sender, receiver) = crossbeam_channel::bounded(WAITING_MOST);
    let failed_at = Arc::new(AtomicU64::new(0));
    let task = Task {
        writer,
        announce,
        receiver,
        failed_at: Arc::clone(&failed_at),
        entries_lost: 0,
        mode: Mode::Writing,
    };
    Handle {
        sender: Some(sender),
        thread: Some(std::thread::spawn(move || task.run())),
        failed_at,
    }
}

impl Handle {
    /// Passes an entry to the thread. Waits while too many are waiting.
    pub fn append(&self, stamped: Stamped) -> Result<(), NotTaken> {
        let sender = self.sender()?;
        sender
            .send(Message::Append(stamped))
            .map_err(|_| NotTaken::Ended)
    }

    /// Passes an entry to the thread, or gives it back if too many are waiting.
    pub fn try_append(&self, stamped: Stamped) -> Result<(), NotTaken> {
        match self.sender()?.try_send(Message::Append(stamped)) {
            Ok(()) => Ok(()),
            Err(TrySendError::Full(Message::Append(stamped))) => {
                Err(NotTaken::NoRoom(Box::new(stamped)))
            }
            Err(TrySendError::Full(Message::Resume) | TrySendError::Disconnected(_)) => {
                Err(NotTaken::Ended)
            }
        }
    }

    /// Number of entries that [`Handle::append`] accepts without waiting.
    pub fn room(&self) -> usize {
        self.sender
            .as_ref()
            .map_or(0, |sender| WAITING_MOST.saturating_sub(sender.len()))
    }

    /// Number of entries that wait to be written.
    pub fn waiting(&self) -> usize {
        self.sender.as_ref().map_or(0, Sender::len)
    }

    /// Tries again after [`Announcement::Full`]. Entries appended from now on are written. The first must be the first
    /// that was lost.
    pub fn resume(&self) -> Result<(), NotTaken> {
        self.sender()?
            .send(Message::Resume)
            .map_err(|_| NotTaken::Ended)
    }

    /// Writes and announces waiting entries, and ends the thread. `None` if the thread has panicked.
    pub fn shutdown(mut self) -> Option<Closed> {
        self.join()
    }

    fn sender(&self) -> Result<&Sender<Message>, NotTaken> {
        match self.failed_at.load(Ordering::SeqCst) {
            0 => self.sender.as_ref().ok_or(NotTaken::Ended),
            first => Err(NotTaken::Failed { first: Seq(first) }),
        }
    }

    fn join(&mut self) -> Option<Closed> {
        drop(self.sender.take()); // Ends the loop of the thread, once it has taken the waiting entries.
        self.thread.take()?.join().ok()
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.join();
    }
}

/// What is done with an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mode {
    /// Entries are written.
    Writing,
    /// Entries are discarded until there may be room again.
    Full,
    /// Entries are discarded.
    Failed,
}

/// The data of the thread.
struct Task<S: Storage, A> {
    writer: Writer<S>,
    announce: A,
    receiver: Receiver<Message>,
    failed_at: Arc<AtomicU64>,
    entries_lost: u64,
    mode: Mode,
}

impl<S: Storage, A: FnMut(Announcement)> Task<S, A> {
    fn run(mut self) -> Closed {
        let mut waiting = VecDeque::new();
        while let Ok(message) = self.receiver.recv() {
            self.take(message, &mut waiting);
            while waiting.len() < WAITING_MOST
                && let Ok(message) = self.receiver.try_recv()
            {
                self.take(message, &mut waiting);
            }
            self.write(&mut waiting);
        }
        self.writer.note_end();
        Closed {
            last: self.writer.last(),
            entries_lost: self.entries_lost,
        }
    }

    fn take(&mut self, message: Message, waiting: &mut VecDeque<Stamped>) {
        match (message, self.mode) {
            (Message::Append(stamped), Mode::Writing) => waiting.push_back(stamped),
            (Message::Append(_), Mode::Full | Mode::Failed) => {
                self.entries_lost = self.entries_lost.saturating_add(1);
            }
            (Message::Resume, Mode::Full) => {
                self.mode = Mode::Writing;
                self.writer.say_full_again();
                (self.announce)(Announcement::Resumed {
                    entries_lost: self.entries_lost,
                });
            }
            (Message::Resume, Mode::Writing | Mode::Failed) => {}
        }
    }

    fn write(&mut self, waiting: &mut VecDeque<Stamped>) {
        while !waiting.is_empty() {
            let from = Instant::now();
            match self.writer.append(waiting) {
                Ok(lines) => {
                    let announcement = Announcement::Durable {
                        lines,
                        took: from.elapsed(),
                        segment_bytes: self.writer.segment_bytes(),
                        segment_full: self.writer.segment_is_newly_full(),
                    };
                    (self.announce)(announcement);
                }
                Err(error @ JournalError::Full { .. }) => {
                    self.mode = Mode::Full;
                    let announcement = Announcement::Full {
                        error: error.to_string(),
                        first_lost: self.writer.next(),
                        entries_lost: self.lose(waiting),
                    };
                    (self.announce)(announcement);
                }
                Err(error) => {
                    self.mode = Mode::Failed;
                    let first_lost = self.writer.next();
                    self.failed_at.store(first_lost.0, Ordering::SeqCst);
                    let waiting_behind: Vec<Message> = self.receiver.try_iter().collect();
                    for message in waiting_behind {
                        self.take(message, waiting);
                    }
                    let announcement = Announcement::Failed {
                        error: error.to_string(),
                        first_lost,
                        entries_lost: self.lose(waiting),
                    };
                    (self.announce)(announcement);
                }
            }
        }
    }

    /// Discards the waiting entries. Returns the number lost so far.
    fn lose(&mut self, waiting: &mut VecDeque<Stamped>) -> u64 {
        let lost = u64::try_from(waiting.len()).unwrap_or(u64::MAX);
        self.entries_lost = self.entries_lost.saturating_add(lost);
        waiting.clear();
        self.entries_lost
    }
}
