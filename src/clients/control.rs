//! One client of the control socket: JSON-RPC, a request a line, answered in order.
//!
//! - Only the daemon's own user and root are served, whatever the mode of the socket says.
//! - An answer waits until what it says is durable; the daemon decides when that is.

use super::lines::{Lines, Sent};
use super::{LONGEST_LINE, MOST_CLIENTS};
use crate::message::reply::{self, Outcome};
use crate::message::{Call, ErrorObject, Rejected, Request, RequestId, code};
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::UnixStream;
use tokio::sync::mpsc::Sender;
use tokio::sync::oneshot;

/// How long a client may take over one line, and over taking an answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// What a client asks of the daemon.
#[derive(Debug)]
pub struct ControlRequest {
    /// What is asked.
    pub call: Call,
    /// Where the answer goes. If it is dropped, the client gets the answer that the daemon is stopping.
    pub answer: oneshot::Sender<Result<Outcome, ErrorObject>>,
}

/// Someone who may not use the control socket.
#[derive(Debug)]
pub(super) struct Stranger {
    /// Who it is, as far as the kernel says.
    pub(super) uid: Option<u32>,
    own: u32,
}

impl Stranger {
    pub(super) fn error(&self) -> ErrorObject {
        let got = self
            .uid
            .map_or_else(|| "an unknown user".to_owned(), |uid| format!("uid {uid}"));
        ErrorObject::new(
            code::REFUSED,
            format!("got {got}, want uid {} or root", self.own),
            Some("run the command as the user that runs the daemon".to_owned()),
        )
    }
}

/// Whether the peer, as the kernel knows it, may use this socket.
pub(super) fn check_peer(stream: &UnixStream) -> Result<(), Stranger> {
    let own = rustix::process::geteuid().as_raw();
    let uid = stream.peer_cred().ok().map(|peer| peer.uid());
    if uid == Some(own) || uid == Some(0) {
        Ok(())
    } else {
        Err(Stranger { uid, own })
    }
}

pub(super) fn too_many() -> ErrorObject {
    ErrorObject::new(
        code::BUSY,
        format!("{MOST_CLIENTS} clients are connected, no more are served"),
        Some("close some of them, then connect again".to_owned()),
    )
}

/// Says why not, without waiting.
pub(super) fn refuse(stream: &UnixStream, error: &ErrorObject) {
    // Whoever does not wait for the answer does not get it.
    let _ = stream.try_write(&reply::line(&RequestId::null(), &Err(error.clone())));
}

/// Serves the client until it goes, is too slow, or says what cannot be understood at all.
pub(super) async fn serve(stream: UnixStream, asked: Sender<ControlRequest>) {
    let (reader, mut writer) = stream.into_split();
    let mut lines = Lines::new(reader);
    loop {
        let (answer, goes_on) = match next(&mut lines).await {
            Sent::Line(line) => (answer(&line, &asked).await, true),
            Sent::TooLong => (Some(too_long()), false),
            Sent::End => return,
        };
        if let Some(answer) = answer {
            match tokio::time::timeout(PATIENCE, writer.write_all(&answer)).await {
                Ok(Ok(())) => {}
                Ok(Err(_)) | Err(_) => return,
            }
        }
        if !goes_on {
            return;
        }
    }
}

/// The next line; a client that does not finish one in time has said enough.
async fn next(lines: &mut Lines<tokio::net::unix::OwnedReadHalf>) -> Sent {
    loop {
        match tokio::time::timeout(PATIENCE, lines.next()).await {
            Ok(sent) => return sent,
            Err(_) if lines.in_mid_line() => return Sent::TooLong,
            Err(_) => {}
        }
    }
}

fn too_long() -> Vec<u8> {
    let error = ErrorObject::new(
        code::PARSE,
        format!(
            "no end of line in {LONGEST_LINE} bytes or {} seconds, the connection is closed",
            PATIENCE.as_secs()
        ),
        Some("send each request on a line of its own".to_owned()),
    );
    reply::line(&RequestId::null(), &Err(error))
}

/// The answer to one request, newline included; `None` to a notification.
pub(crate) async fn answer(line: &[u8], asked: &Sender<ControlRequest>) -> Option<Vec<u8>> {
    match Request::parse(line) {
        Err(rejected) => {
            let Rejected { id, error } = *rejected;
            id.map(|id| reply::line(&id, &Err(error)))
        }
        Ok(Request { id, call }) => {
            let outcome = ask(call, asked).await;
            id.map(|id| reply::line(&id, &outcome))
        }
    }
}

async fn ask(call: Call, asked: &Sender<ControlRequest>) -> Result<Outcome, ErrorObject> {
    let (answer, answered) = oneshot::channel();
    let stopping = || {
        ErrorObject::new(
            code::BUSY,
            "the daemon is stopping and acknowledges no more requests",
            Some("once it runs again, see what was recorded: tallyjaw status".to_owned()),
        )
    };
    asked
        .send(ControlRequest { call, answer })
        .await
        .map_err(|_| stopping())?;
    answered.await.unwrap_or_else(|_| Err(stopping()))
}
