//! The next data for one client: lines after its place, then notices, then the disconnect.

use super::Live;
use crate::entry::Seq;
use crate::journal::{Follow, JournalError, Line};
use std::sync::Arc;
use tokio::sync::watch;

/// The place of a client in the journal and among the notices.
#[derive(Debug)]
pub(crate) struct Listener {
    live: Arc<Live>,
    follow: Follow,
    told: watch::Receiver<()>,
    notices_seen: u64,
}

/// The next thing to send to a client.
#[derive(Debug)]
pub(crate) enum Heard {
    /// Lines, at least one.
    Lines(Vec<Line>),
    /// Notices to all clients, each a line with its newline.
    Notices(Vec<u8>),
    /// Nothing; [`Listener::changed`] waits for more.
    Nothing,
    /// Nothing more will come: the daemon stops.
    LetGo,
}

impl Listener {
    /// For a client that has every entry up to `after` and the first `notices_seen` notices.
    pub(crate) fn new(live: Arc<Live>, after: Seq, notices_seen: u64) -> Self {
        Self {
            follow: live.follow(after),
            told: live.told(),
            live,
            notices_seen,
        }
    }

    /// The next thing to send, without waiting.
    pub(crate) async fn next(&mut self) -> Result<Heard, JournalError> {
        self.told.mark_unchanged();
        let lines = self.follow.lines().await;
        let lines = lines.inspect_err(
            |error| tracing::error!(%error, "the journal cannot be read back for a client"),
        )?;
        if !lines.is_empty() {
            return Ok(Heard::Lines(lines));
        }
        let (notices, seen) = self.live.notices_after(self.notices_seen);
        self.notices_seen = seen;
        Ok(if !notices.is_empty() {
            Heard::Notices(notices)
        } else if self.live.is_closing() {
            Heard::LetGo
        } else {
            Heard::Nothing
        })
    }

    /// Waits until there may be something new.
    pub(crate) async fn changed(&mut self) {
        self.follow.changed().await;
    }

    /// Waits until there may be something new that is not a line.
    pub(crate) async fn told(&mut self) {
        // The sender belongs to an object that is held here, so it cannot be gone.
        let _ = self.told.changed().await;
    }

    /// The last entry that was returned, or the one after which it began.
    pub(crate) const fn after(&self) -> Seq {
        self.follow.after()
    }

    /// Moves after another entry.
    pub(crate) fn go_to(&mut self, after: Seq) {
        self.follow.go_to(after);
    }
}
