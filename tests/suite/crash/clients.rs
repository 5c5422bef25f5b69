//! Three clients of the feed and some that write notes, until the daemon is gone.

use crate::harness::{Daemon, Lines};
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::os::unix::net::UnixStream;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{self, JoinHandle};

/// Number of clients that write notes; several, so that one write takes several pages of the file.
const WRITERS: usize = 4;
/// Number of notes after which one has almost the maximum length.
const NOTES_A_LARGE_ONE: usize = 3;
const LARGE: usize = 4_000;

/// What a client has received.
pub(super) enum Seen {
    /// Lines of the feed; the last one may be cut off.
    Feed {
        bytes: Vec<u8>,
        /// The entry after which everything was requested.
        after: Option<u64>,
    },
    /// Acknowledged notes: number of the entry, and text.
    Notes(Vec<(u64, String)>),
}

/// All clients, each in a thread.
pub(super) struct Clients {
    first: Receiver<Value>,
    threads: Vec<JoinHandle<Seen>>,
}

impl Clients {
    /// `after` is the entry that the third one continues from.
    pub(super) fn connect(daemon: &Daemon, after: u64) -> Self {
        let (tell, first) = channel();
        let feed = || daemon.feed().stream;
        let (one, two, mut three) = (feed(), feed(), daemon.feed());
        three.send(&json!({"after": after}).to_string());
        let mut threads = vec![
            thread::spawn(move || read(one, None, Some(&tell))),
            thread::spawn(move || read(two, None, None)),
            thread::spawn(move || read(three.stream, Some(after), None)),
        ];
        for _ in 0..WRITERS {
            let control = daemon.control();
            threads.push(thread::spawn(move || say_notes(control)));
        }
        Self { first, threads }
    }

    /// The next line of the first client; `None` once its feed has ended.
    pub(super) fn next_of_the_first(&self) -> Option<Value> {
        self.first.recv().ok()
    }

    /// What they had received when the daemon was gone.
    pub(super) fn seen(self) -> Vec<Seen> {
        drop(self.first);
        let threads = self.threads.into_iter();
        threads.map(|thread| thread.join().unwrap()).collect()
    }
}

fn read(mut feed: BufReader<UnixStream>, after: Option<u64>, tell: Option<&Sender<Value>>) -> Seen {
    let mut bytes = Vec::new();
    loop {
        let from = bytes.len();
        // An error means the end too: the other side was killed with unread data.
        match feed.read_until(b'\n', &mut bytes) {
            Ok(1..) if bytes.ends_with(b"\n") => {
                if let Some(tell) = tell {
                    // The receiver may have read enough.
                    let _ = tell.send(serde_json::from_slice(&bytes[from..]).unwrap());
                }
            }
            Ok(_) | Err(_) => return Seen::Feed { bytes, after },
        }
    }
}

fn say_notes(mut control: Lines) -> Seen {
    let mut acknowledged = Vec::new();
    for number in 1.. {
        let large = number % NOTES_A_LARGE_ONE == 0;
        let filling = "x".repeat(if large { LARGE } else { 0 });
        let text = format!("note {number} {filling}");
        let call = json!({"jsonrpc": "2.0", "id": number, "method": "note",
            "params": {"station": "bench-1", "text": text}});
        let Some(answer) = ask(&mut control, &call) else {
            break;
        };
        let seq = answer["result"]["seq"].as_u64();
        acknowledged.push((seq.unwrap_or_else(|| panic!("{answer}")), text));
    }
    Seen::Notes(acknowledged)
}

/// The whole answer; `None` once the daemon is gone.
fn ask(control: &mut Lines, call: &Value) -> Option<Value> {
    use std::io::Write as _;
    let sent = control
        .stream
        .get_mut()
        .write_all(format!("{call}\n").as_bytes());
    let mut line = String::new();
    sent.and_then(|()| control.stream.read_line(&mut line))
        .ok()?;
    line.ends_with('\n')
        .then(|| serde_json::from_str(&line).unwrap())
}
