//! One client of the event stream: the state, then every entry byte for byte as stored, and where it is
//! asked for the state again after each change.
//!
//! - A client that is behind is served from the journal's files, a piece at a time. One piece waits for
//!   it, and what the connection holds; nothing more is made while it takes nothing.
//! - An entry carries its number as `id`, so that a browser that comes back says where it was: the number that
//!   stands in it, also behind a gap, which is said.

use super::board::{Doc, Docs};
use crate::clients::{Batch, Live, read_piece};
use crate::entry::{Seq, glance};
use crate::journal::{Cursor, JournalError};
use crate::message::Notice;
use axum::body::{Body, Bytes, HttpBody};
use hyper::body::Frame;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::sync::{OwnedSemaphorePermit, watch};

/// About how many bytes of lines are taken for a client at a time.
const PIECE: usize = 64 * 1024;

/// A comment is sent this often, so that both ends notice when the other is gone.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

/// How soon a browser comes back, in milliseconds.
const RETRY_MILLIS: u32 = 1_000;

/// What a client gets, as a body that ends when the daemon does.
pub(super) fn body(
    live: Arc<Live>,
    docs: Docs,
    asked: (Option<Seq>, bool),
    place: OwnedSemaphorePermit,
) -> Body {
    let (out, pieces) = channel(1);
    let client = Client::new(live, docs, asked);
    tokio::spawn(async move {
        client.run(&out).await;
        drop(place);
    });
    Body::new(Pieces(pieces))
}

struct Pieces(Receiver<Bytes>);

impl HttpBody for Pieces {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let piece = self.0.poll_recv(context);
        piece.map(|piece| piece.map(|piece| Ok(Frame::data(piece))))
    }
}

struct Client {
    live: Arc<Live>,
    docs: Docs,
    changed: watch::Receiver<Seq>,
    newest: watch::Receiver<Option<Doc>>,
    /// The state is sent again after each change.
    each_state: bool,
    after: Seq,
    notices_seen: u64,
    /// Kept while the client is behind, so that its place need not be searched again.
    cursor: Option<Cursor>,
    first: Option<Bytes>,
}

/// What there is for a client.
enum Next {
    Piece(Vec<u8>),
    /// Nothing yet.
    Wait,
    /// Nothing any more.
    End,
}

impl Client {
    fn new(live: Arc<Live>, docs: Docs, (asked, each_state): (Option<Seq>, bool)) -> Self {
        let (changed, mut newest) = (live.durable(), docs.newest());
        newest.mark_unchanged();
        let notices_seen = live.notices_seen();
        let doc = docs.now();
        let mut first = format!("retry: {RETRY_MILLIS}\n").into_bytes();
        let after = match asked {
            None => {
                // All that it shows is had: who comes back after this misses nothing.
                first.extend_from_slice(format!("id: {}\n", doc.seq).as_bytes());
                doc.seq
            }
            Some(after) if after <= doc.seq => after,
            Some(beyond) => {
                let notice = Notice::new(
                    "error",
                    format!("got after {beyond}, but the newest entry is {}", doc.seq),
                    Some("is it another journal? compare `journal` of the state"),
                );
                // Whoever comes back asks for what there is, and not for that number again.
                first.extend_from_slice(format!("id: {}\n", doc.seq).as_bytes());
                notice_event(&mut first, &notice);
                doc.seq
            }
        };
        event(&mut first, "state", doc.json.as_bytes());
        Self {
            live,
            docs,
            changed,
            newest,
            each_state,
            after,
            notices_seen,
            cursor: None,
            first: Some(first.into()),
        }
    }

    async fn run(mut self, out: &Sender<Bytes>) {
        if let Some(first) = self.first.take()
            && out.send(first).await.is_err()
        {
            return;
        }
        loop {
            match self.next().await {
                Next::Piece(piece) => {
                    if out.send(piece.into()).await.is_err() {
                        return;
                    }
                }
                Next::End => return,
                Next::Wait => tokio::select! {
                    biased;
                    () = out.closed() => return,
                    changed = self.changed.changed() => {
                        if changed.is_err() {
                            return;
                        }
                    }
                    changed = self.newest.changed(), if self.each_state => {
                        if changed.is_err() {
                            return;
                        }
                        let Some(doc) = self.newest.borrow_and_update().clone() else {
                            continue;
                        };
                        let mut piece = Vec::new();
                        event(&mut piece, "state", doc.json.as_bytes());
                        if out.send(piece.into()).await.is_err() {
                            return;
                        }
                    }
                    () = tokio::time::sleep(SIGN_OF_LIFE) => {
                        if out.send(Bytes::from_static(b":\n\n")).await.is_err() {
                            return;
                        }
                    }
                },
            }
        }
    }

    async fn next(&mut self) -> Next {
        self.changed.mark_unchanged();
        match self.live.after(self.after, PIECE) {
            Batch::Lines { bytes, last } => {
                self.cursor = None;
                self.entries(&bytes, last)
            }
            Batch::InFiles { durable } => self.read_files(durable).await,
            Batch::CaughtUp => {
                let (notices, seen) = self.live.notices_after(self.notices_seen);
                self.notices_seen = seen;
                let closing = self.live.is_closing();
                if notices.is_empty() && !closing {
                    return Next::Wait;
                }
                let mut piece = Vec::new();
                for notice in lines(&notices) {
                    event(&mut piece, "notice", notice);
                }
                if !notices.is_empty() {
                    // How the journal is stands in the state too.
                    event(&mut piece, "state", self.docs.now().json.as_bytes());
                }
                if piece.is_empty() {
                    return Next::End;
                }
                Next::Piece(piece)
            }
        }
    }

    async fn read_files(&mut self, durable: Seq) -> Next {
        let cursor = self.cursor.take();
        let (live, after) = (Arc::clone(&self.live), self.after);
        let read = tokio::task::spawn_blocking(move || {
            let mut cursor = match cursor {
                Some(cursor) => cursor,
                None => Cursor::new(live.state_dir(), after)?,
            };
            let piece = read_piece(&mut cursor, durable, PIECE)?;
            Ok::<_, JournalError>((cursor, piece))
        });
        match read.await {
            Ok(Ok((cursor, piece))) if !piece.bytes.is_empty() => {
                self.cursor = Some(cursor);
                self.entries(&piece.bytes, piece.last)
            }
            Ok(Err(error)) => {
                tracing::error!(%error, "the journal cannot be read back for a client of the page");
                Next::End
            }
            // The runtime is going down; or there is nothing, and `verify` says what is missing.
            Err(_) | Ok(Ok(_)) => Next::End,
        }
    }

    /// Whole lines that follow `after`, each with its number.
    fn entries(&mut self, bytes: &[u8], last: Seq) -> Next {
        let piece = numbered(self.after, bytes);
        self.after = last;
        Next::Piece(piece)
    }
}

/// Lines that come after entry `after` as events, each with the number that stands in it; where entries are
/// missing before one, that is said.
fn numbered(after: Seq, bytes: &[u8]) -> Vec<u8> {
    let mut piece = Vec::with_capacity(bytes.len() + bytes.len() / 8);
    let mut before = after;
    for line in lines(bytes) {
        let want = before.following();
        let seq = glance::seq(line).unwrap_or(want);
        if seq > want {
            let notice = Notice::new(
                "gap",
                format!(
                    "entries {want} to {} are not in the journal's files any more",
                    seq.0.saturating_sub(1)
                ),
                Some(
                    "see what is missing: tallyjaw verify; segments that were moved away can be put back",
                ),
            );
            notice_event(&mut piece, &notice);
        }
        piece.extend_from_slice(format!("id: {seq}\n").as_bytes());
        data(&mut piece, line);
        before = seq;
    }
    piece
}

fn notice_event(piece: &mut Vec<u8>, notice: &Notice) {
    event(
        piece,
        "notice",
        crate::message::line(notice).trim_ascii_end(),
    );
}

fn lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty())
}

fn event(piece: &mut Vec<u8>, name: &str, line: &[u8]) {
    piece.extend_from_slice(format!("event: {name}\n").as_bytes());
    data(piece, line);
}

/// One line of JSON has no line end in it.
fn data(piece: &mut Vec<u8>, line: &[u8]) {
    piece.extend_from_slice(b"data: ");
    piece.extend_from_slice(line);
    piece.extend_from_slice(b"\n\n");
}
