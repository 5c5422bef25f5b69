//! The feed of the daemon: read line by line, and connected again when it ends.
//!
//! After a break it goes on behind the last entry, so that a restart of the daemon leaves no gap.

use crate::entry::line;
use crate::message::LONGEST_FEED_LINE;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::UnixStream;

/// Pause before connecting again.
const PAUSE: Duration = Duration::from_millis(500);

/// What the feed says.
pub(super) enum Told {
    /// It is connected; `journal` is the identity of the journal.
    Hello { journal: String },
    /// The whole state.
    State(Value),
    /// An entry, and its text as stored.
    Entry { text: String, entry: Value },
    /// The daemon is gone.
    Gone,
}

/// A client of the feed.
pub(super) struct Follow {
    path: PathBuf,
    feed: Option<BufReader<UnixStream>>,
    journal: Option<String>,
    /// A request that is not sent yet.
    request: Option<String>,
    /// Number of the last entry.
    last: u64,
    /// Entries before the one after `last` were sent before our request was read, and come again in their place.
    in_order: bool,
}

impl Follow {
    /// A client of the socket `path`, not connected yet.
    pub(super) fn new(path: PathBuf) -> Self {
        Self {
            path,
            feed: None,
            journal: None,
            request: None,
            last: 0,
            in_order: false,
        }
    }

    /// Connects again, for whoever knows nothing yet: the whole state, then the entries after it.
    pub(super) fn begin_now(&mut self) {
        (self.feed, self.journal) = (None, None);
    }

    /// What is said next. Waits for the daemon as long as it takes.
    pub(super) async fn next(&mut self) -> Told {
        loop {
            let Some(feed) = &mut self.feed else {
                self.connect().await;
                continue;
            };
            if let Some(request) = self.request.take() {
                // If the daemon is gone already, the next read says so.
                let _ = feed.get_mut().write_all(request.as_bytes()).await;
            }
            let mut bytes = Vec::new();
            let read = feed
                .take(LONGEST_FEED_LINE)
                .read_until(b'\n', &mut bytes)
                .await;
            if read.is_err() || bytes.pop() != Some(b'\n') {
                tracing::warn!("the daemon is gone; what is served is old from here on");
                self.feed = None;
                return Told::Gone;
            }
            if let Some(told) = self.understand(bytes) {
                return told;
            }
        }
    }

    async fn connect(&mut self) {
        match UnixStream::connect(&self.path).await {
            Ok(stream) => self.feed = Some(BufReader::new(stream)),
            Err(error) => {
                tracing::debug!(%error, socket = %self.path.display(), "no daemon");
                tokio::time::sleep(PAUSE).await;
            }
        }
    }

    fn understand(&mut self, bytes: Vec<u8>) -> Option<Told> {
        let seq = line::peek_seq(&bytes);
        let text = String::from_utf8(bytes).ok()?;
        let said: Value = serde_json::from_str(&text).ok()?;
        if let Some(seq) = seq.filter(|_| said.get("prev").is_some()) {
            return self
                .is_next(seq.0)
                .then_some(Told::Entry { text, entry: said });
        }
        match said.get("kind")?.as_str()? {
            "hello" => self.greeted(&said),
            "state" => Some(Told::State(said)),
            "entries_missing" => {
                self.in_order = false;
                warned(&said)
            }
            _ => warned(&said),
        }
    }

    /// Requests the state after each change, and the entries since the last known one.
    fn greeted(&mut self, hello: &Value) -> Option<Told> {
        let journal = hello["journal"].as_str()?.to_owned();
        let newest = hello["last"].as_u64()?;
        let known = self.journal.as_ref() == Some(&journal) && self.last <= newest;
        let request = if known {
            json!({"state": "each", "after": self.last})
        } else {
            self.last = newest;
            json!({"state": "each"})
        };
        self.in_order = true;
        self.journal = Some(journal.clone());
        self.request = Some(format!("{request}\n"));
        tracing::info!(journal, "the daemon is connected");
        Some(Told::Hello { journal })
    }

    /// Whether this is the entry after the last one.
    fn is_next(&mut self, seq: u64) -> bool {
        let next = self.last.saturating_add(1);
        let is_next = if self.in_order {
            seq == next
        } else {
            seq >= next
        };
        if is_next {
            self.last = seq;
            self.in_order = true;
        }
        is_next
    }
}

fn warned(notice: &Value) -> Option<Told> {
    let message = notice["message"].as_str().unwrap_or_default();
    tracing::warn!("the daemon says: {message}");
    None
}
