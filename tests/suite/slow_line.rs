//! A line between an outlet and its server that lets bytes through slowly.

use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::Duration;

/// Bytes that pass together, with a pause behind each.
const PIECE: usize = 64;
const PAUSE: Duration = Duration::from_millis(1);

/// At most 64 kB a second each way, until the process ends.
pub(crate) struct SlowLine {
    pub(crate) port: u16,
    pieces: Arc<AtomicU64>,
}

impl SlowLine {
    /// A line to this port.
    pub(crate) fn to(port: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let line = Self {
            port: listener.local_addr().unwrap().port(),
            pieces: Arc::default(),
        };
        let pieces = Arc::clone(&line.pieces);
        thread::spawn(move || {
            for near in listener.incoming().map_while(Result::ok) {
                let Ok(far) = TcpStream::connect(("127.0.0.1", port)) else {
                    continue;
                };
                let ends = [
                    (near.try_clone().unwrap(), far.try_clone().unwrap()),
                    (far, near),
                ];
                for (from, to) in ends {
                    let pieces = Arc::clone(&pieces);
                    thread::spawn(move || pass(from, &to, &pieces));
                }
            }
        });
        line
    }

    /// The time for which it held bytes back so far.
    pub(crate) fn held_back(&self) -> Duration {
        PAUSE * u32::try_from(self.pieces.load(Ordering::Relaxed)).unwrap()
    }
}

fn pass(mut from: TcpStream, mut to: &TcpStream, pieces: &AtomicU64) {
    to.set_nodelay(true).unwrap();
    let mut piece = [0; PIECE];
    while let Ok(count @ 1..) = from.read(&mut piece) {
        if to.write_all(&piece[..count]).is_err() {
            break;
        }
        pieces.fetch_add(1, Ordering::Relaxed);
        thread::sleep(PAUSE);
    }
    let _ = to.shutdown(Shutdown::Write);
}
