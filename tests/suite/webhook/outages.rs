//! Receivers that are killed, full, slow or ask who comes: what they have taken is what the journal holds.

use super::{Receiver, assert_complete, note, sink, until};
use crate::harness::{PATIENCE, Shop};
use crate::mqtt::free_port;
use crate::slow_line::SlowLine;
use crate::timestamp::authority::Authority;
use crate::webhook::receiver::{Does, status};
use serde_json::Value;
use std::fs;
use std::io::Write as _;
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command};
use std::thread;
use std::time::{Duration, Instant};

/// A receiver that keeps each body as a line of a file before it answers.
const KEEPS: &str = r#"
import http.server, os, sys
kept = os.open(sys.argv[2], os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
class Receiver(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        os.write(kept, body + b"\n")
        self.send_response(204)
        self.end_headers()
    def log_message(self, *_): pass
http.server.ThreadingHTTPServer(("127.0.0.1", int(sys.argv[1])), Receiver).serve_forever()
"#;

/// A receiver as a process, which listens.
struct Process(Child);

impl Process {
    fn start(port: u16, kept: &Path) -> Self {
        let deadline = Instant::now() + PATIENCE;
        loop {
            let child = Command::new("python3")
                .args(["-c", KEEPS, &port.to_string()])
                .arg(kept)
                .spawn();
            let mut process = Self(child.unwrap());
            // It ends at once while something else has the port.
            while process.0.try_wait().unwrap().is_none() {
                if TcpStream::connect(("127.0.0.1", port)).is_ok() {
                    return process;
                }
                assert!(Instant::now() < deadline, "the receiver does not listen");
                thread::sleep(Duration::from_millis(5));
            }
            assert!(Instant::now() < deadline, "the receiver ends at its start");
        }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_receiver_that_is_killed_under_load_has_kept_every_entry_of_the_journal() {
    let shop = Shop::new();
    let (port, kept) = (free_port(), shop.path("kept"));
    sink(&shop, "erp", &format!("http://127.0.0.1:{port}"), "");
    let mut receiver = Process::start(port, &kept);
    let daemon = shop.start();
    let mut last = 0;
    for round in 0..3 {
        let mut load = || {
            for number in 0..10 {
                last = note(&daemon, &format!("{round}, {number}"));
            }
        };
        load();
        drop(receiver); // killed while entries are on their way
        load();
        receiver = Process::start(port, &kept);
        load();
        until(&daemon, "erp", |sink| sink["after"].as_u64() >= Some(last));
    }
    assert!(daemon.stop().0.success());
    let text = fs::read_to_string(&kept).unwrap();
    let events: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_complete(&shop, "erp", &events, last);
}

#[test]
fn a_receiver_without_room_on_its_disk_gets_each_entry_once_there_is_some() {
    let shop = Shop::new();
    let full = shop.path("disk");
    std::os::unix::fs::symlink("/dev/full", &full).unwrap();
    let file = full.clone();
    let receiver = Receiver::start(
        Vec::new(),
        Box::new(move |_, request| {
            let mut options = fs::OpenOptions::new();
            let mut file = options.append(true).create(true).open(&file).unwrap();
            match file.write_all(&request.body) {
                Ok(()) => Does::Takes,
                Err(error) => {
                    assert_eq!(error.kind(), std::io::ErrorKind::StorageFull);
                    status("507 Insufficient Storage", "")
                }
            }
        }),
    );
    let address = format!("http://127.0.0.1:{}", receiver.port);
    sink(&shop, "erp", &address, "");
    let daemon = shop.start();
    let failing = until(&daemon, "erp", |sink| !sink["failing"].is_null());
    let remedy = failing["failing"]["remedy"].as_str().unwrap();
    assert!(remedy.contains("make room at the receiver"), "{failing}");
    for number in 0..20 {
        note(&daemon, &format!("number {number}"));
    }
    fs::remove_file(&full).unwrap();
    let last = note(&daemon, "there is room");
    until(&daemon, "erp", |sink| sink["after"].as_u64() >= Some(last));
    assert!(daemon.stop().0.success());
    let events = receiver.events();
    assert_complete(&shop, "erp", &events, last);
    assert_once(&events);
}

/// No entry came twice.
fn assert_once(events: &[Value]) {
    let seqs = events.iter().map(|event| event["data"]["seq"].as_u64());
    let want = (1..=u64::try_from(events.len()).unwrap()).map(Some);
    assert!(seqs.eq(want), "an entry came twice");
}

#[test]
fn over_a_slow_line_each_entry_comes_once_and_that_is_no_failure() {
    let shop = Shop::new();
    let receiver = Receiver::start(Vec::new(), Box::new(|_, _| Does::Takes));
    let line = SlowLine::to(receiver.port);
    sink(&shop, "erp", &format!("http://127.0.0.1:{}", line.port), "");
    let daemon = shop.start();
    let mut last = 0;
    for number in 0..30 {
        last = note(&daemon, &format!("number {number}"));
    }
    let well = until(&daemon, "erp", |sink| sink["after"].as_u64() >= Some(last));
    assert_eq!(well["failures"], 0, "{well}");
    assert!(daemon.stop().0.success());
    let events = receiver.events();
    assert_complete(&shop, "erp", &events, last);
    assert_once(&events);
    assert!(line.held_back() > Duration::from_millis(100));
}

#[test]
fn a_receiver_that_does_not_know_our_certificate_gets_nothing_until_it_does_and_then_all() {
    let shop = Shop::new();
    let (authority, stranger) = (Authority::new(), Authority::new());
    let receiver = Receiver::start(vec![authority.asking_door()], Box::new(|_, _| Does::Takes));
    stranger.identify("bench", shop.dir.path());
    let keys = format!(
        "ca_file = \"{}\"\nclient_certificate = \"client.pem\"\nclient_key = \"client.key\"",
        authority.ca()
    );
    let address = format!("https://localhost:{}", receiver.port);
    sink(&shop, "erp", &address, &keys);
    let daemon = shop.start();
    until(&daemon, "erp", |sink| !sink["failing"].is_null());
    note(&daemon, "nobody takes it yet");
    assert!(receiver.requests().is_empty());
    authority.identify("bench", shop.dir.path());
    let last = note(&daemon, "we are known");
    until(&daemon, "erp", |sink| sink["after"].as_u64() >= Some(last));
    assert!(daemon.stop().0.success());
    let events = receiver.events();
    assert_complete(&shop, "erp", &events, last);
    assert_once(&events);
}
