//! Time stamps of RFC 3161, from an authority run by openssl: what is kept, what is refused, and what a journal that was
//! written again cannot have.

pub(crate) mod authority;
mod sink;
mod tls;

use crate::harness::{Daemon, Shop};
use authority::{Authority, Sent, Server, ok};
use serde_json::{Value, json};
use std::fs;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use tallyjaw::entry::line::Digest;

/// The bytes that a server sends back for the body of a request.
type SendBack = Box<dyn FnOnce(&[u8]) -> Vec<u8> + Send>;

/// A server that gives each request to the next of `answers`, and sends what that makes.
fn serve(answers: Vec<SendBack>) -> Server {
    let mut answers = answers.into_iter();
    Server::start(None, move |body| match answers.next() {
        Some(answer) => Sent::Bytes(answer(body)),
        None => Sent::Nothing,
    })
}

/// A shop that has measured a piece.
fn measured() -> (Shop, Daemon) {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("operator", &json!({"operator": "mara"}));
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(162);
    feed.wait_for("reading");
    (shop, daemon)
}

/// What a command says, behind the exit code that it must have.
fn said(shop: &Shop, arguments: &[&str], code: i32) -> String {
    let output = shop
        .tallyjaw(arguments)
        .current_dir(shop.dir.path())
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap() + &String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {text}");
    text
}

fn stamps(shop: &Shop) -> Vec<PathBuf> {
    let Ok(items) = fs::read_dir(shop.path("state/timestamps")) else {
        return Vec::new();
    };
    items.map(|item| item.unwrap().path()).collect()
}

/// A shop with a time stamp of its last entry; the authority, and the entry.
fn stamped() -> (Shop, Authority, u64) {
    let (shop, daemon) = measured();
    let authority = Authority::new();
    daemon.stop();
    said(&shop, &["timestamp", "--out", "last.tsq"], 0);
    let answer = authority.answer(&fs::read(shop.path("last.tsq")).unwrap());
    fs::write(shop.path("last.tsr"), answer).unwrap();
    said(&shop, &["timestamp", "--answer", "last.tsr"], 0);
    let last: Value = serde_json::from_str(shop.journal_lines().last().unwrap()).unwrap();
    (shop, authority, last["seq"].as_u64().unwrap())
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn an_authority_confirms_the_last_line_and_openssl_and_verify_check_it() {
    let (shop, daemon) = measured();
    let authority = Authority::new();
    let line = shop.journal_lines().pop().unwrap();
    let line = line.trim_end();
    let digest = Digest::of(line.as_bytes()).to_string();
    let seq = serde_json::from_str::<Value>(line).unwrap()["seq"].clone();
    let ca = authority.path("ca.pem");
    let folder = authority.0.path().to_owned();
    let authority = Arc::new(authority);
    let asked = Arc::clone(&authority);
    let server = serve(vec![Box::new(move |request| ok(&asked.answer(request)))]);
    // Without a scheme it is plain HTTP.
    let address = server.url.strip_prefix("http://").unwrap();
    let kept = said(
        &shop,
        &["--json", "timestamp", address, "--authority", text(&ca)],
        0,
    );
    let kept: Value = serde_json::from_str(&kept).unwrap();
    assert_eq!((&kept["seq"], &kept["digest"]), (&seq, &json!(digest)));
    assert!(
        server.requests.recv().unwrap().len() < 100,
        "more than a digest left the bench"
    );
    let file = shop.path(&format!("state/timestamps/{seq}.tsr"));
    let checked = Command::new("openssl")
        .args([
            "ts",
            "-verify",
            "-digest",
            &digest,
            "-in",
            text(&file),
            "-CAfile",
            "ca.pem",
        ])
        .current_dir(folder)
        .output()
        .unwrap();
    assert!(checked.status.success(), "{checked:?}");

    let at = kept["at"].as_str().unwrap();
    let all = said(&shop, &["verify", "--authority", text(&ca)], 0);
    let want =
        format!("entry {seq} and all before it existed at {at}, signed by the given authority");
    assert!(all.contains(&want), "{all}");
    let all = said(&shop, &["verify"], 0);
    assert!(all.contains("by whom was not checked"), "{all}");
    drop(daemon);
}

#[test]
fn a_journal_written_again_as_a_whole_is_found_by_its_time_stamp_alone() {
    let (shop, authority, _) = stamped();
    let ca = authority.path("ca.pem");
    let mut prev = Digest::NONE;
    let mut again = String::new();
    for line in shop.journal_lines() {
        let line = line
            .trim_end()
            .replacen("\"operator\":\"mara\"", "\"operator\":\"jona\"", 1);
        let (head, tail) = line.split_once("\"prev\":\"").unwrap();
        let line = format!("{head}\"prev\":\"{prev}{}", &tail[64..]);
        prev = Digest::of(line.as_bytes());
        again.push_str(&line);
        again.push('\n');
    }
    assert!(again.contains("jona"));
    fs::write(shop.path("state/journal/00000001.jsonl"), again).unwrap();
    for options in [&["verify"][..], &["verify", "--authority", text(&ca)]] {
        let found = said(&shop, options, 1);
        assert!(found.contains("the journal written again"), "{found}");
    }
    // Without it the same journal is sound in itself, and nothing here can know better.
    fs::remove_dir_all(shop.path("state/timestamps")).unwrap();
    said(&shop, &["verify"], 0);
}

#[test]
fn a_time_stamp_speaks_for_the_entries_before_it_only_where_the_chain_to_them_holds() {
    let (shop, authority, seq) = stamped();
    let ca = authority.path("ca.pem");
    let segment = shop.path("state/journal/00000001.jsonl");
    let whole = fs::read_to_string(&segment).unwrap();
    let changed = whole.replacen("\"operator\":\"mara\"", "\"operator\":\"jona\"", 1);
    assert_ne!(changed, whole);
    fs::write(&segment, changed).unwrap();
    let found = said(&shop, &["verify", "--authority", text(&ca)], 1);
    let want = format!("entry {seq}, but not all before it, existed at");
    assert!(found.contains(&want), "{found}");
    assert!(!found.contains("and all before it"), "{found}");
}

#[test]
fn a_time_stamp_of_another_authority_is_named() {
    let (shop, _, _) = stamped();
    let other = Authority::new();
    let found = said(
        &shop,
        &["verify", "--authority", text(&other.path("ca.pem"))],
        1,
    );
    assert!(found.contains("a time stamp does not hold"), "{found}");
    assert!(found.contains("not of the given authority"), "{found}");
    let found = said(&shop, &["verify", "--authority", "sheet.toml"], 2);
    assert!(found.contains("got no certificate"), "{found}");
}

/// What an authority sends back, and a part of what is said of it.
type Wrong = (SendBack, &'static str, i32);

#[test]
fn what_is_no_answer_to_the_request_is_refused_with_the_reason_and_not_kept() {
    let (shop, _daemon) = measured();
    let authority = Authority::new();
    said(&shop, &["timestamp", "--out", "old.tsq"], 0);
    let without_nonce = authority.answer(&fs::read(shop.path("old.tsq")).unwrap());
    let mut of_other_bytes = fs::read(shop.path("old.tsq")).unwrap();
    *of_other_bytes.iter_mut().rev().nth(5).unwrap() ^= 1;
    let of_other_bytes = authority.answer(&of_other_bytes);
    // PKIStatusInfo with status 2 (rejection), by RFC 3161, 2.4.2
    let rejected = [0x30, 0x05, 0x30, 0x03, 0x02, 0x01, 0x02];
    let wrong: Vec<Wrong> = vec![
        (
            Box::new(move |_| ok(&without_nonce)),
            "the answer to another request",
            2,
        ),
        (
            Box::new(move |_| ok(&of_other_bytes)),
            "got a time stamp of the digest",
            2,
        ),
        (
            Box::new(move |_| ok(&rejected)),
            "the authority refused: rejection",
            2,
        ),
        (Box::new(|_| ok(b"<html>")), "no answer of RFC 3161", 2),
        (Box::new(|_| ok(&[])), "no answer of RFC 3161", 2),
        (
            Box::new(|_| ok(&[b'x'; 100_000])),
            "with more than 65536 bytes",
            4,
        ),
        (
            Box::new(|_| b"HTTP/1.1 503 Not now\r\nContent-Length: 0\r\n\r\n".to_vec()),
            "status 503",
            4,
        ),
        (Box::new(|_| Vec::new()), "did not answer", 4),
        (Box::new(|_| b"SSH-2.0-x\r\n".to_vec()), "did not answer", 4),
    ];
    for (answer, want, code) in wrong {
        let server = serve(vec![answer]);
        let found = said(&shop, &["timestamp", &server.url], code);
        assert!(found.contains(want), "{want}: {found}");
        assert!(found.contains("help: "), "{found}");
    }
    let closed = TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap();
    let found = said(&shop, &["timestamp", &format!("{closed}/")], 4);
    assert!(found.contains("cannot be reached"), "{found}");
    for (arguments, want) in [
        (&["ftp://127.0.0.1/"][..], "want https://HOST/PATH"),
        (&[][..], "no authority is named"),
        (&["--sink", "clock"][..], "there is no [[sink]] \"clock\""),
        (
            &["http://127.0.0.1/", "--ca-file", "sheet.toml"][..],
            "is not encrypted",
        ),
    ] {
        let arguments = [&["timestamp"], arguments].concat();
        let found = said(&shop, &arguments, 2);
        assert!(found.contains(want) && found.contains("help: "), "{found}");
    }
    assert_eq!(stamps(&shop), Vec::<PathBuf>::new());
}

#[test]
fn no_bit_of_an_answer_can_be_changed_to_make_it_say_something_else() {
    let (shop, authority, seq) = stamped();
    let ca = authority.path("ca.pem");
    let path = shop.path(&format!("state/timestamps/{seq}.tsr"));
    let whole = fs::read(&path).unwrap();
    let verified = |shop: &Shop| {
        let output = shop.run(&["--json", "verify", "--authority", text(&ca)]);
        let said: Value = serde_json::from_slice(&output.stdout).unwrap();
        (
            output.status.success(),
            said["time_stamps"]["stamps"].clone(),
        )
    };
    let (holds, said) = verified(&shop);
    assert!(holds);
    let mut harmless = 0;
    for at in (0..whole.len()).step_by(whole.len().div_ceil(200)) {
        let mut changed = whole.clone();
        changed[at] ^= 1 << (at % 8);
        fs::write(&path, changed).unwrap();
        let (still_holds, still_said) = verified(&shop);
        if still_holds {
            assert_eq!(still_said, said, "byte {at}");
            harmless += 1;
        }
    }
    // Status and text around the signed part say nothing that counts.
    assert!(harmless < 10, "{harmless} changes were not found");
}

#[test]
fn a_time_stamp_of_an_entry_that_is_in_the_archive_alone_is_counted_here_and_checked_there() {
    let (shop, authority, _) = stamped();
    let mut command = shop.tallyjaw(&["--json", "serve"]);
    command.env("TALLYJAW_TEST_SEGMENT_BYTES", "1");
    let daemon = shop.start_by(command);
    for text in ["a batch of wire came", "and another"] {
        daemon.call("note", &json!({ "text": text }));
    }
    daemon.stop();
    said(&shop, &["timestamp", "--out", "last.tsq"], 0);
    let answer = authority.answer(&fs::read(shop.path("last.tsq")).unwrap());
    fs::write(shop.path("last.tsr"), answer).unwrap();
    let ca = authority.ca();
    said(
        &shop,
        &["timestamp", "--answer", "last.tsr", "--authority", &ca],
        0,
    );
    said(&shop, &["archive", "kept"], 0);
    let remove = ["archive", "kept", "--remove-before", "2200-01-01"];
    said(&shop, &remove, 0);
    // That segments are missing is found, and nothing about the time stamps.
    let here = said(&shop, &["verify", "--authority", &ca], 1);
    let want = "1 time stamp of an entry before the first one here: not checked";
    assert!(here.contains(want), "{here}");
    assert!(!here.contains("a time stamp does not hold"), "{here}");
    assert!(here.contains("time stamps: 1; "), "{here}");
    let there = said(&shop, &["verify", "kept", "--authority", &ca], 0);
    assert!(there.contains("time stamps: 2; "), "{there}");
}
