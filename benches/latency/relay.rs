//! The bare relay: the smallest program that could carry a line from a port over a disk to a socket.

use super::{Child, Contestant, Result, connect};
use std::fs::{File, OpenOptions};
use std::io::{BufReader, Read, Write};
use std::os::unix::net::UnixListener;
use std::path::Path;
use std::process::Command;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// The first argument of this program when it is to be the relay.
pub(super) const ARGUMENT: &str = "relay";

/// Its last argument when it is to sync.
pub(super) const SYNC: &str = "sync";

/// As long as a reading's entry without its newline, so that both ask the same of the disk.
const LINE_BYTES: usize = 484;

/// Starts the relay, a process of its own as the daemon is.
pub(super) fn start(folder: &Path, sync: bool) -> Result<Contestant> {
    std::fs::create_dir_all(folder)?;
    let caliper = VirtualCaliper::open()?;
    let process = Command::new(std::env::current_exe()?)
        .arg(ARGUMENT)
        .arg(caliper.path())
        .arg(folder.join("lines"))
        .arg(folder.join("feed.sock"))
        .arg(if sync { SYNC } else { "no-sync" })
        .spawn()?;
    let process = Child(process);
    let feed = connect(&folder.join("feed.sock"))?;
    Ok(Contestant {
        caliper,
        feed: Box::new(BufReader::new(feed)),
        before_value: "+",
        besides: "",
        _process: process,
    })
}

/// Reads lines that end with CR from `port`; a line is in `file` before it is on `socket`.
pub(super) fn run(port: &str, file: &str, socket: &str, sync: bool) -> Result<()> {
    let mut port = File::open(port)?;
    let mut file = OpenOptions::new().create(true).append(true).open(file)?;
    let listener = UnixListener::bind(socket)?;
    let (mut client, _) = listener.accept()?;
    let mut waiting = Vec::new();
    let mut piece = [0; 4096];
    loop {
        // The end of the measurement is the end of the port: 0 bytes, or an I/O error.
        let len = port.read(&mut piece).unwrap_or_default();
        if len == 0 {
            return Ok(());
        }
        waiting.extend_from_slice(piece.get(..len).unwrap_or_default());
        while let Some(end) = waiting.iter().position(|byte| *byte == b'\r') {
            let mut line: Vec<u8> = waiting.drain(..=end).collect();
            line.pop();
            line.resize(LINE_BYTES, b' ');
            line.push(b'\n');
            file.write_all(&line)?;
            if sync {
                file.sync_data()?;
            }
            client.write_all(&line)?;
        }
    }
}
