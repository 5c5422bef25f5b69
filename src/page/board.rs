//! The content of the page, kept up to date by one task for all its clients.
//!
//! In: the journal, by a cursor of its own. Out: the newest message for the page, at most twenty a second; and the
//! counts of the meter.

use super::meter::Meter;
use crate::clients::Live;
use crate::entry::Seq;
use crate::journal::Line;
use crate::message::page::{Board, JobsMessage, PlansMessage};
use crate::spec::Catalog;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// Shortest interval between two updates. The first of several changes is shown at once.
const PAUSE: Duration = Duration::from_millis(50);

/// Number of earlier entries that are read at the start, about a day of a bench. They give the plans in use and the
/// last outcomes.
const LOOK_BACK: u64 = 4000;

/// A message for the page: JSON on one line.
#[derive(Debug, Clone)]
pub(super) struct Doc {
    pub(super) json: Arc<str>,
    /// The newest entry that it includes.
    pub(super) seq: Seq,
}

/// Makes messages.
#[derive(Debug, Clone)]
pub(super) struct Docs {
    live: Arc<Live>,
    board: Arc<Mutex<Board>>,
    newest: watch::Receiver<Option<Doc>>,
}

/// The task, and its messages.
pub(super) struct Following {
    pub(super) docs: Docs,
    pub(super) task: JoinHandle<()>,
}

impl Docs {
    /// Nothing can fail while the lock is held, so a poisoned lock still protects valid data.
    fn board(&self) -> MutexGuard<'_, Board> {
        self.board.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn now(&self) -> Doc {
        let (status, state) = self.live.status_and_state();
        let seq = state.last.unwrap_or(Seq(0));
        let message = self.board().message(status, &state);
        // The message consists of texts, numbers and lists, so writing it cannot fail.
        let json = serde_json::to_string(&message).unwrap_or_else(|_| "{}".to_owned());
        Doc {
            json: json.into(),
            seq,
        }
    }

    /// The plans that can be started at `station`.
    pub(super) fn plans(&self, catalog: &Catalog, station: &str) -> PlansMessage {
        self.board().plans(catalog, station)
    }

    /// The jobs and lots that can be chosen.
    pub(super) fn jobs(&self, catalog: &Catalog) -> JobsMessage {
        self.board().jobs(catalog)
    }

    /// The newest message, made once for all clients. It changes whenever there is something new to show.
    pub(super) fn newest(&self) -> watch::Receiver<Option<Doc>> {
        self.newest.clone()
    }
}

/// Follows the journal from its present end. Earlier entries are read for their content, but not counted.
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
        let from = Seq(self.counted_after.0.saturating_sub(LOOK_BACK));
        let mut follow = self.live.follow(from);
        loop {
            match follow.lines().await {
                Ok(lines) if lines.is_empty() => {
                    // The clients that were woken by the same lines are sent them first.
                    tokio::task::yield_now().await;
                    self.said.send_replace(Some(self.docs.now()));
                    tokio::time::sleep(PAUSE).await;
                    follow.changed().await;
                }
                Ok(lines) => self.take(&lines),
                Err(error) => {
                    tracing::error!(%error, "the journal cannot be read back for the page");
                    follow.skip_to_the_end();
                }
            }
        }
    }

    fn take(&self, lines: &[Line]) {
        let mut board = self.docs.board();
        // `verify` reports lines that are not entries.
        for stamped in lines.iter().filter_map(|line| line.entry().ok()) {
            board.apply(&stamped);
            if stamped.seq > self.counted_after {
                self.meter.count(&stamped);
            }
        }
    }
}
