//! The webhook sink with receivers that fail in every way.

mod anchored;
mod outages;
mod receiver;
mod recovered;

use crate::harness::{Daemon, PATIENCE, Shop};
use crate::timestamp::authority::Authority;
use receiver::{Does, Receiver, Request, Script, events, status};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::net::TcpListener;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};
use tallyjaw::entry::line::Digest;

/// The request that fails where a receiver takes the others.
const FAILS_AT: usize = 2;

/// Adds a sink to the configuration.
fn sink(shop: &Shop, name: &str, address: &str, keys: &str) {
    let text = std::fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let sink = format!(
        "\n[[sink]]\nname = \"{name}\"\nkind = \"webhook\"\nurl = \"{address}/crimps?x=1\"\n{keys}\n"
    );
    shop.write("tallyjaw.toml", &(text + &sink));
}

/// The sink as `status` has it.
fn shown(daemon: &Daemon, name: &str) -> Value {
    let status = daemon.call("status", &json!({}));
    let sinks = status["sinks"].as_array().unwrap();
    let sink = sinks.iter().find(|sink| sink["sink"] == name);
    sink.unwrap().clone()
}

fn until(daemon: &Daemon, name: &str, is_so: impl Fn(&Value) -> bool) -> Value {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let sink = shown(daemon, name);
        if is_so(&sink) {
            return sink;
        }
        assert!(Instant::now() < deadline, "{sink}");
        thread::sleep(Duration::from_millis(5));
    }
}

fn note(daemon: &Daemon, text: &str) -> u64 {
    let noted = daemon.call("note", &json!({ "text": text }));
    noted["seq"].as_u64().unwrap()
}

/// Each line of the journal up to this one was taken at least once, first arrivals in order, with what identifies it.
fn assert_complete(shop: &Shop, name: &str, events: &[Value], least: u64) {
    let lines = shop.journal_lines();
    let journal: Value = serde_json::from_str(&lines[0]).unwrap();
    let journal = journal["journal"].as_str().unwrap().to_owned();
    let mut seen = BTreeSet::new();
    let mut first = Vec::new();
    for event in events {
        let data = &event["data"];
        let seq = data["seq"].as_u64().unwrap();
        assert_eq!(event["id"], json!(format!("{journal}/{seq}")), "{name}");
        if seen.insert(seq) {
            first.push(data.clone());
        }
    }
    let want: Vec<Value> = lines
        .iter()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(first, want[..first.len()], "{name}");
    assert!(first.len() >= usize::try_from(least).unwrap(), "{name}");
}

/// Takes all requests but one.
fn takes_all_but(does: Does) -> Script {
    Box::new(move |number, _| match number {
        FAILS_AT => does.clone(),
        _ => Does::Takes,
    })
}

/// Takes requests of at most two events.
fn small() -> Script {
    Box::new(|_, request| {
        if events(&request.headers, &request.body).len() > 2 {
            status("413 Content Too Large", "")
        } else {
            Does::Takes
        }
    })
}

const CUT: &str = "HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\ncut";

/// Name and mode of a sink, what its receiver does once, and a part of error and remedy.
type Case = (&'static str, &'static str, Does, &'static str, &'static str);

fn cases(to: &str) -> Vec<Case> {
    let answer = |bytes: &str| Does::Answers(bytes.to_owned());
    vec![
        (
            "broken",
            "structured",
            status("500 Oops", ""),
            "status 500",
            "look at the receiver's log",
        ),
        (
            "busy",
            "binary",
            status("429 Later", "Retry-After: 1\r\n"),
            "status 429",
            "asks for time",
        ),
        (
            "slow",
            "structured",
            Does::Silent,
            "did not answer within 1 s",
            "check the address",
        ),
        (
            "cut",
            "batch",
            answer(CUT),
            "did not answer",
            "check the address",
        ),
        (
            "no-http",
            "binary",
            answer("SSH-2.0-x\r\n"),
            "did not answer",
            "its port",
        ),
        (
            "moved",
            "structured",
            status("307 Moved", to),
            "sends us to",
            "redirects are not followed",
        ),
        (
            "full",
            "batch",
            status("507 Full", ""),
            "status 507",
            "make room at the receiver",
        ),
        (
            "unknown",
            "binary",
            status("401 Who", ""),
            "status 401",
            "check `secret_file`",
        ),
    ]
}

/// The failure is over, and was said with its remedy.
fn assert_said(shop: &Shop, daemon: &Daemon, (name, _, _, error, remedy): &Case) {
    let sink = until(daemon, name, |sink| sink["failing"].is_null());
    let over = &sink["recovered"];
    assert!(
        over["error"].as_str().unwrap().contains(error),
        "{name}: {sink}"
    );
    assert!(
        over["tries"].as_u64() >= Some(1) && sink["failures"].as_u64() >= over["tries"].as_u64(),
        "{sink}"
    );
    let messages = shop.messages();
    let told = messages
        .lines()
        .find(|line| line.contains(&format!("sink=\"{name}\"")));
    let told = told.unwrap_or_default();
    assert!(
        told.contains(remedy) && told.contains("kind=\"webhook\""),
        "{name}: {told}"
    );
}

#[test]
fn every_entry_arrives_in_order_at_receivers_that_fail_in_every_way_and_each_failure_is_told_with_its_remedy()
 {
    let shop = Shop::new();
    let elsewhere = TcpListener::bind("127.0.0.1:0").unwrap();
    let to = format!("Location: http://{}/\r\n", elsewhere.local_addr().unwrap());
    let cases = cases(&to);
    let mut receivers = BTreeMap::new();
    for (name, mode, does, _, _) in &cases {
        let receiver = Receiver::start(Vec::new(), takes_all_but(does.clone()));
        let keys = format!(
            "mode = \"{mode}\"\ntimeout = \"{}\"",
            if *name == "slow" { "1 s" } else { "60 s" }
        );
        sink(
            &shop,
            name,
            &format!("http://127.0.0.1:{}", receiver.port),
            &keys,
        );
        receivers.insert(*name, receiver);
    }
    let few = Receiver::start(Vec::new(), small());
    sink(
        &shop,
        "few",
        &format!("http://127.0.0.1:{}", few.port),
        "mode = \"batch\"",
    );
    receivers.insert("few", few);

    let daemon = shop.start();
    // In batches, several requests come only where entries do not wait together.
    let mut last = 0;
    for number in 0..6 {
        last = note(&daemon, &format!("number {number}"));
        for name in receivers.keys() {
            until(&daemon, name, |sink| sink["after"].as_u64() >= Some(last));
        }
    }
    for case in &cases {
        assert_said(&shop, &daemon, case);
    }
    assert!(daemon.stop().0.success());
    for (name, receiver) in &receivers {
        assert_complete(&shop, name, &receiver.events(), last);
    }
    elsewhere.set_nonblocking(true).unwrap();
    assert!(elsewhere.accept().is_err(), "a redirect was followed");
    let busy: Vec<_> = receivers["busy"].requests();
    let pause = busy[FAILS_AT + 1].0.at - busy[FAILS_AT].0.at;
    assert!(pause >= Duration::from_secs(1), "{pause:?}");
}

#[test]
fn an_answer_of_success_is_one_however_long_it_is() {
    let shop = Shop::new();
    let long = "x".repeat(200_000);
    let long = format!(
        "HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{long}",
        long.len()
    );
    let receiver = Receiver::start(
        Vec::new(),
        Box::new(move |_, _| Does::Answers(long.clone())),
    );
    let address = format!("http://127.0.0.1:{}", receiver.port);
    sink(&shop, "wordy", &address, "");
    let daemon = shop.start();
    let mut last = 0;
    for number in 0..3 {
        last = note(&daemon, &format!("number {number}"));
        let sink = until(&daemon, "wordy", |sink| {
            sink["after"].as_u64() >= Some(last) || !sink["failing"].is_null()
        });
        assert_eq!(
            (&sink["failing"], &sink["failures"]),
            (&Value::Null, &json!(0))
        );
    }
    let requests = receiver.requests();
    let events = requests
        .iter()
        .flat_map(|(request, _)| events(&request.headers, &request.body));
    let seqs: Vec<u64> = events
        .map(|event| event["data"]["seq"].as_u64().unwrap())
        .collect();
    assert_eq!(seqs, (1..=last).collect::<Vec<_>>());
    assert!(daemon.stop().0.success());
}

#[test]
fn a_receiver_that_is_not_there_or_not_the_one_that_is_meant_gets_everything_when_it_is() {
    let shop = Shop::new();
    let (authority, stranger) = (Authority::new(), Authority::new());
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    sink(&shop, "gone", &format!("http://127.0.0.1:{port}"), "");
    let doors = vec![
        stranger.door("DNS:localhost"),
        authority.door("DNS:localhost"),
    ];
    let secure = Receiver::start(doors, Box::new(|_, _| Does::Takes));
    let keys = format!("ca_file = \"{}\"\nsecret_file = \"secret\"", authority.ca());
    shop.write("secret", "between us\n");
    sink(
        &shop,
        "secure",
        &format!("https://localhost:{}", secure.port),
        &keys,
    );

    let daemon = shop.start();
    until(&daemon, "gone", |sink| {
        let error = sink["failing"]["error"].as_str().unwrap_or_default();
        error.contains("cannot be reached")
    });
    let gone = TcpListener::bind(("127.0.0.1", port)).unwrap();
    let gone = Receiver::on(gone, Vec::new(), Box::new(|_, _| Does::Takes));
    let last = note(&daemon, "both are there");
    for name in ["gone", "secure"] {
        until(&daemon, name, |sink| sink["after"].as_u64() >= Some(last));
    }
    let over = shown(&daemon, "secure")["recovered"].clone();
    let error = over["error"].as_str().unwrap();
    assert!(error.contains("of no authority that is trusted"), "{over}");
    let told = String::from_utf8(shop.run(&["status"]).stdout).unwrap();
    assert!(told.contains("secure (webhook): entry "), "{told}");
    assert!(told.contains("; failed until 20"), "{told}");
    assert!(daemon.stop().0.success());
    assert_complete(&shop, "gone", &gone.events(), last);
    assert_complete(&shop, "secure", &secure.events(), last);
    let (signed, _) = secure.requests().swap_remove(0);
    assert_eq!(
        signed.headers["tallyjaw-signature"],
        by_openssl("between us", &signed)
    );
    let unsigned = &gone.requests()[0].0;
    assert!(!unsigned.headers.contains_key("tallyjaw-signature"));
}

/// The signature of a body by another program.
fn by_openssl(secret: &str, request: &Request) -> String {
    let mut openssl = Command::new("openssl")
        .args(["dgst", "-sha256", "-hmac", secret, "-r"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    openssl
        .stdin
        .take()
        .unwrap()
        .write_all(&request.body)
        .unwrap();
    let output = openssl.wait_with_output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    format!("sha256={}", text.split(' ').next().unwrap())
}

#[test]
fn a_daemon_killed_before_it_has_stored_how_far_it_was_sends_again_and_leaves_nothing_out() {
    let shop = Shop::new();
    let receiver = Receiver::start(Vec::new(), Box::new(|_, _| Does::Takes));
    sink(
        &shop,
        "erp",
        &format!("http://127.0.0.1:{}", receiver.port),
        "",
    );
    let mut last = 0;
    for round in 0..3 {
        let daemon = shop.start();
        for number in 0..10 {
            last = note(&daemon, &format!("{round}, {number}"));
        }
        until(&daemon, "erp", |sink| {
            sink["after"].as_u64() >= Some(last - 5)
        });
        daemon.kill();
    }
    let daemon = shop.start();
    until(&daemon, "erp", |sink| sink["after"].as_u64() >= Some(last));
    assert!(daemon.stop().0.success());
    assert_complete(&shop, "erp", &receiver.events(), last);
}

/// The examples of the specification: `tests/reference/cloudevents`.
const EXAMPLES: &str = include_str!("../reference/cloudevents/examples.txt");

/// An event without attributes that are not set, and with what is implied.
fn plain(event: &Value) -> BTreeMap<String, String> {
    let object = event.as_object().unwrap();
    let set = object.iter().filter(|(_, value)| !value.is_null());
    let text = |value: &Value| {
        value
            .as_str()
            .map_or_else(|| value.to_string(), str::to_owned)
    };
    let mut plain: BTreeMap<_, _> = set
        .map(|(name, value)| (name.clone(), text(value)))
        .collect();
    plain
        .entry("datacontenttype".to_owned())
        .or_insert_with(|| "application/json".to_owned());
    plain
}

#[test]
fn what_these_tests_read_is_what_the_specification_has_as_examples() {
    let mut structured = Vec::new();
    let mut counts = (0, 0);
    for part in EXAMPLES.split("== ").skip(1) {
        let (kind, text) = part.split_once('\n').unwrap();
        let headers = |kind: &str| BTreeMap::from([("content-type".to_owned(), kind.to_owned())]);
        match kind {
            "structured" => {
                let headers = headers("application/cloudevents+json; charset=utf-8");
                structured = events(&headers, text.as_bytes());
            }
            "binary" => {
                let (head, body) = text.split_once("\n\n").unwrap();
                let lines = head.lines().map(|line| line.split_once(": ").unwrap());
                let headers = lines.map(|(name, value)| (name.to_owned(), value.to_owned()));
                let binary = events(&headers.collect(), body.as_bytes());
                assert_eq!(plain(&binary[0]), plain(&structured[0]));
                counts.0 += 1;
            }
            _ => {
                let headers = headers("application/cloudevents-batch+json");
                counts.1 += events(&headers, text.as_bytes()).len();
            }
        }
    }
    assert_eq!(counts, (2, 1));
}

#[test]
fn an_entry_is_the_same_event_in_each_mode_with_all_that_the_specification_requires() {
    let shop = Shop::new();
    let modes = ["structured", "binary", "batch"];
    let receivers = modes.map(|mode| {
        let receiver = Receiver::start(Vec::new(), Box::new(|_, _| Does::Takes));
        let keys = format!("mode = \"{mode}\"");
        sink(
            &shop,
            mode,
            &format!("http://127.0.0.1:{}", receiver.port),
            &keys,
        );
        receiver
    });
    let daemon = shop.start();
    let last = note(&daemon, "a “note” with 50 % of everything");
    for mode in modes {
        until(&daemon, mode, |sink| sink["after"].as_u64() >= Some(last));
    }
    let count = usize::try_from(last).unwrap();
    assert!(daemon.stop().0.success());
    let [structured, binary, batch] = receivers.map(|receiver| receiver.events());
    assert_eq!(binary[..count], structured[..count]);
    assert_eq!(batch[..count], structured[..count]);
    let lines = shop.journal_lines();
    for (event, line) in structured.iter().zip(&lines) {
        let data: Value = serde_json::from_str(line).unwrap();
        assert_eq!(event["data"], data);
        let kind = data["kind"].as_str().unwrap();
        let at = data["at"].as_str().unwrap();
        assert_eq!(event["specversion"], "1.0");
        assert_eq!(event["type"], format!("tallyjaw.{kind}"));
        assert_eq!(event["time"], at);
        assert_eq!(event["subject"], data["station"]);
        assert_eq!(event["datacontenttype"], "application/json");
        assert_eq!(event["dataschema"], "urn:tallyjaw:schema:1:entry");
        assert_eq!(event["seq"], data["seq"]);
        assert_eq!(
            event["digest"],
            json!(Digest::of(line.trim_end().as_bytes()))
        );
        assert_eq!(
            event["source"],
            json!(format!(
                "urn:tallyjaw:journal:{}",
                event["journal"].as_str().unwrap()
            ))
        );
        // Names are of lower-case letters and digits, and of 20 characters at most (Naming Conventions).
        let is_named = |name: &str| {
            name.len() <= 20
                && name
                    .bytes()
                    .all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit())
        };
        assert!(
            event.as_object().unwrap().keys().all(|name| is_named(name)),
            "{event}"
        );
        // REQUIRED and not empty: id, source, specversion, type (CloudEvents 1.0.2, Required Attributes).
        for name in ["id", "source", "type"] {
            assert!(!event[name].as_str().unwrap().is_empty(), "{name}");
        }
    }
}
