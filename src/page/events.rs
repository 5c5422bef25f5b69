//! Serves a client of the event stream: the state, then every entry as stored; on request also the state after each
//! change, and values that are moving.
//!
//! - An event is made when the connection can take one. For a client that takes nothing, only the lines of one chunk
//!   wait.
//! - Each entry has its number as `id`, so that a browser that reconnects says where it was. After a gap, which is
//!   reported, the number is that of the entry.

use super::board::{Doc, Docs};
use crate::clients::{self, Heard, Listener, Live};
use crate::entry::Seq;
use crate::journal::{JournalError, Line};
use crate::message::Notice;
use crate::message::page::MovingMessage;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{Stream, unfold};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// Interval of comments in the stream, so that both ends notice when the other is gone.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

/// Time after which a browser reconnects.
const RETRY: Duration = Duration::from_secs(1);

/// The events of a client, until it leaves or the daemon stops.
pub(super) fn stream(
    live: Arc<Live>,
    docs: Docs,
    asked: (Option<Seq>, bool),
    place: OwnedSemaphorePermit,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let client = Client::new(live, docs, asked, place);
    let events = unfold(client, |mut client| async {
        let event = client.next().await?;
        Some((Ok(event), client))
    });
    Sse::new(events).keep_alive(KeepAlive::new().interval(SIGN_OF_LIFE))
}

struct Client {
    listener: Listener,
    docs: Docs,
    newest: watch::Receiver<Option<Doc>>,
    moving: watch::Receiver<Arc<[MovingMessage]>>,
    /// Whether the state is sent after each change.
    each_state: bool,
    /// Lines that were not sent yet; the first follows `after`.
    lines: VecDeque<Line>,
    after: Seq,
    /// Events to send before these lines.
    ready: VecDeque<Event>,
    /// The stream ends after these.
    is_over: bool,
    _place: OwnedSemaphorePermit,
}

impl Client {
    fn new(
        live: Arc<Live>,
        docs: Docs,
        (asked, each_state): (Option<Seq>, bool),
        place: OwnedSemaphorePermit,
    ) -> Self {
        let notices_seen = live.notices_seen();
        let mut newest = docs.newest();
        newest.mark_unchanged();
        let moving = live.moving();
        let doc = docs.now();
        let first = Event::default().retry(RETRY);
        // Everything in the state counts as sent, so a client that reconnects later misses nothing.
        let had = |event: Event| event.id(doc.seq.to_string());
        let (after, ready) = match asked {
            None => (doc.seq, vec![state(had(first), &doc)]),
            Some(after) if after <= doc.seq => (after, vec![state(first, &doc)]),
            Some(beyond) => {
                let notice = Notice::beyond(beyond, doc.seq);
                // A client that reconnects continues from what exists, not from the number that it gave.
                let notice = said(had(first), "notice", &crate::message::line(&notice));
                (doc.seq, vec![notice, state(Event::default(), &doc)])
            }
        };
        Self {
            listener: Listener::new(live, after, notices_seen),
            docs,
            newest,
            moving,
            each_state,
            lines: VecDeque::new(),
            after,
            ready: ready.into(),
            is_over: false,
            _place: place,
        }
    }

    /// Waits for the next event; `None` if no more will come.
    async fn next(&mut self) -> Option<Event> {
        loop {
            if let Some(event) = self.ready.pop_front() {
                return Some(event);
            }
            if let Some(line) = self.lines.pop_front() {
                return Some(self.entry(line));
            }
            if self.is_over {
                return None;
            }
            match self.listener.next().await {
                Err(error) => self.unreadable(&error),
                Ok(Heard::Lines(lines)) => self.lines = lines.into(),
                Ok(Heard::Notices(notices)) => {
                    let notices = notices.split_inclusive(|byte| *byte == b'\n');
                    let notices =
                        notices.map(|notice| said(Event::default(), "notice", &with_texts(notice)));
                    self.ready.extend(notices);
                    // The state also contains the health of the journal.
                    let doc = self.docs.now();
                    self.ready.push_back(state(Event::default(), &doc));
                }
                Ok(Heard::LetGo) => return None,
                Ok(Heard::Nothing) => tokio::select! {
                    biased;
                    () = self.listener.changed() => {}
                    changed = self.newest.changed(), if self.each_state => {
                        changed.ok()?;
                        let doc = self.newest.borrow_and_update().clone()?;
                        return Some(state(Event::default(), &doc));
                    }
                    changed = self.moving.changed(), if self.each_state => {
                        changed.ok()?;
                        let moving = Arc::clone(&self.moving.borrow_and_update());
                        return Some(said(Event::default(), "moving", &crate::message::line(&moving)));
                    }
                },
            }
        }
    }

    /// Says that the journal cannot be read, and ends the stream.
    fn unreadable(&mut self, error: &JournalError) {
        let notice = clients::unreadable(error);
        let notice = said(Event::default(), "notice", &crate::message::line(&notice));
        self.ready.push_back(notice);
        self.is_over = true;
    }

    /// The event of a line. If entries before it are missing, a notice comes first.
    fn entry(&mut self, line: Line) -> Event {
        let seq = line.seq;
        if let Some(notice) = clients::missing(self.after, seq) {
            self.after = Seq(seq.0.saturating_sub(1));
            self.lines.push_front(line);
            return said(Event::default(), "notice", &crate::message::line(&notice));
        }
        self.after = seq;
        let event = Event::default().id(seq.to_string());
        // An entry is JSON; a damaged line may hold any bytes.
        event.data(String::from_utf8_lossy(&line.bytes))
    }
}

/// A notice with the keys of its sentences; any other line stays as it is.
fn with_texts(line: &[u8]) -> Vec<u8> {
    serde_json::from_slice(line).map_or_else(|_| line.to_vec(), Notice::line_with_texts)
}

fn state(event: Event, doc: &Doc) -> Event {
    event.event("state").data(&doc.json)
}

/// An event with a line of JSON, which ends in a newline.
fn said(event: Event, name: &str, line: &[u8]) -> Event {
    let text = String::from_utf8_lossy(line.trim_ascii_end());
    event.event(name).data(text)
}
