//! Feed clients that have every line so far. The task that announces new lines writes to them directly, the same bytes
//! to all, because waking a task for each client would delay the line.
//!
//! In: durable lines. Out: their bytes, as many as a socket accepts without waiting.
//!
//! - Nothing waits here. What a socket does not accept at once, the client's own task sends.
//! - A write takes microseconds, and there are at most [`MOST_CLIENTS`](super::MOST_CLIENTS). Each time another client is
//!   first, so that none always waits for all others.

use super::socket::Socket;
use crate::entry::Seq;
use std::sync::Arc;
use tokio::sync::Notify;

/// Larger amounts are left to the client's own task.
const CHUNK: usize = 64 * 1024;

/// The clients of a daemon that are written to directly.
#[derive(Debug, Default)]
pub(super) struct AtEnd {
    places: Vec<Seat>,
    next_id: u64,
}

#[derive(Debug)]
struct Seat {
    id: u64,
    socket: Arc<Socket>,
    left: Left,
    /// Notified once it has accepted less than everything; from then on nothing is written here.
    behind: Option<Arc<Notify>>,
}

/// State of a client that leaves.
#[derive(Debug)]
pub(super) struct Left {
    /// The newest entry that was written, or is in `bytes`.
    pub(super) after: Seq,
    /// Lines that were sent in part.
    pub(super) bytes: Vec<u8>,
    /// Number of bytes of `bytes` that were sent.
    pub(super) written: usize,
}

impl AtEnd {
    /// Adds a client that has every entry up to `after`. `behind` is notified when its own task must serve it again.
    pub(super) fn enter(&mut self, after: Seq, socket: &Arc<Socket>, behind: &Arc<Notify>) -> u64 {
        self.next_id += 1;
        self.places.push(Seat {
            id: self.next_id,
            socket: Arc::clone(socket),
            left: Left {
                after,
                bytes: Vec::new(),
                written: 0,
            },
            behind: Some(Arc::clone(behind)),
        });
        self.next_id
    }

    /// Removes a client; `None` if the number is unknown.
    pub(super) fn leave(&mut self, id: u64) -> Option<Left> {
        let at = self.places.iter().position(|place| place.id == id)?;
        Some(self.places.remove(at).left)
    }

    /// Writes the next lines, which end with entry `last`, to every client that accepts them without waiting.
    pub(super) fn write<'a>(&mut self, lines: impl Iterator<Item = &'a [u8]>, last: Seq) {
        if self.places.is_empty() {
            return;
        }
        let mut bytes = Vec::new();
        for line in lines {
            bytes.extend_from_slice(line);
            bytes.push(b'\n');
        }
        self.places.rotate_left(1);
        for place in &mut self.places {
            place.write(&bytes, last);
        }
    }
}

impl Seat {
    fn write(&mut self, bytes: &[u8], last: Seq) {
        let Some(behind) = &self.behind else {
            return;
        };
        let written = if bytes.len() > CHUNK {
            None
        } else {
            self.socket.try_write(bytes).ok() // Full or gone; its own task will find out.
        };
        if let Some(written) = written {
            self.left.after = last;
            if written == bytes.len() {
                return;
            }
            self.left.bytes = bytes.to_vec();
            self.left.written = written;
        }
        behind.notify_one();
        self.behind = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::net::UnixStream;

    /// Two ends of a socket, of which the near one accepts bytes.
    fn socket() -> (Arc<Socket>, UnixStream) {
        let (near, far) = UnixStream::pair().unwrap();
        (Arc::new(Socket::new(near).unwrap()), far)
    }

    async fn all_that_came(far: &UnixStream) -> Vec<u8> {
        let mut got = Vec::new();
        loop {
            let mut chunk = [0; 4096];
            match far.try_read(&mut chunk) {
                Ok(len) => got.extend_from_slice(&chunk[..len]),
                // The kernel may not have noticed yet that there is something to read.
                Err(_) if got.is_empty() => far.readable().await.unwrap(),
                Err(_) => return got,
            }
        }
    }

    fn enter(at_end: &mut AtEnd, after: u64, socket: &Arc<Socket>) -> u64 {
        at_end.enter(Seq(after), socket, &Arc::default())
    }

    fn run(test: impl Future<Output = ()>) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(test);
    }

    #[test]
    fn who_reads_gets_each_line_at_once() {
        run(async {
            let (writer, far) = socket();
            let mut at_end = AtEnd::default();
            let id = enter(&mut at_end, 1, &writer);
            at_end.write([&b"two"[..], b"three"].into_iter(), Seq(3));
            assert_eq!(all_that_came(&far).await, b"two\nthree\n");
            let left = at_end.leave(id).unwrap();
            assert_eq!((left.after, left.bytes.len()), (Seq(3), 0));
            assert!(at_end.leave(id).is_none());
        });
    }

    #[test]
    fn who_does_not_read_keeps_its_place_in_the_order_and_gets_no_line_twice_or_in_part() {
        run(async {
            let (writer, far) = socket();
            let mut at_end = AtEnd::default();
            let behind = Arc::new(Notify::new());
            let id = at_end.enter(Seq(0), &writer, &behind);
            let line = vec![b'x'; 1000];
            for seq in 1..10_000 {
                at_end.write(std::iter::once(&line[..]), Seq(seq));
            }
            behind.notified().await;
            let left = at_end.leave(id).unwrap();
            assert!(left.after < Seq(9_999), "a socket has no end of room");
            let mut got = all_that_came(&far).await;
            got.extend_from_slice(left.bytes.get(left.written..).unwrap());
            let lines = u64::try_from(got.len()).unwrap() / 1001;
            assert_eq!((got.len() % 1001, Seq(lines)), (0, left.after));
        });
    }

    #[test]
    fn each_line_goes_to_another_client_first() {
        run(async {
            let (one, _far) = socket();
            let mut at_end = AtEnd::default();
            let ids: Vec<_> = (0..3).map(|_| enter(&mut at_end, 1, &one)).collect();
            let mut firsts = Vec::new();
            for seq in 2..5 {
                at_end.write(std::iter::once(&b"line"[..]), Seq(seq));
                firsts.extend(at_end.places.first().map(|place| place.id));
            }
            firsts.sort_unstable();
            assert_eq!(firsts, ids);
        });
    }
}
