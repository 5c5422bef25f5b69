//! Serves a client of the control socket: JSON-RPC, a request or a batch on each line, answered in order.
//!
//! - Only the daemon's own user and root are served, whatever the permissions of the socket.
//! - An answer waits until the result is durable. The daemon decides when that is.

use super::lines::{Lines, Sent};
use super::pictures::{Intake, NotEntered};
use super::{LONGEST_LINE, MOST_CLIENTS};
use crate::entry::Means;
use crate::message::picture::PictureCall;
use crate::message::reply::{self, Outcome};
use crate::message::{Asked, Call, ErrorObject, Parsed, Rejected, Request, RequestId, code};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::UnixStream;
use tokio::sync::mpsc::Sender;
use tokio::sync::oneshot;

/// Time limit for sending one line, and for reading an answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Time limit for the bytes of a picture.
pub(crate) const PICTURE_WITHIN: Duration = Duration::from_secs(60);

/// A request to the daemon.
#[derive(Debug)]
pub struct ControlRequest {
    /// The method with its parameters.
    pub call: Call,
    /// Who it comes from.
    pub from: Commander,
    /// Receiver of the answer. If it is dropped, the client gets the error that the daemon is stopping.
    pub answer: oneshot::Sender<Result<Outcome, ErrorObject>>,
}

/// Who gives a command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Commander {
    /// This machine: the control socket, the page by its own token, or a folder.
    Machine,
    /// A paired tablet, by its name.
    Tablet(String),
    /// A program, by the name of its token.
    Token(String),
}

/// A user without access to the control socket.
#[derive(Debug)]
pub(super) struct OtherUser {
    /// User id, if the kernel knows it.
    pub(super) uid: Option<u32>,
    own: u32,
}

impl OtherUser {
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

/// Checks that the peer, as the kernel knows it, may use this socket.
pub(super) fn check_peer(stream: &UnixStream) -> Result<(), OtherUser> {
    let own = rustix::process::geteuid().as_raw();
    let uid = stream.peer_cred().ok().map(|peer| peer.uid());
    if uid == Some(own) || uid == Some(0) {
        Ok(())
    } else {
        Err(OtherUser { uid, own })
    }
}

pub(super) fn too_many() -> ErrorObject {
    ErrorObject::new(
        code::BUSY,
        format!("{MOST_CLIENTS} clients are connected, no more are served"),
        Some("close some of them, then connect again".to_owned()),
    )
}

/// Sends an error without waiting.
pub(super) fn refuse(stream: &UnixStream, error: &ErrorObject) {
    // The answer is lost if the client does not wait for it.
    let _ = stream.try_write(&reply::line(&RequestId::null(), &Err(error.clone())));
}

/// Serves the client until it leaves, is too slow, or sends something that is not a line.
pub(super) async fn serve(stream: UnixStream, asked: Sender<ControlRequest>, intake: Arc<Intake>) {
    let (reader, mut writer) = stream.into_split();
    let mut lines = Lines::new(reader);
    loop {
        let (answer, goes_on) = match next(&mut lines).await {
            Sent::Line(line) => match Asked::parse(&line) {
                Asked::One(Ok(Request {
                    id,
                    call: Call::Picture(call),
                })) => picture(&mut lines, id, call, &intake).await,
                parsed @ (Asked::One(_) | Asked::Batch(_)) => {
                    (answer_to(parsed, &Commander::Machine, &asked).await, true)
                }
            },
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

/// Takes in the picture whose bytes follow its line. Returns the answer, and whether the connection continues.
async fn picture(
    lines: &mut Lines<tokio::net::unix::OwnedReadHalf>,
    id: Option<RequestId>,
    call: PictureCall,
    intake: &Arc<Intake>,
) -> (Option<Vec<u8>>, bool) {
    let place = intake.place().await;
    let sent = tokio::time::timeout(PICTURE_WITHIN, lines.bytes(call.size)).await;
    let (outcome, goes_on) = match sent {
        Ok(Some(bytes)) => {
            let taken = intake
                .take(call, bytes, Commander::Machine, Means::Command)
                .await;
            (taken.map_err(NotEntered::answer), true)
        }
        Ok(None) | Err(_) => (Err(incomplete(call.size)), false),
    };
    drop(place);
    (id.map(|id| reply::line(&id, &outcome)), goes_on)
}

fn incomplete(size: usize) -> ErrorObject {
    ErrorObject::new(
        code::INVALID_PARAMS,
        format!(
            "the picture's {size} bytes did not come within {} seconds, the connection is closed",
            PICTURE_WITHIN.as_secs()
        ),
        Some("send as many bytes behind the line as it says".to_owned()),
    )
}

/// The next line. A client that does not finish one in time counts as too long.
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

/// The answer to a request, with its newline; `None` for a notification.
pub(crate) async fn answer(
    line: &[u8],
    from: &Commander,
    asked: &Sender<ControlRequest>,
) -> Option<Vec<u8>> {
    answer_to(Asked::parse(line), from, asked).await
}

/// A batch is carried out in its order; its answers are a list, or nothing if it has only notifications.
async fn answer_to(
    parsed: Asked,
    from: &Commander,
    asked: &Sender<ControlRequest>,
) -> Option<Vec<u8>> {
    let requests = match parsed {
        Asked::One(parsed) => return answer_to_one(parsed, from, asked).await,
        Asked::Batch(requests) => requests,
    };
    let mut answers = Vec::new();
    for request in requests {
        answers.extend(answer_to_one(request, from, asked).await);
    }
    (!answers.is_empty()).then(|| reply::batch(&answers))
}

async fn answer_to_one(
    parsed: Parsed,
    from: &Commander,
    asked: &Sender<ControlRequest>,
) -> Option<Vec<u8>> {
    match parsed {
        Err(rejected) => {
            let Rejected { id, error } = *rejected;
            id.map(|id| reply::line(&id, &Err(error)))
        }
        Ok(Request { id, call }) => {
            let outcome = ask(call, from.clone(), asked).await;
            id.map(|id| reply::line(&id, &outcome))
        }
    }
}

/// Sends a request to the daemon on behalf of a commander.
pub(crate) async fn ask(
    call: Call,
    from: Commander,
    asked: &Sender<ControlRequest>,
) -> Result<Outcome, ErrorObject> {
    let (answer, answered) = oneshot::channel();
    let stopping = || {
        ErrorObject::new(
            code::BUSY,
            "the daemon is stopping and acknowledges no more requests",
            Some("once it runs again, see what was recorded: tallyjaw status".to_owned()),
        )
    };
    asked
        .send(ControlRequest { call, from, answer })
        .await
        .map_err(|_| stopping())?;
    answered.await.unwrap_or_else(|_| Err(stopping()))
}
