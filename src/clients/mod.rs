//! The clients of a daemon: who may connect, what they are sent, and when they are disconnected.
//!
//! In: what the daemon publishes through [`Live`], and lines of clients. Out: the feed, and requests to the daemon with
//! a receiver for each answer.
//!
//! - Each client has its own cursor and buffers of fixed size, so that a slow one delays nobody.
//! - Everything sent to a client was durable before. This module only reads the journal.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: sockets and the files they stand in"
)]

mod at_end;
mod control;
mod feed;
mod health;
mod lines;
mod listener;
mod live;
mod pictures;
mod socket;
mod sockets;

pub(crate) use control::{Commander, ControlRequest, PICTURE_WITHIN, answer, ask};
pub(crate) use feed::{missing, unreadable};
pub(crate) use health::Health;
pub(crate) use listener::{Heard, Listener};
pub(crate) use live::Live;
pub(crate) use pictures::{Intake, NotEntered};
pub(crate) use sockets::{RuntimeDir, Seen, SocketError, look};

use std::sync::Arc;
use std::time::Duration;
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::Semaphore;
use tokio::sync::mpsc::Sender;

/// Maximum number of clients on each socket.
pub(crate) const MOST_CLIENTS: usize = 256;

/// Maximum length of a client's line, in bytes.
pub(crate) const LONGEST_LINE: usize = 64 * 1024;

/// Pause after a failed `accept`, which is mostly caused by too many open files.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// Serves the feed until it is dropped. Each client takes one of `places`.
pub(crate) async fn serve_feed(listener: UnixListener, live: Arc<Live>, places: Arc<Semaphore>) {
    loop {
        let stream = accept(&listener, "feed").await;
        match Arc::clone(&places).try_acquire_owned() {
            Ok(place) => {
                // An error ends only this client.
                let Ok(client) = feed::Client::new(stream, Arc::clone(&live)) else {
                    continue;
                };
                tokio::spawn(async move {
                    client.run().await;
                    drop(place);
                });
            }
            Err(_) => feed::refuse(&stream),
        }
    }
}

/// Serves the control socket until it is dropped. Requests go to `asked`.
pub(crate) async fn serve_control(
    listener: UnixListener,
    asked: Sender<ControlRequest>,
    intake: Arc<Intake>,
) {
    let places = Arc::new(Semaphore::new(MOST_CLIENTS));
    loop {
        let stream = accept(&listener, "control").await;
        if let Err(stranger) = control::check_peer(&stream) {
            tracing::warn!(uid = ?stranger.uid, "a request of another user was refused at the control socket");
            control::refuse(&stream, &stranger.error());
            continue;
        }
        match Arc::clone(&places).try_acquire_owned() {
            Ok(place) => {
                let (asked, intake) = (asked.clone(), Arc::clone(&intake));
                tokio::spawn(async move {
                    control::serve(stream, asked, intake).await;
                    drop(place);
                });
            }
            Err(_) => control::refuse(&stream, &control::too_many()),
        }
    }
}

async fn accept(listener: &UnixListener, socket: &str) -> UnixStream {
    loop {
        match listener.accept().await {
            Ok((stream, _)) => return stream,
            Err(error) => {
                tracing::warn!(socket, %error, "a client could not be accepted");
                tokio::time::sleep(ACCEPT_PAUSE).await;
            }
        }
    }
}
