//! What the page shows, kept up to date by one task for all who look at it.
//!
//! In: the journal, by a cursor of its own. Out: the newest message for the page, at most twenty a
//! second, whatever comes; and the counts of the meter.

use super::meter::Meter;
use crate::clients::{Batch, Live, read_piece};
use crate::entry::{Seq, line};
use crate::journal::Cursor;
use crate::message::page::Board;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// The page is told no more often than this; the first of several changes at once.
const PAUSE: Duration = Duration::from_millis(50);

/// How many bytes of lines are taken at a time.
const PIECE: usize = 64 * 1024;

/// How far back what happened is looked for at the start.
const LOOK_BACK: u64 = 400;

/// One message for the page, as JSON in one line.
#[derive(Debug, Clone)]
pub(super) struct Doc {
    pub(super) json: Arc<str>,
    /// The newest entry in it.
    pub(super) seq: Seq,
}

/// What makes the messages.
#[derive(Debug, Clone)]
pub(super) struct Docs {
    live: Arc<Live>,
    board: Arc<Mutex<Board>>,
    newest: watch::Receiver<Option<Doc>>,
}

/// The task, and what it makes.
pub(super) struct Following {
    pub(super) docs: Docs,
    pub(super) task: JoinHandle<()>,
}

impl Docs {
    /// Nobody holds the lock while anything can fail, so what is behind it is always whole.
    fn board(&self) -> MutexGuard<'_, Board> {
        self.board.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// As it is now.
    pub(super) fn now(&self) -> Doc {
        let (status, state) = self.live.status_and_state();
        let seq = state.last.unwrap_or(Seq(0));
        let message = self.board().message(status, &state);
        // Made of texts, numbers and lists: there is nothing that cannot be written.
        let json = serde_json::to_string(&message).unwrap_or_else(|_| "{}".to_owned());
        Doc {
            json: json.into(),
            seq,
        }
    }

    /// Changes whenever there is something new to show; made once for all.
    pub(super) fn newest(&self) -> watch::Receiver<Option<Doc>> {
        self.newest.clone()
    }
}

/// Starts following the journal from where it ends now; what happened before is looked up, not counted.
pub(super) fn follow(live: Arc<Live>, meter: Arc<Meter>) -> Following {
    let (said, newest) = watch::channel(None);
    let docs = Docs {
        live: Arc::clone(&live),
        board: Arc::default(),
        newest,
    };
    let following = Follower {
        docs: docs.clone(),
        meter,
        counted_after: live.last(),
        live,
        said,
    };
    Following {
        docs,
        task: tokio::spawn(following.run()),
    }
}

struct Follower {
    docs: Docs,
    live: Arc<Live>,
    meter: Arc<Meter>,
    counted_after: Seq,
    said: watch::Sender<Option<Doc>>,
}

impl Follower {
    async fn run(self) {
        let mut changed = self.live.durable();
        let mut after = Seq(self.counted_after.0.saturating_sub(LOOK_BACK));
        loop {
            changed.mark_unchanged();
            while let Some(last) = self.take_after(after).await {
                after = last;
            }
            self.said.send_replace(Some(self.docs.now()));
            tokio::time::sleep(PAUSE).await;
            if changed.changed().await.is_err() {
                return;
            }
        }
    }

    /// Takes the next entries; the last of them, `None` if there is none.
    async fn take_after(&self, after: Seq) -> Option<Seq> {
        match self.live.after(after, PIECE) {
            Batch::Lines { bytes, last } => {
                self.take(&bytes);
                Some(last)
            }
            Batch::InFiles { durable } => {
                let state_dir = self.live.state_dir().to_owned();
                let read = tokio::task::spawn_blocking(move || {
                    let mut cursor = Cursor::new(&state_dir, after)?;
                    read_piece(&mut cursor, durable, PIECE)
                });
                match read.await.ok()? {
                    Ok(piece) if !piece.bytes.is_empty() => {
                        self.take(&piece.bytes);
                        Some(piece.last)
                    }
                    Ok(_) => Some(durable),
                    Err(error) => {
                        tracing::error!(%error, "the journal cannot be read back for the page");
                        Some(durable)
                    }
                }
            }
            Batch::CaughtUp => None,
        }
    }

    fn take(&self, lines: &[u8]) {
        let mut board = self.docs.board();
        for text in lines.split(|byte| *byte == b'\n') {
            // What is no entry of ours is told by `verify`.
            let Ok((stamped, _)) = line::decode(text) else {
                continue;
            };
            board.apply(&stamped);
            if stamped.seq > self.counted_after {
                self.meter.count(&stamped);
            }
        }
    }
}
