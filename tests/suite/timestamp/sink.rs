//! The sink that asks an authority each day: what it keeps, what it refuses, and how it goes on.

use super::authority::{Authority, Sent, Server, of_kind, ok};
use super::{said, stamps};
use crate::harness::{Daemon, PATIENCE, Shop, shim};
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Adds a sink that asks at `url`.
pub(super) fn asks(shop: &Shop, name: &str, url: &str, more: &str) {
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let sink =
        format!("\n[[sink]]\nname = \"{name}\"\nkind = \"timestamp\"\nurl = \"{url}\"\n{more}\n");
    shop.write("tallyjaw.toml", &(text + &sink));
}

/// A sink as `status` has it.
fn sink(daemon: &Daemon, name: &str) -> Value {
    let status = daemon.call("status", &json!({}));
    let sinks = status["sinks"].as_array().unwrap();
    let sink = sinks.iter().find(|sink| sink["sink"] == name);
    sink.unwrap_or(&Value::Null).clone()
}

/// Repeats the request until the sink is as it should be.
pub(super) fn until(daemon: &Daemon, name: &str, is_so: impl Fn(&Value) -> bool) -> Value {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let sink = sink(daemon, name);
        if is_so(&sink) {
            return sink;
        }
        assert!(Instant::now() < deadline, "{sink}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn note(daemon: &Daemon) -> u64 {
    let noted = daemon.call("note", &json!({"text": "a batch of wire came"}));
    noted["seq"].as_u64().unwrap()
}

/// The entries and sinks in the names of the files.
fn kept(shop: &Shop) -> Vec<(u64, String)> {
    let mut kept: Vec<(u64, String)> = stamps(shop)
        .iter()
        .map(|path| {
            let name = path.file_name().unwrap().to_str().unwrap();
            let (seq, rest) = name.split_once('.').unwrap();
            let sink = rest.strip_suffix(".tsr").unwrap();
            (seq.parse().unwrap(), sink.to_owned())
        })
        .collect();
    kept.sort();
    kept
}

fn seq_of_last_line(shop: &Shop) -> u64 {
    let last: Value = serde_json::from_str(shop.journal_lines().last().unwrap()).unwrap();
    last["seq"].as_u64().unwrap()
}

#[test]
fn each_interval_the_newest_entry_is_stamped_and_nothing_is_asked_where_nothing_was_entered() {
    let shop = Shop::new();
    let authority = Arc::new(Authority::new());
    let server = Server::of(&authority);
    let keys = format!("every = \"1 s\"\nauthority = \"{}\"", authority.ca());
    asks(&shop, "clock", &server.url, &keys);
    let daemon = shop.start();
    let mut stamped = 0;
    for _ in 0..3 {
        let noted = note(&daemon);
        let sink = until(&daemon, "clock", |sink| {
            sink["after"].as_u64() >= Some(noted)
        });
        assert_eq!(sink["kind"], "timestamp");
        stamped = sink["after"].as_u64().unwrap();
    }
    // The whole interval goes by without an entry: all requests that came are accounted for.
    let asked = server.requests.try_iter().count();
    assert_eq!(kept(&shop).len(), asked);
    assert_eq!(kept(&shop).last().unwrap(), &(stamped, "clock".to_owned()));
    let shown = String::from_utf8(shop.run(&["status"]).stdout).unwrap();
    let want = format!("clock (timestamp): stamped up to entry {stamped}, ");
    assert!(shown.contains(&want), "{shown}");
    let found = said(&shop, &["verify", "--authority", &authority.ca()], 0);
    let want = format!("time stamps: {asked}; entry {stamped} and all before it existed at");
    assert!(found.contains(&want), "{found}");
    assert!(daemon.stop().0.success());
}

#[test]
fn a_start_asks_at_once_for_what_is_overdue_and_waits_for_what_is_not() {
    let shop = Shop::new();
    let authority = Arc::new(Authority::new());
    let server = Server::of(&authority);
    asks(&shop, "clock", &server.url, "");
    let daemon = shop.start();
    let mut first = until(&daemon, "clock", |sink| sink["after"] != 0)["after"].clone();
    assert!(daemon.stop().0.success());
    assert_eq!(server.requests.try_iter().count(), 1);

    // By the wall clock the time stamp is an hour, a day, or decades old, or of the future.
    let hour = 3_600_i64;
    for (hours, asks) in [
        (1, false),
        (25, true),
        (24 * 365 * 20, true),
        (-24 * 365 * 20, true),
    ] {
        shop.write("clock", &(hours * hour).to_string());
        let mut command = shop.tallyjaw(&["--json", "serve"]);
        command
            .env("LD_PRELOAD", shim("clock_set"))
            .env("CLOCK_SET", shop.path("clock"));
        let daemon = shop.start_by(command);
        until(&daemon, "clock", |sink| {
            if asks {
                sink["after"].as_u64() > first.as_u64()
            } else {
                sink["after"] == first
            }
        });
        let last = note(&daemon);
        until(&daemon, "verdict log", |sink| {
            sink["after"].as_u64() >= Some(last)
        });
        assert!(daemon.stop().0.success());
        let asked = server.requests.try_iter().count();
        assert_eq!(asked, usize::from(asks), "{hours} hours");
        first = json!(kept(&shop).last().unwrap().0);
    }
}

/// What an authority's server does, and a part of what is said of it and of the remedy.
type Wrong = (Answers, &'static str, &'static str);
type Answers = Box<dyn FnMut(&[u8]) -> Sent + Send>;

fn bytes(bytes: Vec<u8>) -> Answers {
    Box::new(move |_| Sent::Bytes(bytes.clone()))
}

/// What is no HTTP, no success, or nothing of RFC 3161.
fn no_time_stamps() -> Vec<Wrong> {
    let moved = |status: &str, to: &str| {
        format!("HTTP/1.1 {status}\r\nLocation: {to}\r\nContent-Length: 0\r\n\r\n").into_bytes()
    };
    let broken =
        |status: &str| format!("HTTP/1.1 {status}\r\nContent-Length: 0\r\n\r\n").into_bytes();
    let endless = b"HTTP/1.1 200 OK\r\nContent-Type: application/timestamp-reply\r\nTransfer-Encoding: chunked\r\n\r\n";
    let chunk = [
        b"10000\r\n".to_vec(),
        vec![b'x'; 0x1_0000],
        b"\r\n".to_vec(),
    ]
    .concat();
    let endless = [endless.to_vec(), chunk.repeat(4)].concat();
    let mut long_head = b"HTTP/1.1 200 OK\r\nX-Long: ".to_vec();
    long_head.extend(vec![b'x'; 100_000]);
    vec![
        (bytes(broken("500 Oops")), "status 500", "ask again later"),
        (bytes(broken("404 No")), "status 404", "check the path"),
        (
            bytes(moved("301 Moved", "https://elsewhere.example/tsa")),
            "status 301 and sends us to \"https://elsewhere.example/tsa\"",
            "redirects are not followed",
        ),
        (
            bytes(of_kind("text/html; charset=utf-8", b"<html>Log in</html>")),
            "answered with \"text/html; charset=utf-8\"",
            "a login page",
        ),
        (bytes(ok(&[])), "no answer of RFC 3161", "check the address"),
        (
            bytes(ok(b"<html>")),
            "no answer of RFC 3161",
            "check the address",
        ),
        (
            bytes(ok(&vec![b'x'; 70_000])),
            "more than 65536 bytes",
            "check the address",
        ),
        (bytes(endless), "more than 65536 bytes", "check the address"),
        (bytes(long_head), "did not answer: ", "check the address"),
        (
            bytes(b"SSH-2.0-x\r\n".to_vec()),
            "did not answer: ",
            "its port",
        ),
        (
            Box::new(|_| Sent::Nothing),
            "did not answer: ",
            "the server is at fault",
        ),
    ]
}

/// Time stamps, but not what was requested.
fn other_time_stamps(authority: &Arc<Authority>) -> Vec<Wrong> {
    let [plain, cut, right] = [(); 3].map(|()| Arc::clone(authority));
    let other = Authority::new();
    // PKIStatusInfo with status 2 (rejection), by RFC 3161, 2.4.2
    let rejected = [0x30, 0x05, 0x30, 0x03, 0x02, 0x01, 0x02];
    vec![
        (
            Box::new(move |body| Sent::Bytes(of_kind("text/plain", &plain.answer(body)))),
            "answered with \"text/plain\"",
            "check the address",
        ),
        (
            bytes(ok(&rejected)),
            "refused: rejection",
            "read what it says",
        ),
        (
            // in the middle of the answer
            Box::new(move |body| {
                let whole = ok(&cut.answer(body));
                Sent::Bytes(whole[..whole.len() - 100].to_vec())
            }),
            "did not answer: ",
            "the server is at fault",
        ),
        (
            Box::new(move |body| {
                let mut request = body.to_vec();
                let digest = request.windows(2).position(|two| two == [4, 32]).unwrap();
                request[digest + 2] ^= 1;
                Sent::Bytes(ok(&right.answer(&request)))
            }),
            "got a time stamp of the digest",
            "ask another authority",
        ),
        (
            Box::new(move |body| Sent::Bytes(ok(&other.answer(body)))),
            "its certificate is not of the given authority",
            "name the certificate",
        ),
    ]
}

#[test]
fn what_is_no_answer_of_the_authority_to_the_request_is_told_and_not_kept() {
    let authority = Arc::new(Authority::new());
    let wrong = no_time_stamps().into_iter();
    for (answer, error, remedy) in wrong.chain(other_time_stamps(&authority)) {
        let shop = Shop::new();
        let server = Server::start(None, answer);
        asks(
            &shop,
            "clock",
            &server.url,
            &format!("authority = \"{}\"", authority.ca()),
        );
        let daemon = shop.start();
        let sink = until(&daemon, "clock", |sink| sink["failing"].is_object());
        let text = |key: &str| sink["failing"][key].as_str().unwrap().to_owned();
        assert!(text("error").contains(error), "{error}: {sink}");
        assert!(text("remedy").contains(remedy), "{remedy}: {sink}");
        assert_eq!(sink["after"], 0);
        let messages = shop.messages();
        assert!(
            messages.contains("sink=\"clock\" kind=\"timestamp\""),
            "{messages}"
        );
        assert!(daemon.stop().0.success());
        assert_eq!(kept(&shop), [], "{error}");
    }
}

#[test]
fn an_old_answer_is_none_to_a_new_request() {
    let shop = Shop::new();
    let authority = Authority::new();
    let mut old = None;
    let server = Server::start(None, move |body| {
        let old = old.get_or_insert_with(|| authority.answer(body));
        Sent::Bytes(ok(old))
    });
    asks(&shop, "clock", &server.url, "every = \"1 s\"");
    let daemon = shop.start();
    until(&daemon, "clock", |sink| sink["after"] != 0);
    note(&daemon);
    let sink = until(&daemon, "clock", |sink| sink["failing"].is_object());
    let error = sink["failing"]["error"].as_str().unwrap();
    assert!(error.contains("got a time stamp of the digest"), "{sink}");
    assert!(daemon.stop().0.success());
    assert_eq!(kept(&shop).len(), 1);
}

#[test]
fn an_authority_that_was_away_is_asked_for_the_newest_entry_when_it_is_back() {
    let shop = Shop::new();
    let authority = Arc::new(Authority::new());
    let asked = Arc::clone(&authority);
    let back = shop.path("back");
    let is_back = back.clone();
    let server = Server::start(None, move |body| {
        if is_back.exists() {
            Sent::Bytes(ok(&asked.answer(body)))
        } else {
            Sent::Nothing
        }
    });
    asks(&shop, "clock", &server.url, "");
    let page = "\n[page]\nlisten = \"127.0.0.1:0\"\n";
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    shop.write("tallyjaw.toml", &(text + page));
    let daemon = shop.start();
    until(&daemon, "clock", |sink| {
        sink["failing"]["tries"].as_u64() >= Some(2)
    });
    let shown = String::from_utf8(shop.run(&["status"]).stdout).unwrap();
    assert!(
        shown.contains("clock (timestamp): has failed since 20"),
        "{shown}"
    );
    let doctor = String::from_utf8(shop.run(&["doctor"]).stdout).unwrap();
    assert!(doctor.contains("sink clock fails since"), "{doctor}");
    let last = note(&daemon);
    fs::write(&back, "").unwrap();
    let sink = until(&daemon, "clock", |sink| sink["failing"].is_null());
    assert!(sink["failures"].as_u64() >= Some(2), "{sink}");
    assert!(sink["after"].as_u64() >= Some(last), "{sink}");
    assert!(daemon.stop().0.success());
    // One for all that were missed.
    assert_eq!(kept(&shop).len(), 1);
    assert!(shop.messages().contains("the sink takes entries again"));
}

#[test]
fn a_stop_ends_a_request_that_nobody_answers() {
    let shop = Shop::new();
    let server = Server::start(None, |_| Sent::Silence);
    asks(&shop, "clock", &server.url, "");
    let daemon = shop.start();
    server.requests.recv_timeout(PATIENCE).unwrap();
    // The bench is not held up.
    note(&daemon);
    assert!(daemon.stop().0.success());
    server.given_up.recv_timeout(PATIENCE).unwrap();
    assert_eq!(kept(&shop), []);
    assert!(!shop.messages().contains("did not take the last entries"));
}

#[test]
fn two_sinks_have_two_authorities_about_the_same_entries() {
    let shop = Shop::new();
    let authorities = [(); 2].map(|()| Arc::new(Authority::new()));
    let servers = authorities.each_ref().map(Server::of);
    for (number, (authority, server)) in authorities.iter().zip(&servers).enumerate() {
        let keys = format!("authority = \"{}\"", authority.ca());
        asks(&shop, &format!("clock-{number}"), &server.url, &keys);
    }
    let daemon = shop.start();
    for sink in ["clock-0", "clock-1"] {
        until(&daemon, sink, |sink| sink["after"] != 0);
    }
    assert!(daemon.stop().0.success());
    let sinks: Vec<String> = kept(&shop).into_iter().map(|(_, sink)| sink).collect();
    assert_eq!(sinks.len(), 2);
    let [first, second] = authorities.each_ref().map(|authority| authority.ca());
    let both = ["verify", "--authority", &first, "--authority", &second];
    let found = said(&shop, &both, 0);
    assert!(found.contains("time stamps: 2; "), "{found}");
    let json = [&["--json"], &both[..]].concat();
    let found: Value = serde_json::from_str(&said(&shop, &json, 0)).unwrap();
    assert_eq!(found["time_stamps"]["stamps"].as_array().unwrap().len(), 2);
    let found = said(&shop, &["verify", "--authority", &first], 1);
    assert!(found.contains("clock-1.tsr"), "{found}");
    assert!(
        found.contains("an authority that is given with --authority"),
        "{found}"
    );

    // By the command: which of the two is a question, and the sink's certificate is the check.
    let found = said(&shop, &["timestamp"], 2);
    assert!(found.contains("--sink: clock-0, clock-1"), "{found}");
    let found = said(&shop, &["timestamp", "--sink", "clock-1"], 0);
    assert!(found.contains("the given authority signed it"), "{found}");
    let last = seq_of_last_line(&shop);
    assert!(shop.path(&format!("state/timestamps/{last}.tsr")).exists());
}

#[test]
fn a_kill_at_any_moment_leaves_each_time_stamp_whole_or_absent() {
    let shop = Shop::new();
    let authority = Arc::new(Authority::new());
    let server = Server::of(&authority);
    let keys = format!("authority = \"{}\"", authority.ca());
    asks(&shop, "clock", &server.url, &keys);
    for round in 0..12_u32 {
        // A day later each time.
        shop.write("clock", &(i64::from(round) * 90_000).to_string());
        let mut command = shop.tallyjaw(&["--json", "serve"]);
        command
            .env("LD_PRELOAD", shim("clock_set"))
            .env("CLOCK_SET", shop.path("clock"));
        let daemon = shop.start_by(command);
        server.requests.recv_timeout(PATIENCE).unwrap();
        for _ in 0..round {
            std::thread::yield_now();
            drop(daemon.control());
        }
        daemon.kill();
        let folder = shop.path("state/timestamps");
        for item in fs::read_dir(&folder).into_iter().flatten() {
            let path = item.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            // A kill between the whole content and its name leaves a hidden name, which is no time stamp.
            let is_hidden =
                name.starts_with('.') && path.extension().is_some_and(|end| end == "part");
            assert!(name.ends_with(".clock.tsr") || is_hidden, "{name}");
        }
        said(&shop, &["verify", "--authority", &authority.ca()], 0);
    }
    let daemon = shop.start();
    until(&daemon, "clock", |sink| sink["after"] != 0);
    assert!(daemon.stop().0.success());
}

#[test]
fn on_a_full_disk_the_answer_is_asked_for_again_when_there_is_room() {
    let shop = Shop::new();
    fs::create_dir_all(shop.path("state/timestamps")).unwrap();
    let mount = "mount -t tmpfs -o size=64k,mode=700 tmpfs state/timestamps && dd if=/dev/zero of=state/timestamps/ballast bs=1k count=64 2>/dev/null";
    let may_mount = Command::new("unshare")
        .args(["-m", "sh", "-c", mount])
        .current_dir(shop.dir.path())
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system of memory");
        return;
    }
    let authority = Arc::new(Authority::new());
    let server = Server::of(&authority);
    asks(&shop, "clock", &server.url, "");
    let serve = shop.tallyjaw(&["--json", "serve"]);
    let mut command = Command::new("unshare");
    command
        .args(["-m", "sh", "-c", &format!("{mount} && exec \"$@\""), "sh"])
        .arg(serve.get_program())
        .args(serve.get_args())
        .current_dir(shop.dir.path());
    let daemon = shop.start_by(command);
    let failing = until(&daemon, "clock", |sink| sink["failing"].is_object());
    let error = failing["failing"]["error"].as_str().unwrap();
    assert!(error.contains("No space left on device"), "{failing}");
    let inside = PathBuf::from(format!("/proc/{}/root", daemon.child.id()))
        .join(shop.path("state/timestamps").strip_prefix("/").unwrap());
    let names = |folder: &Path| -> Vec<_> {
        let items = fs::read_dir(folder).unwrap();
        items.map(|item| item.unwrap().file_name()).collect()
    };
    assert_eq!(names(&inside), ["ballast"]);
    fs::remove_file(inside.join("ballast")).unwrap();
    let well = until(&daemon, "clock", |sink| sink["failing"].is_null());
    let want = format!("{}.clock.tsr", well["after"]);
    assert_eq!(names(&inside), [want.as_str()]);
    assert!(daemon.stop().0.success());
}
