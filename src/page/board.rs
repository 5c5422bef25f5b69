//! What the page shows, kept up to date by one task for all who look at it.
//!
//! In: the journal, by a cursor of its own. Out: the newest message for the page, at most twenty a
//! second, whatever comes; and the counts of the meter.

use super::meter::Meter;
use crate::clients::Live;
use crate::entry::Seq;
use crate::journal::Line;
use crate::message::page::{Board, PlansMessage};
use crate::spec::Catalog;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// The page is updated no more often than this; the first of several changes at once.
const PAUSE: Duration = Duration::from_millis(50);

/// How many entries back what happened is looked for at the start: about a day of a bench, so that the plans in use
/// and the last outcomes are known.
const LOOK_BACK: u64 = 4000;

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

    /// What can be started at `station`.
    pub(super) fn plans(&self, catalog: &Catalog, station: &str) -> PlansMessage {
        self.board().plans(catalog, station)
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
        let from = Seq(self.counted_after.0.saturating_sub(LOOK_BACK));
        let mut follow = self.live.follow(from);
        loop {
            match follow.lines().await {
                Ok(lines) if lines.is_empty() => {
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
        // `verify` reports what is no entry of ours.
        for stamped in lines.iter().filter_map(|line| line.entry().ok()) {
            board.apply(&stamped);
            if stamped.seq > self.counted_after {
                self.meter.count(&stamped);
            }
        }
    }
}
