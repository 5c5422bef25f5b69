//! An accepted series with a reservation, on every surface that shows how it came out: none says ACCEPTED alone.

use crate::harness::{Lines, PATIENCE, Shop};
use crate::mqtt::{Broker, Subscriber, free_port};
use crate::page::http::{address, get};
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

const WORDS: &str = "calibration overdue";
const NAME: &str = "calibration_overdue";

/// A shop whose caliper was due for calibration, with everything that tells of outcomes.
fn shop(broker: u16) -> Shop {
    let shop = Shop::new();
    let say = shop.path("say");
    shop.write(
        "say",
        &format!(
            "#!/bin/sh\necho \"$1\" >>{}/said\n",
            shop.dir.path().display()
        ),
    );
    fs::set_permissions(&say, fs::Permissions::from_mode(0o700)).unwrap();
    let announce = format!(
        "[page]\nlisten = \"127.0.0.1:0\"\n[daemon]\nannounce = [\"{}\", \"{{verdict}}\"]\n",
        say.display()
    );
    let text = shop.configuration().replacen("[daemon]\n", &announce, 1);
    let due = "calibrated = \"2019-01-31\"\ncalibration_due = \"2020-01-31\"\n";
    let sink = format!(
        "[[sink]]\nname = \"plant\"\nkind = \"mqtt\"\nbroker = \"mqtt://127.0.0.1:{broker}\"\n"
    );
    shop.write("tallyjaw.toml", &format!("{text}{due}{sink}"));
    shop
}

/// Measures five good pieces for a job; the number of the series.
fn measure(shop: &mut Shop, feed: &mut Lines) -> u64 {
    shop.press(0);
    feed.wait_for("zeroed");
    for value in [161, 162, 163, 162, 161] {
        shop.press(value);
        feed.wait_for("reading");
    }
    shop.press(0);
    let completed = feed.wait_for("completed");
    assert_eq!(completed["outcome"], "accepted");
    assert_eq!(completed["reservations"], json!([NAME]), "feed");
    completed["series"].as_u64().unwrap()
}

/// Each line that says that something was accepted says with what reservation; there is one.
fn beside(surface: &str, text: &str) {
    let said = text.lines();
    let said = said.filter(|line| line.to_lowercase().contains("accepted"));
    let said: Vec<&str> = said.collect();
    assert!(!said.is_empty(), "{surface} says no outcome:\n{text}");
    for line in said {
        let is_beside = line.contains(WORDS) || line.contains("with reservations");
        assert!(is_beside, "{surface}: {line:?}");
    }
}

/// The content of a file once it says `what`.
fn once(file: &Path, what: &str) -> String {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let text = fs::read_to_string(file).unwrap_or_default();
        if text.contains(what) {
            return text;
        }
        assert!(Instant::now() < deadline, "{}: {text}", file.display());
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// What a command prints.
fn printed(shop: &Shop, arguments: &[&str]) -> String {
    let output = shop.run(arguments);
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn no_surface_says_accepted_without_the_reservation_beside_it() {
    let port = free_port();
    let mut shop = shop(port);
    let _broker = Broker::start(&shop, port, "allow_anonymous true");
    let published = Subscriber::new(port, "tallyjaw/#");
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call(
        "job",
        &json!({"job": "4711", "customer": "Example Pumps Ltd"}),
    );
    daemon.call("arm", &json!({"plan": "pump-own"}));
    let mut watch = shop
        .tallyjaw(&["watch", "--after", "0"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let series = measure(&mut shop, &mut feed);

    // who looks on while it happens
    let mut watched = BufReader::new(watch.stdout.take().unwrap()).lines();
    let watched = watched.find_map(|line| line.ok().filter(|line| line.contains("ACCEPTED")));
    beside("watch", &watched.unwrap());
    let _ = watch.kill();
    let _ = watch.wait();
    beside("announce", &once(&shop.path("said"), "accepted"));
    beside(
        "the verdict log",
        &once(&shop.path("state/verdicts.log"), "ACCEPTED"),
    );
    let retained = published.up_to(&format!("\"reservations\":[\"{NAME}\"]"));
    let entry = |one: &&crate::mqtt::Message| one.topic.ends_with("/completed");
    let completed = retained.iter().find(entry).expect("the entry is published");
    assert!(completed.payload.contains(NAME), "{}", completed.payload);
    let late = Subscriber::new(port, "tallyjaw/stations/bench-1");
    let station: Value = loop {
        let station: Value = serde_json::from_str(&late.next().payload).unwrap();
        if !station["outcome"].is_null() {
            break station;
        }
    };
    assert_eq!(
        station["outcome"]["reservations"],
        json!([NAME]),
        "retained"
    );

    // who asks afterwards
    let id = series.to_string();
    for arguments in [
        &["status"][..],
        &["series"],
        &["series", &id],
        &["jobs", "4711"],
        &["report", &id, "--out", "one.html"],
        &["report", "--job", "4711", "--out", "job.html"],
    ] {
        beside(&arguments.join(" "), &printed_in(&shop, arguments));
    }
    for (arguments, at) in [
        (
            &["--json", "status"][..],
            "/state/stations/0/outcome/reservations",
        ),
        (&["--json", "series"], "/reservations"),
        (&["--json", "series", &id], "/reservations"),
        (&["--json", "jobs", "4711"], "/reservations"),
    ] {
        let text = printed(&shop, arguments);
        let said: Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
        assert_eq!(
            said.pointer(at),
            Some(&json!([NAME])),
            "{arguments:?}: {said}"
        );
    }
    let jobs = printed(&shop, &["jobs"]);
    assert!(jobs.contains(" 1 (1 with reservations) "), "{jobs}");
    let job: Value = serde_json::from_str(&printed(&shop, &["--json", "jobs"])).unwrap();
    assert_eq!(
        (&job["accepted"], &job["accepted_with_reservations"]),
        (&json!(1), &json!(1))
    );
    on_pages(&shop, &address(&daemon), series);
    two_on_a_cover(&mut shop, &daemon, &mut feed);

    // these count no outcomes, and must say so if they come to
    assert!(!get(&address(&daemon), "/metrics").body.contains("accepted"));
    assert!(
        !printed(&shop, &["export", "csv"])
            .to_lowercase()
            .contains("accepted")
    );
}

/// Files are named in the shop's folder.
fn printed_in(shop: &Shop, arguments: &[&str]) -> String {
    let output = shop
        .tallyjaw(arguments)
        .current_dir(shop.dir.path())
        .output()
        .unwrap();
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// Of a report's lines, those that a person reads.
fn read_by_people(page: &str) -> String {
    let (page, _) = page.split_once("<script").unwrap();
    let (head, body) = page.split_once("<style>").unwrap();
    let (_, body) = body.split_once("</style>").unwrap();
    format!("{head}\n{body}")
}

fn on_pages(shop: &Shop, address: &str, series: u64) {
    for name in ["one.html", "job.html"] {
        let page = fs::read_to_string(shop.path(name)).unwrap();
        let people = read_by_people(&page);
        beside(name, &people);
        assert!(
            people.contains(&format!("with reservations: {WORDS}")),
            "{name}"
        );
        assert!(
            page.contains(&format!("\"reservations\":[\"{NAME}\"]")),
            "{name}"
        );
    }
    let page = get(address, &format!("/report/{series}")).body;
    beside("the page's report", &read_by_people(&page));
    let one = get(address, &format!("/series/{series}")).json();
    assert_eq!(one["reservations"], json!([NAME]), "the page's series");
    let plans = get(address, "/plans/bench-1").json();
    assert_eq!(
        plans["plans"][0]["last"]["reservations"],
        json!([NAME]),
        "the tile"
    );
    let state = get(address, "/state").json();
    assert_eq!(
        state["benches"][0]["closed"]["reservations"],
        json!([NAME]),
        "the card"
    );
}

/// Two series, so that the report has a cover.
fn two_on_a_cover(shop: &mut Shop, daemon: &crate::harness::Daemon, feed: &mut Lines) {
    daemon.call("arm", &json!({"plan": "pump-own"}));
    measure(shop, feed);
    beside(
        "report of two",
        &printed_in(shop, &["report", "--job", "4711", "--out", "two.html"]),
    );
    let page = fs::read_to_string(shop.path("two.html")).unwrap();
    assert!(page.contains("<strong>2 accepted with reservations</strong>"));
    beside("the cover", &read_by_people(&page));
}
