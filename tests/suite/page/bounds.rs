//! Requests that are too large, too slow or too many: each ends, and costs others nothing.

use super::connected;
use super::http::{Events, Http, get, shop};
use serde_json::json;
use std::io::{Read, Write};
use std::thread;
use std::time::Instant;

#[test]
fn heads_and_bodies_that_are_too_large_are_refused() {
    let shop = shop();
    let (daemon, address, token) = connected(&shop);
    let mut http = Http::connect(&address);
    http.send(format!("GET / HTTP/1.1\r\nHost: {address}\r\nX: ").as_bytes());
    // The server may refuse and close before it has read everything.
    let _ = http.stream.get_mut().write_all(&vec![b'x'; 100_000]);
    let _ = http.stream.get_mut().write_all(b"\r\n\r\n");
    if let Some((status, _)) = http.head() {
        assert_eq!(status, 431);
    }
    let mut http = Http::connect(&address);
    let many = "A: b\r\n".repeat(200);
    http.send(format!("GET / HTTP/1.1\r\nHost: {address}\r\n{many}\r\n").as_bytes());
    assert_eq!(http.head().unwrap().0, 431);

    let headers = format!("Authorization: Bearer {token}\r\nContent-Type: application/json\r\n");
    let mut http = Http::connect(&address);
    http.send(format!("POST /control HTTP/1.1\r\nHost: {address}\r\n{headers}Content-Length: 9000000000\r\n\r\n").as_bytes());
    assert_eq!(
        http.answer().unwrap().status,
        413,
        "told before any of it is read"
    );
    let mut http = Http::connect(&address);
    http.send(format!("POST /control HTTP/1.1\r\nHost: {address}\r\n{headers}Transfer-Encoding: chunked\r\n\r\n").as_bytes());
    for _ in 0..40 {
        let chunk = format!("1000\r\n{}\r\n", "[".repeat(4096));
        if http.stream.get_mut().write_all(chunk.as_bytes()).is_err() {
            break;
        }
    }
    assert_eq!(http.answer().unwrap().status, 413);
    let text = "x".repeat(60_000);
    let noted = super::command(&address, &token, "note", &json!({"text": text}));
    assert!(noted["error"]["message"].is_string() || noted["result"]["seq"].is_u64());
    assert_eq!(daemon.call("status", &json!({}))["journal_health"], "ok");
}

#[test]
fn who_sends_a_byte_now_and_then_is_let_go_and_so_is_who_sends_nothing() {
    let shop = shop();
    let (_daemon, address, token) = connected(&shop);
    let head = format!(
        "POST /control HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\nContent-Type: application/json\r\nContent-Length: 30000\r\n\r\n"
    );
    let slow = [String::new(), "GET / HTTP/1.1\r\nX: ".to_owned(), head];
    let waiting: Vec<_> = slow
        .into_iter()
        .map(|text| {
            let address = address.clone();
            thread::spawn(move || {
                let mut http = Http::connect(&address);
                http.send(text.as_bytes());
                let mut drip = http.stream.get_ref().try_clone().unwrap();
                let began = Instant::now();
                let dripping = !text.is_empty();
                let ended = thread::spawn(move || http.head());
                // A byte now and then must not extend the time limit.
                while !ended.is_finished() {
                    assert!(
                        began.elapsed() < crate::harness::PATIENCE,
                        "still open: {text:?}"
                    );
                    if dripping && drip.write_all(b"x").is_err() {
                        break;
                    }
                    thread::sleep(std::time::Duration::from_millis(100));
                }
                ended.join().unwrap().map(|(status, _)| status)
            })
        })
        .collect();
    // Meanwhile others are served.
    assert_eq!(get(&address, "/healthz").status, 200);
    let ends: Vec<_> = waiting.into_iter().map(|one| one.join().unwrap()).collect();
    assert_eq!(ends, [None, None, Some(408)]);
}

#[test]
fn of_a_hundred_event_clients_half_take_nothing_and_the_others_get_every_line_in_order() {
    let mut shop = shop();
    let (daemon, address, _) = connected(&shop);
    let mut feed = daemon.feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    feed.wait_for("armed");
    let from = daemon.call("status", &json!({}))["state"]["seq"]
        .as_u64()
        .unwrap();
    let mut stalled = Vec::new();
    let mut awake = Vec::new();
    for number in 0..100 {
        let mut events = Events::open_with(&address, &format!("/events?after={from}"), "");
        if number % 2 == 0 {
            stalled.push(events);
        } else {
            awake.push(thread::spawn(move || read_to_the_last(&mut events)));
        }
    }
    // Readings between notes of 4 KiB, more than all buffers of a client that does not read.
    let mut control = daemon.control();
    for round in 0..100 {
        let answer = control.call("note", &json!({"text": "x".repeat(4_000)}));
        assert!(answer["error"].is_null(), "{answer}");
        shop.press(160 + round % 5);
        feed.wait_for("reading");
    }
    control.call("note", &json!({"text": "the last of it"}));
    feed.wait_for("completed");
    let lines = shop.journal_lines();
    let end = lines
        .iter()
        .position(|line| line.contains("the last of it"));
    let want = lines[usize::try_from(from).unwrap()..=end.unwrap()].concat();
    for reading in awake {
        assert!(reading.join().unwrap() == want, "other lines");
    }
    crate::clients::assert_memory_is_bounded(&daemon, "100 event clients, 50 of them stalled");
    // A client that took nothing for a minute was disconnected, and says where it was when it reconnects.
    for mut events in stalled {
        let late = read_to_the_last_coming_back(&mut events, &address, from);
        assert!(late == want, "a sleeper missed something");
    }
}

/// All entries of a client up to the last note.
fn read_to_the_last(events: &mut Events) -> String {
    let mut all = String::new();
    loop {
        let (_, line) = events.entry().expect("the stream has ended");
        all.push_str(&line);
        if line.contains("the last of it") {
            return all;
        }
    }
}

/// The same for a client that may have been disconnected meanwhile.
fn read_to_the_last_coming_back(events: &mut Events, address: &str, from: u64) -> String {
    let (mut all, mut last) = (String::new(), from);
    loop {
        let Some((seq, line)) = events.entry() else {
            let headers = format!("Last-Event-ID: {last}\r\n");
            *events = Events::open_with(address, "/events", &headers);
            continue;
        };
        last = seq;
        all.push_str(&line);
        if line.contains("the last of it") {
            return all;
        }
    }
}

#[test]
fn more_event_clients_than_there_are_places_are_told_so_and_a_place_is_free_again() {
    let shop = shop();
    let (_daemon, address, _) = connected(&shop);
    let mut all: Vec<_> = (0..tallyjaw::page::MOST_EVENT_CLIENTS)
        .map(|_| Events::open(&address, None))
        .collect();
    let refused = get(&address, "/events");
    assert_eq!(refused.status, 503);
    assert_eq!(
        refused.body,
        "128 clients have the event stream, no more are served\nhelp: ask again in a while\n"
    );
    assert_eq!(
        get(&address, "/state").status,
        200,
        "everything else is served"
    );
    all.pop();
    let began = Instant::now();
    while get(&address, "/metrics")
        .body
        .contains("{of=\"events\"} 128")
    {
        assert!(
            began.elapsed() < crate::harness::PATIENCE,
            "the place is never free"
        );
    }
    drop(Events::open(&address, None));
}

#[test]
fn a_thousand_bad_connections_leave_nothing_behind() {
    let mut shop = shop();
    let (daemon, address, _) = connected(&shop);
    let mut feed = daemon.feed();
    let before = crate::clients::descriptors_at_rest(&daemon);
    let acts: [&[u8]; 6] = [
        b"",
        b"\x16\x03\x01\x02\x00\x01\x00",
        b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET /state HTTP/1.1\r\nHost: localhost\r\n\r\nGET /metrics HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"POST /control HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n{",
        b"\0\n\r\n\xff\xff HTTP/9.9\r\n\r\n",
    ];
    for round in 0..1_000 {
        let mut stream = std::net::TcpStream::connect(&address).unwrap();
        let _ = stream.write_all(acts[round % acts.len()]);
        if round % 3 == 0 {
            let _ = stream.shutdown(std::net::Shutdown::Write);
        }
        if round % 7 == 0 {
            let _ = stream.read(&mut [0; 64]);
        }
    }
    crate::clients::await_descriptors(&daemon, before);
    crate::clients::assert_memory_is_bounded(&daemon, "1000 bad connections to the page");
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(162);
    assert_eq!(feed.wait_for("reading")["verdict"], "pass");
}
