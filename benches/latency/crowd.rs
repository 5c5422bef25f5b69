//! Two hundred clients of a feed: half of them read everything, half of them nothing.

use super::{Result, connect};
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::thread;

/// Number of clients of each kind.
const EACH: usize = 100;

/// The clients in words.
pub(super) const WHO: &str = "200 clients, 100 of them asleep";

/// Holds the clients that do not read. The others read in threads of their own until the daemon ends.
pub(super) struct Crowd {
    _asleep: Vec<UnixStream>,
}

/// Connects all clients. One that does not read has requested the whole journal.
pub(super) fn gather(socket: &Path) -> Result<Crowd> {
    let mut asleep = Vec::new();
    for _ in 0..EACH {
        let mut sleeper = connect(socket)?;
        sleeper.write_all(b"{\"after\":0}\n")?;
        asleep.push(sleeper);
        let mut reader = connect(socket)?;
        reader.set_read_timeout(None)?;
        thread::spawn(move || {
            let mut piece = vec![0; 64 * 1024];
            while reader.read(&mut piece).is_ok_and(|read| read > 0) {}
        });
    }
    Ok(Crowd { _asleep: asleep })
}
