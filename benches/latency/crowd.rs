//! Two hundred clients of a feed: half of them read all that comes, half of them nothing.

use super::{Result, connect};
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::thread;

/// Of each sort.
const EACH: usize = 100;

/// Who they are, in words.
pub(super) const WHO: &str = "200 clients, 100 of them asleep";

/// Holds the sleepers; the others read in threads of their own until the daemon ends.
pub(super) struct Crowd {
    _asleep: Vec<UnixStream>,
}

/// Connects them all. A sleeper has requested the whole journal and takes none of it.
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
