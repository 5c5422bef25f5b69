//! Clients of the page's event stream: the one whose time is measured, and a hundred others, half of which read
//! nothing.

use super::{PATIENCE, Result};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::thread;

/// Turns the page on.
pub(super) const CONFIGURATION: &str = "[page]\nlisten = \"127.0.0.1:0\"\n";

/// Number of clients of each kind.
const EACH: usize = 50;

/// The clients in words.
pub(super) const WHO: &str = "100 clients of the event stream, 50 of them stalled";

/// Address of the page of the daemon in this folder.
fn address(folder: &Path) -> Result<String> {
    let said = std::fs::read_to_string(folder.join("said"))?;
    let (_, behind) = said.split_once("http://").ok_or("no page is served")?;
    let (address, _) = behind.split_once('/').ok_or("no address of the page")?;
    Ok(address.to_owned())
}

fn ask(folder: &Path, path: &str) -> Result<TcpStream> {
    let address = address(folder)?;
    let mut stream = TcpStream::connect(&address)?;
    stream.write_all(format!("GET {path} HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes())?;
    Ok(stream)
}

/// A client that has received the state and waits for entries.
pub(super) fn follow(folder: &Path) -> Result<Box<dyn BufRead>> {
    let stream = ask(folder, "/events")?;
    stream.set_read_timeout(Some(PATIENCE))?;
    let mut feed = BufReader::new(stream);
    let mut line = String::new();
    while !line.starts_with("data: ") {
        line.clear();
        if feed.read_line(&mut line)? == 0 {
            return Err("the event stream was closed".into());
        }
    }
    Ok(Box::new(feed))
}

/// Holds the clients that read nothing. The others read in threads of their own until the daemon ends.
pub(super) struct Crowd {
    _stalled: Vec<TcpStream>,
}

/// Connects all clients. One that reads nothing has requested the whole journal.
pub(super) fn gather(folder: &Path) -> Result<Crowd> {
    let mut stalled = Vec::new();
    for _ in 0..EACH {
        stalled.push(ask(folder, "/events?after=0&state=each")?);
        let mut reader = ask(folder, "/events")?;
        thread::spawn(move || {
            let mut piece = vec![0; 64 * 1024];
            while reader.read(&mut piece).is_ok_and(|read| read > 0) {}
        });
    }
    Ok(Crowd { _stalled: stalled })
}
