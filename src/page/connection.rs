//! One connection of a browser or a program, with a limit on everything it may do.

use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::net::SocketAddr;
use std::pin::pin;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::sync::watch;

/// How long a head may take, from when the connection is open or the last answer is out.
const HEAD_WITHIN: Duration = Duration::from_secs(10);

/// The largest head, and about what is held of an answer that is not yet taken.
const HEAD_MOST: usize = 16 * 1024;
const HEADERS_MOST: usize = 64;

/// Who takes nothing for so long is let go; a page asks again for what it missed.
const STALLED_MILLIS: u32 = 60_000;

/// Who is at the other end.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peer(pub(super) SocketAddr);

/// Serves one connection until it ends, or `stopped` says that no more requests are taken.
pub(super) async fn serve(
    stream: TcpStream,
    peer: SocketAddr,
    routes: Router,
    mut stopped: watch::Receiver<()>,
) {
    // Without either it is served all the same: the system lets go of it later.
    let _ = stream.set_nodelay(true);
    let _ = rustix::net::sockopt::set_tcp_user_timeout(&stream, STALLED_MILLIS);
    let service = TowerToHyperService::new(routes.layer(Extension(Peer(peer))));
    let mut builder = http1::Builder::new();
    builder
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_headers(HEADERS_MOST)
        .max_buf_size(HEAD_MOST)
        .half_close(false);
    let mut connection = pin!(builder.serve_connection(TokioIo::new(stream), service));
    tokio::select! {
        // Whatever ends a connection is its client's affair.
        _ = connection.as_mut() => return,
        _ = stopped.changed() => {}
    }
    connection.as_mut().graceful_shutdown();
    let _ = connection.await;
}

/// Says politely that there is no place, without waiting.
pub(super) fn refuse(stream: &TcpStream) {
    const ANSWER: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\ncontent-length: 0\r\nretry-after: 5\r\nconnection: close\r\n\r\n";
    // Whoever does not wait for the answer does not get it.
    let _ = stream.try_write(ANSWER);
}
