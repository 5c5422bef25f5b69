//! Serves one connection of a browser or program, within limits.

use super::tablet;
use super::tokens::Held;
use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::net::SocketAddr;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::sync::watch;

/// Time limit for the head of a request, from the opening of the connection or the end of the last answer.
const HEAD_WITHIN: Duration = Duration::from_secs(10);

/// Maximum size of a head, and approximate size of the buffered part of an answer.
const HEAD_MOST: usize = 16 * 1024;
const HEADERS_MOST: usize = 64;

/// A client that accepts nothing for this time is disconnected. The page will ask again for what it missed.
const STALLED_MILLIS: u32 = 60_000;

/// The other end of a connection.
#[derive(Debug, Clone)]
pub(super) struct Peer {
    pub(super) address: SocketAddr,
    pub(super) way: Way,
}

/// The listener through which it came.
#[derive(Debug, Clone)]
pub(super) enum Way {
    /// The page's own listener, unencrypted, with the token of a program that it came with.
    Plain(Arc<Held>),
    /// The listener for tablets.
    Tablet(Arc<tablet::Connection>),
}

/// Sets options of the socket before anything is read. If they cannot be set, the connection is served even so; the
/// system then ends it later.
pub(super) fn prepare(stream: &TcpStream) {
    let _ = stream.set_nodelay(true);
    let _ = rustix::net::sockopt::set_tcp_user_timeout(stream, STALLED_MILLIS);
}

/// Serves one connection until it ends, or until `stopped` says that no more requests are accepted.
pub(super) async fn serve(
    stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
    peer: Peer,
    routes: Router,
    mut stopped: watch::Receiver<()>,
) {
    let service = TowerToHyperService::new(routes.layer(Extension(peer)));
    let mut builder = http1::Builder::new();
    builder
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_headers(HEADERS_MOST)
        .max_buf_size(HEAD_MOST)
        .half_close(false);
    let mut connection = pin!(builder.serve_connection(TokioIo::new(stream), service));
    tokio::select! {
        // An error ends only this connection.
        _ = connection.as_mut() => return,
        _ = stopped.changed() => {}
    }
    connection.as_mut().graceful_shutdown();
    let _ = connection.await;
}

/// Refuses a connection because all places are taken, without waiting.
pub(super) fn refuse(stream: &TcpStream) {
    const ANSWER: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\ncontent-length: 0\r\nretry-after: 5\r\nconnection: close\r\n\r\n";
    // The answer is lost if the client does not wait for it.
    let _ = stream.try_write(ANSWER);
}
