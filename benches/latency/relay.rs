//! The bare relay: the smallest program that carries a line from a port over a disk to a socket.

use super::{Child, Contestant, LINE, Result, connect};
use std::fs::{File, OpenOptions};
use std::io::{BufReader, Read, Write};
use std::os::unix::net::UnixListener;
use std::path::Path;
use std::process::Command;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// First argument of this program when it runs as the relay.
pub(super) const ARGUMENT: &str = "relay";

/// Last argument if it must sync.
pub(super) const SYNC: &str = "sync";

/// Starts the relay as a process of its own, like the daemon.
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

/// Reads lines that end in CR from `port`. A line is in `file` before it goes to `socket`.
pub(super) fn run(port: &str, file: &str, socket: &str, sync: bool) -> Result<()> {
    let mut port = File::open(port)?;
    let mut file = OpenOptions::new().create(true).append(true).open(file)?;
    let listener = UnixListener::bind(socket)?;
    let (mut client, _) = listener.accept()?;
    let mut waiting = Vec::new();
    let mut piece = [0; 4096];
    loop {
        // The measurement ends with the port: 0 bytes, or an I/O error.
        let len = port.read(&mut piece).unwrap_or_default();
        if len == 0 {
            return Ok(());
        }
        waiting.extend_from_slice(piece.get(..len).unwrap_or_default());
        while let Some(end) = waiting.iter().position(|byte| *byte == b'\r') {
            let mut line: Vec<u8> = waiting.drain(..=end).collect();
            line.pop();
            line.resize(LINE - 1, b' ');
            line.push(b'\n');
            file.write_all(&line)?;
            if sync {
                file.sync_data()?;
            }
            client.write_all(&line)?;
        }
    }
}
