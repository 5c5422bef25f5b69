//! What one client hears: the lines behind its own place, then what was said to all, then that it is let go.

use super::Live;
use crate::entry::Seq;
use crate::journal::{Follow, JournalError, Line};
use std::sync::Arc;

/// A client's place in the journal and among what was said to all.
#[derive(Debug)]
pub(crate) struct Listener {
    live: Arc<Live>,
    follow: Follow,
    notices_seen: u64,
}

/// What comes next for a client.
#[derive(Debug)]
pub(crate) enum Heard {
    /// Lines, at least one.
    Lines(Vec<Line>),
    /// What was said to all, each a line with its newline.
    Notices(Vec<u8>),
    /// It has everything; [`Listener::changed`] waits for more.
    Nothing,
    /// It has everything, and the daemon ends.
    LetGo,
}

impl Listener {
    /// Of a client that has everything up to `after` and the first `notices_seen` of what was said.
    pub(crate) fn new(live: Arc<Live>, after: Seq, notices_seen: u64) -> Self {
        Self {
            follow: live.follow(after),
            live,
            notices_seen,
        }
    }

    /// What comes next, without waiting for anything to happen.
    pub(crate) async fn next(&mut self) -> Result<Heard, JournalError> {
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

    /// The last entry that it was handed, or behind which it began.
    pub(crate) const fn after(&self) -> Seq {
        self.follow.after()
    }

    /// Goes on behind another entry.
    pub(crate) fn go_to(&mut self, after: Seq) {
        self.follow.go_to(after);
    }
}
