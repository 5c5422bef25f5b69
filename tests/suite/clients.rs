//! Many clients and bad ones: what the others get, what it costs, and that nothing remains.

use crate::harness::{Daemon, Lines, PATIENCE, Shop};
use serde_json::{Value, json};
use std::fs;
use std::io::{Read, Write};
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

/// Maximum resident memory of the daemon, whatever its clients do. Measured are 15 to 70 MiB in a debug build. The
/// limit has room for other machines, but not for a leak by each client.
const MOST_MEMORY_KIB: u64 = 96 * 1024;

/// A number of `/proc/PID/status`.
fn status(daemon: &Daemon, field: &str) -> u64 {
    let text = fs::read_to_string(format!("/proc/{}/status", daemon.child.id())).unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix(field));
    let number = line.unwrap().trim_matches([':', ' ', '\t', 'k', 'B']);
    number.parse().unwrap()
}

pub(crate) fn assert_memory_is_bounded(daemon: &Daemon, what: &str) {
    let (most, now) = (status(daemon, "VmHWM"), status(daemon, "VmRSS"));
    println!("{what}: resident {now} KiB, {most} KiB at most");
    assert!(most < MOST_MEMORY_KIB, "{what}: {most} KiB");
}

fn descriptors(daemon: &Daemon) -> usize {
    let folder = format!("/proc/{}/fd", daemon.child.id());
    fs::read_dir(folder).unwrap().count()
}

/// Waits until the daemon has noticed that its clients are gone. It checks half-closed ones every 10 s.
pub(crate) fn await_descriptors(daemon: &Daemon, want: usize) {
    let deadline = Instant::now() + PATIENCE;
    while descriptors(daemon) > want {
        assert!(
            Instant::now() < deadline,
            "{} descriptors are open, want {want}",
            descriptors(daemon)
        );
        thread::sleep(Duration::from_millis(10));
    }
}

/// Number of open descriptors while no connection of this test is being closed.
pub(crate) fn descriptors_at_rest(daemon: &Daemon) -> usize {
    daemon.call("status", &json!({}));
    let deadline = Instant::now() + PATIENCE;
    let mut last = descriptors(daemon);
    let mut same_since = Instant::now();
    while same_since.elapsed() < Duration::from_millis(200) {
        assert!(Instant::now() < deadline, "never at rest");
        thread::sleep(Duration::from_millis(10));
        let now = descriptors(daemon);
        if now != last {
            (last, same_since) = (now, Instant::now());
        }
    }
    last
}

/// The lines of the journal after entry `after`, as one text.
fn after(lines: &[String], after: &Value) -> String {
    lines[usize::try_from(after.as_u64().unwrap()).unwrap()..].concat()
}

/// All lines of a client up to the one with `end` in it.
fn read_to(feed: &mut Lines, end: &str) -> String {
    let mut all = String::new();
    loop {
        let line = feed.next_line();
        assert!(!line.is_empty(), "the feed ended after {} bytes", all.len());
        all.push_str(&line);
        if line.contains(end) {
            return all;
        }
    }
}

#[test]
fn of_two_hundred_clients_a_hundred_sleep_and_the_others_get_every_line_in_order() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut own = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    own.wait_for("armed");
    let before = descriptors_at_rest(&daemon);

    let mut asleep: Vec<(Lines, Value)> = Vec::new();
    let mut awake = Vec::new();
    for number in 0..200 {
        let (mut feed, hello, _) = daemon.greeted_feed();
        let from = hello["last"].clone();
        if number % 2 == 0 {
            asleep.push((feed, from));
        } else {
            let reading = thread::spawn(move || read_to(&mut feed, "the last of it"));
            awake.push((reading, from));
        }
    }
    // Readings between notes of 4 KiB, more than all buffers of a client that does not read.
    let mut control = daemon.control();
    for round in 0..100 {
        let answer = control.call("note", &json!({"text": "x".repeat(4_000)}));
        assert!(answer["error"].is_null(), "{answer}");
        shop.press(160 + round % 5);
        own.wait_for("reading");
    }
    control.call("note", &json!({"text": "the last of it"}));
    drop(control);
    own.wait_for("completed");
    let lines = shop.journal_lines();
    let end = lines
        .iter()
        .position(|line| line.contains("the last of it"));
    let lines = &lines[..=end.unwrap()];
    assert_eq!(
        lines
            .iter()
            .filter(|line| line.contains("\"verdict\":\"pass\""))
            .count(),
        100
    );
    for (reading, from) in awake {
        assert!(
            reading.join().unwrap() == after(lines, &from),
            "other lines"
        );
    }
    assert_memory_is_bounded(&daemon, "200 clients, 100 of them asleep");

    for (mut feed, from) in asleep {
        let late = read_to(&mut feed, "the last of it");
        assert!(late == after(lines, &from), "a sleeper missed something");
    }
    await_descriptors(&daemon, before);
}

/// Something done to a connection. The answer may be lost, because the daemon may have closed it already.
type Act = fn(&mut UnixStream);

const ACTS: [(&str, Act); 7] = [
    ("closed at once", |_| {}),
    ("half closed", |stream| {
        let _ = stream.shutdown(Shutdown::Write);
    }),
    ("deaf", |stream| {
        let _ = stream.shutdown(Shutdown::Read);
    }),
    ("rubbish", |stream| {
        let mut seed = 0x2545_f491_4f6c_dd1d_u64;
        let mut bytes = [0; 2_000];
        for byte in &mut bytes {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            *byte = seed.to_le_bytes()[0];
        }
        let _ = stream.write_all(&bytes);
    }),
    ("half a line", |stream| {
        let _ = stream.write_all(b"{\"jsonrpc\":\"2.0\",\"id\":1,\"meth");
    }),
    ("a line too long", |stream| {
        let _ = stream.write_all(&vec![b'['; 70_000]);
        let _ = stream.shutdown(Shutdown::Write);
        let _ = stream.read_to_end(&mut Vec::new());
    }),
    ("many lines", |stream| {
        let _ = stream.write_all(&b"{\"after\":0}\n{}\n\n[]\nnull\n".repeat(50));
    }),
];

/// A thousand connections that misbehave and are closed; in between the daemon must answer.
fn storm(daemon: &Daemon, socket: &PathBuf) {
    for round in 0..1_000 {
        let (name, act) = ACTS[round % ACTS.len()];
        let mut stream = UnixStream::connect(socket)
            .unwrap_or_else(|error| panic!("round {round}, {name}: {error}"));
        stream.set_write_timeout(Some(PATIENCE)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        act(&mut stream);
        if round % 100 == 99 {
            daemon.control().call("status", &json!({}));
        }
    }
}

#[test]
fn a_thousand_bad_connections_to_each_socket_leave_nothing_behind() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let before = descriptors_at_rest(&daemon);
    for socket in ["run/feed.sock", "run/control.sock"] {
        storm(&daemon, &shop.path(socket));
        await_descriptors(&daemon, before);
    }
    assert_memory_is_bounded(&daemon, "2000 bad connections");
    shop.press(162);
    assert_eq!(feed.wait_for("reading")["verdict"], "pass");
    let kinds = shop.journal_lines();
    assert!(
        kinds
            .iter()
            .all(|line| !line.contains("\"kind\":\"unread\"")),
        "what clients send is no business of the journal"
    );
    let verified = shop.run(&["verify"]);
    assert!(verified.status.success(), "{verified:?}");
}

#[test]
fn half_closed_clients_are_served_while_they_read_and_forgotten_when_they_go() {
    let shop = Shop::new();
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let before = descriptors_at_rest(&daemon);
    let mut clients: Vec<Lines> = (0..50).map(|_| daemon.greeted_feed().0).collect();
    for client in &clients {
        client.stream.get_ref().shutdown(Shutdown::Write).unwrap();
    }
    daemon.call("note", &json!({"text": "all of you"}));
    for client in &mut clients {
        assert_eq!(client.wait_for("noted")["text"], "all of you");
    }
    drop(clients);
    await_descriptors(&daemon, before);
}

#[test]
fn a_client_that_asks_for_everything_over_and_over_and_reads_none_of_it_costs_no_memory() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut control = daemon.control();
    for _ in 0..300 {
        control.call("note", &json!({"text": "y".repeat(4_000)}));
    }
    let before = descriptors_at_rest(&daemon);
    let greedy: Vec<UnixStream> = (0..100)
        .map(|_| {
            let mut stream = UnixStream::connect(shop.path("run/feed.sock")).unwrap();
            stream.set_nonblocking(true).unwrap();
            // Until the daemon accepts no more, because it does not read from a client that reads nothing.
            while stream.write_all(&b"{\"after\":0}\n".repeat(500)).is_ok() {}
            stream
        })
        .collect();
    control.call("note", &json!({"text": "served all the same"}));
    assert_memory_is_bounded(&daemon, "100 clients that ask and do not read");
    drop(greedy);
    await_descriptors(&daemon, before);
}
