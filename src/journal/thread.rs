//! The one thread that owns the file: takes what waits, makes it durable, and only then says so.
//!
//! In: entries over a bounded channel. Out: [`Announcement`]s, in order. When the disk is full it
//! throws away what waits, announces how much, and goes on when the daemon says so; after any other failure it
//! announces nothing more.

use super::{JournalError, Storage, Writer};
use crate::entry::{Seq, Stamped};
use crossbeam_channel::{Receiver, Sender, TrySendError};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How many entries may wait for the disk.
const WAITING_MOST: usize = 1024;

/// What the journal says to the daemon.
#[derive(Debug, Clone)]
pub enum Announcement {
    /// These lines are on disk.
    Durable {
        /// In order, at least one.
        lines: Vec<DurableLine>,
        /// How long writing and syncing them took.
        took: Duration,
        /// The length of the segment they are in.
        segment_bytes: u64,
        /// The segment has just passed its limit: feed `SegmentFull` to the core. Said once a
        /// segment, and again after a [`Announcement::Resumed`].
        segment_full: bool,
    },
    /// There is no room. What waits and what comes is thrown away until [`Handle::resume`]; the
    /// entry to begin again with is `first_lost`.
    Full {
        /// What the system says.
        error: String,
        /// The first entry that is not on disk.
        first_lost: Seq,
        /// How many entries were thrown away so far.
        entries_lost: u64,
    },
    /// The journal takes entries again; nothing that was appended before [`Handle::resume`] comes.
    Resumed {
        /// How many entries were thrown away in all since [`Announcement::Full`].
        entries_lost: u64,
    },
    /// A write or sync failed for good. Nothing is announced after this.
    Failed {
        /// What the system says.
        error: String,
        /// The first entry that may not be on disk.
        first_lost: Seq,
        /// How many entries may not be on disk.
        entries_lost: u64,
    },
}

/// A line that is on disk.
#[derive(Debug, Clone)]
pub struct DurableLine {
    /// The entry's number.
    pub seq: Seq,
    /// The line as stored, without its newline.
    pub line: Arc<[u8]>,
    /// The entry in it.
    pub stamped: Arc<Stamped>,
}

/// Why an entry was not taken.
#[derive(Debug, thiserror::Error)]
pub enum NotTaken {
    /// As many entries as may wait are waiting; here it is back.
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

/// How the thread ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closed {
    /// The last entry on disk.
    pub last: Option<Seq>,
    /// How many entries that were taken are not on disk.
    pub entries_lost: u64,
}

/// What is sent to the thread.
#[derive(Debug)]
enum Message {
    Append(Stamped),
    Resume,
}

/// The daemon's end of the journal's thread. Dropped, it waits for what is on its way.
#[derive(Debug)]
pub struct Handle {
    sender: Option<Sender<Message>>,
    thread: Option<JoinHandle<Closed>>,
    /// The first entry that was lost for good; 0 while all is well.
    failed_at: Arc<AtomicU64>,
}

/// Starts the thread. `announce` is called on it, in the order of the journal, and delays it.
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
        mood: Mood::Writing,
    };
    Handle {
        sender: Some(sender),
        thread: Some(std::thread::spawn(move || task.run())),
        failed_at,
    }
}

impl Handle {
    /// Hands over an entry; waits while there is no room.
    pub fn append(&self, stamped: Stamped) -> Result<(), NotTaken> {
        let sender = self.sender()?;
        sender
            .send(Message::Append(stamped))
            .map_err(|_| NotTaken::Ended)
    }

    /// Hands over an entry, or gives it back if there is no room.
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

    /// How many entries [`Handle::append`] would take without waiting.
    pub fn room(&self) -> usize {
        self.sender
            .as_ref()
            .map_or(0, |sender| WAITING_MOST.saturating_sub(sender.len()))
    }

    /// How many entries wait to be written.
    pub fn waiting(&self) -> usize {
        self.sender.as_ref().map_or(0, Sender::len)
    }

    /// Try again after [`Announcement::Full`]. What is appended from now on is written, beginning
    /// with the entry that was lost first.
    pub fn resume(&self) -> Result<(), NotTaken> {
        self.sender()?
            .send(Message::Resume)
            .map_err(|_| NotTaken::Ended)
    }

    /// Writes what waits, announces it, and ends the thread; `None` if the thread had panicked.
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
        drop(self.sender.take()); // ends the loop of the thread once it has taken what waits
        self.thread.take()?.join().ok()
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.join();
    }
}

/// What becomes of an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mood {
    /// It is written.
    Writing,
    /// It is thrown away until somebody says that there may be room again.
    Full,
    /// It is thrown away.
    Failed,
}

/// What the thread owns.
struct Task<S: Storage, A> {
    writer: Writer<S>,
    announce: A,
    receiver: Receiver<Message>,
    failed_at: Arc<AtomicU64>,
    entries_lost: u64,
    mood: Mood,
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
        match (message, self.mood) {
            (Message::Append(stamped), Mood::Writing) => waiting.push_back(stamped),
            (Message::Append(_), Mood::Full | Mood::Failed) => {
                self.entries_lost = self.entries_lost.saturating_add(1);
            }
            (Message::Resume, Mood::Full) => {
                self.mood = Mood::Writing;
                self.writer.say_full_again();
                (self.announce)(Announcement::Resumed {
                    entries_lost: self.entries_lost,
                });
            }
            (Message::Resume, Mood::Writing | Mood::Failed) => {}
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
                    self.mood = Mood::Full;
                    let announcement = Announcement::Full {
                        error: error.to_string(),
                        first_lost: self.writer.next(),
                        entries_lost: self.lose(waiting),
                    };
                    (self.announce)(announcement);
                }
                Err(error) => {
                    self.mood = Mood::Failed;
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

    /// Throws away what waits; how many entries were lost so far.
    fn lose(&mut self, waiting: &mut VecDeque<Stamped>) -> u64 {
        let lost = u64::try_from(waiting.len()).unwrap_or(u64::MAX);
        self.entries_lost = self.entries_lost.saturating_add(lost);
        waiting.clear();
        self.entries_lost
    }
}
