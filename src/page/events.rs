//! One client of the event stream: the state, then every entry as stored, and where it is requested the state
//! again after each change, and the values that do not stand still.
//!
//! - An event is made when the connection takes one: nothing waits for a client that takes nothing but the
//!   lines of one chunk, and what the connection holds.
//! - An entry carries its number as `id`, so that a browser that comes back says where it was: the number that
//!   stands in it, also behind a gap, which is said.

use super::board::{Doc, Docs};
use crate::clients::{Heard, Listener, Live};
use crate::entry::Seq;
use crate::journal::Line;
use crate::message::Notice;
use crate::message::page::MovingMessage;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{Stream, unfold};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// A comment is sent this often, so that both ends notice when the other is gone.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

/// How soon a browser comes back.
const RETRY: Duration = Duration::from_secs(1);

/// What a client gets, until it goes or the daemon ends.
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
    /// The state is sent again after each change.
    each_state: bool,
    /// Lines that it has not taken yet, the first of them behind `after`.
    lines: VecDeque<Line>,
    after: Seq,
    /// What comes before these lines.
    ready: VecDeque<Event>,
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
        let mut moving = live.moving();
        if !moving.borrow().is_empty() {
            moving.mark_changed();
        }
        let doc = docs.now();
        let first = Event::default().retry(RETRY);
        // All that the state shows is had: who comes back after this misses nothing.
        let had = |event: Event| event.id(doc.seq.to_string());
        let (after, ready) = match asked {
            None => (doc.seq, vec![state(had(first), &doc)]),
            Some(after) if after <= doc.seq => (after, vec![state(first, &doc)]),
            Some(beyond) => {
                let notice = Notice::new(
                    "error",
                    format!("got after {beyond}, but the newest entry is {}", doc.seq),
                    Some("is it another journal? compare `journal` of the state"),
                );
                // Whoever comes back asks for what there is, and not for that number again.
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
            _place: place,
        }
    }

    /// The next event, once there is one; `None` when nothing more comes.
    async fn next(&mut self) -> Option<Event> {
        loop {
            if let Some(event) = self.ready.pop_front() {
                return Some(event);
            }
            if let Some(line) = self.lines.pop_front() {
                return Some(self.entry(line));
            }
            match self.listener.next().await.ok()? {
                Heard::Lines(lines) => self.lines = lines.into(),
                Heard::Notices(notices) => {
                    let notices = notices.split_inclusive(|byte| *byte == b'\n');
                    let notices = notices.map(|notice| said(Event::default(), "notice", notice));
                    self.ready.extend(notices);
                    // How the journal is stands in the state too.
                    let doc = self.docs.now();
                    self.ready.push_back(state(Event::default(), &doc));
                }
                Heard::LetGo => return None,
                Heard::Nothing => tokio::select! {
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

    /// A line with its number; where entries are missing before it, that comes first.
    fn entry(&mut self, line: Line) -> Event {
        let (want, seq) = (self.after.following(), line.seq);
        let before = Seq(seq.0.saturating_sub(1));
        if want < seq {
            self.after = before;
            self.lines.push_front(line);
            let notice = Notice::new(
                "gap",
                format!("entries {want} to {before} are not in the journal's files any more"),
                Some(
                    "see what is missing: tallyjaw verify; segments that were moved away can be put back",
                ),
            );
            return said(Event::default(), "notice", &crate::message::line(&notice));
        }
        self.after = seq;
        let event = Event::default().id(seq.to_string());
        // An entry is JSON; what is damaged may be anything.
        event.data(String::from_utf8_lossy(&line.bytes))
    }
}

fn state(event: Event, doc: &Doc) -> Event {
    event.event("state").data(&doc.json)
}

/// An event of a line of JSON with its newline.
fn said(event: Event, name: &str, line: &[u8]) -> Event {
    let text = String::from_utf8_lossy(line.trim_ascii_end());
    event.event(name).data(text)
}
