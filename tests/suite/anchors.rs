//! `verify --anchor`: what others keep of a journal, against a journal that was cut, written again or exchanged.

use crate::harness::{Daemon, Shop};
use crate::mqtt::{Broker, Subscriber, free_port};
use serde_json::{Value, json};
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::Output;
use std::thread;
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::entry::{Entry, SaidEntry};

/// A short series and some notes. Returns the number of the last note.
pub(crate) fn measure(shop: &mut Shop, daemon: &Daemon) -> u64 {
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(163);
    feed.wait_for("reading");
    let notes = ["one", "two", "three"];
    let seqs = notes.map(|text| daemon.call("note", &json!({ "text": text }))["seq"].as_u64());
    seqs[2].unwrap()
}

/// A shop whose daemon has stopped after that.
fn measured() -> Shop {
    let mut shop = Shop::new();
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    assert!(daemon.stop().0.success());
    shop
}

pub(crate) fn segment(shop: &Shop) -> PathBuf {
    shop.path("state/journal/00000001.jsonl")
}

/// The anchor of a line of this journal, counted from 1.
fn anchor(shop: &Shop, seq: usize) -> Value {
    let lines = shop.journal_lines();
    let line = lines[seq - 1].trim_end();
    let first: Value = serde_json::from_str(&lines[0]).unwrap();
    json!({"journal": first["journal"], "seq": seq, "digest": Digest::of(line.as_bytes())})
}

fn verify(shop: &Shop, anchors: &str) -> Output {
    shop.write("kept.jsonl", anchors);
    shop.run(&[
        "verify",
        "--anchor",
        shop.path("kept.jsonl").to_str().unwrap(),
    ])
}

/// What `verify` says with these anchors, and its exit code.
pub(crate) fn said(shop: &Shop, anchors: &str) -> (Option<i32>, String) {
    let got = verify(shop, anchors);
    let text = [got.stdout, got.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    (got.status.code(), text.concat())
}

/// Writes the journal again with another note, and a chain that fits.
pub(crate) fn written_again(shop: &Shop) {
    let mut prev = Digest::NONE;
    let mut text = Vec::new();
    for line in shop.journal_lines() {
        let (mut stamped, _) = decode(line.trim_end().as_bytes()).unwrap();
        if let Entry::Said(SaidEntry::Noted(noted)) = &mut stamped.entry {
            noted.text = noted.text.replace("two", "2");
        }
        let line = encode(&stamped, prev);
        prev = Digest::of(&line);
        text.extend(line);
        text.push(b'\n');
    }
    fs::write(segment(shop), text).unwrap();
}

#[test]
fn the_anchor_that_a_broker_retains_is_met_and_finds_a_journal_that_was_cut_or_written_again() {
    let port = free_port();
    // The broker lives in a shop of its own, so that the daemon's folder is that of its bench alone.
    let at = Shop::new();
    let _broker = Broker::start(&at, port, "allow_anonymous true");
    let mut shop = Shop::new();
    let sink = format!(
        "\n[[sink]]\nname = \"plant\"\nkind = \"mqtt\"\nbroker = \"mqtt://127.0.0.1:{port}\"\n"
    );
    shop.write("tallyjaw.toml", &(shop.configuration() + &sink));
    let anchors = Subscriber::new(port, "tallyjaw/anchors/+");
    let daemon = shop.start();
    let last = measure(&mut shop, &daemon);
    let (kept, at) = loop {
        let kept = anchors.next().payload;
        let at = serde_json::from_str::<Value>(&kept).unwrap()["seq"]
            .as_u64()
            .unwrap();
        if at >= last {
            break (kept, usize::try_from(at).unwrap());
        }
    };
    assert!(daemon.stop().0.success());
    assert_eq!(
        serde_json::from_str::<Value>(&kept).unwrap(),
        anchor(&shop, at)
    );
    let (code, text) = said(&shop, &kept);
    assert_eq!(code, Some(0), "{text}");
    let since = shop.journal_lines().len() - at;
    let met = format!("  anchors   1 of 1 met, the last of entry {at}; {since} entries since\n");
    assert!(text.contains(&met), "{text}");

    let whole = fs::read(segment(&shop)).unwrap();
    let lines = shop.journal_lines();
    fs::write(segment(&shop), lines[..at - 2].concat()).unwrap();
    assert!(shop.run(&["verify"]).status.success(), "intact in itself");
    let (code, text) = said(&shop, &kept);
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains(&format!(
            "entry {at}: the journal ends before an anchor: it was cut"
        )) && text.contains(&format!("got  last entry: {}", at - 2)),
        "{text}"
    );

    fs::write(segment(&shop), whole).unwrap();
    written_again(&shop);
    assert!(shop.run(&["verify"]).status.success(), "intact in itself");
    let (code, text) = said(&shop, &kept);
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("an entry is not the one of its anchor"),
        "{text}"
    );
}

#[test]
fn of_several_anchors_those_before_a_change_are_met_and_those_behind_it_are_not() {
    let shop = measured();
    let kept: Vec<Value> = (1..=shop.journal_lines().len())
        .map(|seq| anchor(&shop, seq))
        .collect();
    let lines = shop.journal_lines();
    let changed = 1 + lines
        .iter()
        .position(|line| line.contains("\"two\""))
        .unwrap();
    written_again(&shop);
    let text: Vec<String> = kept.iter().map(Value::to_string).collect();
    let text = text.join("\n");
    shop.write("kept.jsonl", &text);
    let path = shop.path("kept.jsonl");
    let got = shop.run(&["--json", "verify", "--anchor", path.to_str().unwrap()]);
    assert_eq!(got.status.code(), Some(1));
    let report: Value = serde_json::from_slice(&got.stdout).unwrap();
    assert_eq!(
        report["anchors"],
        json!({"kept": lines.len(), "met": changed - 1, "last_met": changed - 1, "before_the_first": 0})
    );
    let findings = report["findings"].as_array().unwrap();
    let seqs: Vec<_> = findings
        .iter()
        .map(|finding| finding["seq"].as_u64())
        .collect();
    let behind: Vec<_> = (changed..=lines.len())
        .map(|seq| u64::try_from(seq).ok())
        .collect();
    assert_eq!(seqs, behind);

    // A list with other keys in it, as a database gives rows; without the journal's name.
    let row = |anchor: &Value| json!({"id": 7, "seq": anchor["seq"], "digest": anchor["digest"]});
    let list: Vec<Value> = kept[..changed - 1].iter().map(row).collect();
    let list = Value::Array(list).to_string();
    assert_eq!(said(&shop, &list).0, Some(0));
}

#[test]
fn anchors_of_another_journal_of_removed_entries_and_garbage_are_named() {
    let (shop, other) = (measured(), measured());
    let (code, text) = said(&shop, &anchor(&other, 3).to_string());
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("an anchor is of another journal"), "{text}");

    let page = "<!DOCTYPE html><title>Log in</title>";
    let digest = "0".repeat(64);
    for (garbage, want) in [
        (String::new(), "got no anchor, want one or more lines"),
        (page.to_owned(), "anchor 1 cannot be read"),
        (
            format!("{{\"seq\":0,\"digest\":\"{digest}\"}}"),
            "anchor 1 cannot be read: seq is 0",
        ),
        (
            format!("{}\n{{}}", anchor(&shop, 1)),
            "anchor 2 cannot be read",
        ),
        ("[1,2]".to_owned(), "anchor 1 cannot be read"),
    ] {
        let (code, text) = said(&shop, &garbage);
        assert_eq!(code, Some(2), "{garbage}: {text}");
        assert!(
            text.contains(want) && text.contains("help: give the anchors"),
            "{text}"
        );
    }
    for many in [
        format!("{}\n", anchor(&shop, 1)).repeat(100_001),
        " ".repeat(16 * 1024 * 1024 + 1),
    ] {
        let (code, text) = said(&shop, &many);
        assert_eq!(code, Some(2), "{text}");
        assert!(text.contains("help: give the newest of them"), "{text}");
    }
    let refused = |source: &str| {
        let got = shop.run(&["verify", "--anchor", source]);
        (got.status.code(), String::from_utf8(got.stderr).unwrap())
    };
    let (code, text) = refused("mqtt://broker.example/x");
    assert_eq!(code, Some(2), "{text}");
    assert!(text.contains("verify --anchor -"), "{text}");
    assert_eq!(refused("nowhere.json").0, Some(4));
    assert_eq!(refused("-").0, Some(2), "standard input is empty");
}

#[test]
fn where_the_first_segments_are_gone_the_line_before_the_first_is_compared_and_earlier_ones_are_not()
 {
    let shop = Shop::new();
    let mut command = shop.tallyjaw(&["--json", "serve"]);
    command.env("TALLYJAW_TEST_SEGMENT_BYTES", "2000");
    let daemon = shop.start_by(command);
    drop(daemon.connected_feed());
    for number in 0..12 {
        daemon.call(
            "note",
            &json!({"text": format!("{number} {}", "x".repeat(200))}),
        );
    }
    assert!(daemon.stop().0.success());
    let second = fs::read_to_string(shop.path("state/journal/00000002.jsonl")).unwrap();
    let first: Value = serde_json::from_str(second.lines().next().unwrap()).unwrap();
    let begins = usize::try_from(first["seq"].as_u64().unwrap()).unwrap();
    let (early, before) = (anchor(&shop, 1), anchor(&shop, begins - 1));
    fs::remove_file(segment(&shop)).unwrap();

    // The digest says that the beginning is right, as for any journal without its first segments.
    let begun = before["digest"].as_str().unwrap();
    let kept = shop.path("kept.jsonl");
    let verified = |anchors: String| {
        shop.write("kept.jsonl", &anchors);
        let got = shop.run(&[
            "verify",
            "--digest",
            begun,
            "--anchor",
            kept.to_str().unwrap(),
        ]);
        (got.status.code(), String::from_utf8(got.stdout).unwrap())
    };
    let (code, text) = verified(before.to_string());
    assert_eq!(code, Some(0), "{text}");
    let (code, text) = verified(early.to_string());
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("every anchor is of an entry before the first one here"),
        "{text}"
    );
    let (code, text) = verified(format!("{early}\n{before}"));
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("  anchors   1 of entries before the first one here: not compared"),
        "{text}"
    );
}

/// Answers one request with these bytes. Returns the address.
fn server(answer: String) -> String {
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut head = Vec::new();
        let mut byte = [0];
        while !head.ends_with(b"\r\n\r\n") && stream.read(&mut byte).is_ok_and(|read| read == 1) {
            head.push(byte[0]);
        }
        let is_get = head.starts_with(b"GET /bench-1.json HTTP/1.1\r\n");
        let answer = if is_get { answer } else { "no GET".to_owned() };
        // The client may have gone before the end.
        let _ = stream.write_all(answer.as_bytes());
    });
    format!("http://{address}/bench-1.json")
}

#[test]
fn an_anchor_is_fetched_from_a_web_address_within_limits_and_no_redirect_is_followed() {
    let shop = measured();
    let verified = |answer: String| {
        let got = shop.run(&["verify", "--anchor", &server(answer)]);
        let text = [got.stdout, got.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
        (got.status.code(), text.concat())
    };
    let whole = |status: &str, more: &str, body: &str| {
        let length = body.len();
        format!("HTTP/1.1 {status}\r\nContent-Length: {length}\r\n{more}\r\n{body}")
    };
    let good = anchor(&shop, 4).to_string();
    let (code, text) = verified(whole("200 OK", "", &good));
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("1 of 1 met, the last of entry 4"), "{text}");
    for (answer, code, want) in [
        (
            whole("302 Found", "Location: http://127.0.0.1:1/x\r\n", ""),
            4,
            "sends us to \"http://127.0.0.1:1/x\"",
        ),
        (whole("404 Not Found", "", &good), 4, "status 404"),
        (
            whole("200 OK", "", "<html>log in</html>"),
            2,
            "anchor 1 cannot be read",
        ),
        (
            "HTTP/1.1 200 OK\r\nContent-Length: 900\r\n\r\n{\"seq\":".to_owned(),
            4,
            "did not answer",
        ),
        (
            whole("200 OK", "", &" ".repeat(16 * 1024 * 1024 + 1)),
            4,
            "more than 16777216 bytes",
        ),
        ("nonsense\r\n\r\n".to_owned(), 4, "did not answer"),
    ] {
        let (got, text) = verified(answer);
        assert_eq!(got, Some(code), "{text}");
        assert!(
            text.contains(want) && text.contains("help"),
            "{want}: {text}"
        );
    }
    for (nowhere, code) in [("http://127.0.0.1:1/x", 4), ("https:///x", 2)] {
        let got = shop.run(&["verify", "--anchor", nowhere]);
        assert_eq!(got.status.code(), Some(code), "{got:?}");
    }
}
