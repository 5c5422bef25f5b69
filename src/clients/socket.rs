//! The socket of a client of the feed.
//!
//! - A task waits for the socket to accept bytes only while some are left to send. Otherwise the kernel would wake it
//!   each time the client has read something: with 200 clients that is 200 wake-ups of the thread of ports for each
//!   line.

use std::io::{self, Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::unix::AsyncFd;
use tokio::io::{AsyncRead, Interest, ReadBuf};
use tokio::task::coop::consume_budget;

/// Interval of further attempts if too many files are open to wait for the socket.
const TRY_AGAIN: Duration = Duration::from_millis(100);

/// A socket that wakes its task for what the client sends.
#[derive(Debug)]
pub(super) struct Socket(AsyncFd<UnixStream>);

/// The side of a socket that is read.
#[derive(Debug)]
pub(super) struct Ear(pub(super) Arc<Socket>);

impl Socket {
    /// Must be called within the runtime.
    pub(super) fn new(stream: tokio::net::UnixStream) -> io::Result<Self> {
        let stream = stream.into_std()?; // The standard socket is non-blocking too.
        waits_for(stream, Interest::READABLE).map(Self)
    }

    pub(super) fn stream(&self) -> &UnixStream {
        self.0.get_ref()
    }

    /// Writes as much as the client accepts without waiting.
    pub(super) fn try_write(&self, bytes: &[u8]) -> io::Result<usize> {
        self.stream().write(bytes)
    }

    /// Writes some of `bytes` as soon as the client accepts any.
    pub(super) async fn write(&self, bytes: &[u8]) -> io::Result<usize> {
        consume_budget().await; // A client that accepts everything must not keep others from being served.
        loop {
            match self.try_write(bytes) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => self.accepts().await,
                written => return written,
            }
        }
    }

    /// Waits until the client may accept bytes.
    async fn accepts(&self) {
        let twin = self.stream().try_clone();
        match twin.and_then(|twin| waits_for(twin, Interest::WRITABLE)) {
            // An error will also be that of the next write.
            Ok(twin) => drop(twin.writable().await),
            Err(_) => tokio::time::sleep(TRY_AGAIN).await,
        }
    }
}

fn waits_for(stream: UnixStream, interest: Interest) -> io::Result<AsyncFd<UnixStream>> {
    #[expect(
        deprecated,
        reason = "unsound only for a type that lies about its descriptor, as UnixStream cannot; what replaces it needs unsafe code"
    )]
    AsyncFd::with_interest(stream, interest)
}

impl AsyncRead for Ear {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        to: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        loop {
            let mut readable = ready!(self.0.0.poll_read_ready(context))?;
            let read = readable.try_io(|socket| socket.get_ref().read(to.initialize_unfilled()));
            match read {
                Ok(Ok(read)) => {
                    to.advance(read);
                    return Poll::Ready(Ok(()));
                }
                Ok(Err(error)) => return Poll::Ready(Err(error)),
                Err(_would_wait) => {}
            }
        }
    }
}
