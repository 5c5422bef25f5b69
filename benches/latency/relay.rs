//! The bare relay: the smallest program that carries a line from a port over a disk to a socket, or to many.

use super::{Child, Contestant, LINE, Result, connect};
use std::fs::{File, OpenOptions};
use std::io::{BufReader, ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::process::Command;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// First argument of this program when it runs as the relay.
pub(super) const ARGUMENT: &str = "relay";

/// Last argument if it must sync.
pub(super) const SYNC: &str = "sync";

/// Starts the relay as a process of its own, like the daemon, with the clients that `gather` connects before the one that
/// is measured.
pub(super) fn start<C: 'static>(
    folder: &Path,
    sync: bool,
    gather: impl FnOnce(&Path) -> Result<C>,
) -> Result<Contestant> {
    std::fs::create_dir_all(folder)?;
    let caliper = VirtualCaliper::open()?;
    let socket = folder.join("feed.sock");
    let process = Command::new(std::env::current_exe()?)
        .arg(ARGUMENT)
        .arg(caliper.path())
        .arg(folder.join("lines"))
        .arg(&socket)
        .arg(if sync { SYNC } else { "no-sync" })
        .spawn()?;
    let process = Child(process);
    drop(connect(&socket)?); // It listens.
    let crowd = gather(&socket)?;
    let feed = connect(&socket)?;
    Ok(Contestant {
        caliper,
        feed: Box::new(BufReader::new(feed)),
        before_value: "+",
        besides: "",
        process,
        _crowd: Box::new(crowd),
    })
}

/// Reads lines that end in CR from `port`. A line is in `file` before it goes to the clients of `socket`, each time to
/// another one first. A client that does not take a whole line at once is not served any more.
pub(super) fn run(port: &str, file: &str, socket: &str, sync: bool) -> Result<()> {
    let mut port = File::open(port)?;
    let mut file = OpenOptions::new().create(true).append(true).open(file)?;
    let listener = UnixListener::bind(socket)?;
    listener.set_nonblocking(true)?;
    let mut clients = Vec::new();
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
            if clients.is_empty() {
                accept_all(&listener, &mut clients)?;
            } else {
                clients.rotate_left(1);
            }
            clients.retain_mut(|client| client.write(&line).is_ok_and(|len| len == LINE));
        }
    }
}

/// Takes everyone who has connected so far.
fn accept_all(listener: &UnixListener, clients: &mut Vec<UnixStream>) -> Result<()> {
    loop {
        match listener.accept() {
            Ok((client, _)) => {
                client.set_nonblocking(true)?;
                clients.push(client);
            }
            Err(error) if error.kind() == ErrorKind::WouldBlock => return Ok(()),
            Err(error) => return Err(error.into()),
        }
    }
}
