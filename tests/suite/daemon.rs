//! The daemon from start to end: stops, kills, restarts, a second daemon, reloads.

use crate::harness::{Lines, PATIENCE, Shop};
use rustix::process::Signal;
use serde_json::{Value, json};
use std::fs;
use std::os::unix::net::UnixListener;
use std::time::Duration;

fn kinds(shop: &Shop) -> Vec<String> {
    let kind = |line: &String| {
        let entry: Value = serde_json::from_str(line).unwrap();
        entry["kind"].as_str().unwrap().to_owned()
    };
    shop.journal_lines().iter().map(kind).collect()
}

#[test]
fn sigterm_ends_it_within_a_second_and_says_stopped_to_journal_and_clients() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(162);
    feed.wait_for("reading");
    let (status, took) = daemon.stop();
    assert!(status.success(), "{status}: {}", shop.messages());
    assert!(took < Duration::from_secs(1), "it took {took:?}");
    assert_eq!(feed.wait_for("stopped")["reason"], "SIGTERM");
    assert!(feed.is_closed());
    assert_eq!(kinds(&shop).last().map(String::as_str), Some("stopped"));
    assert!(!shop.path("run/feed.sock").exists());
    assert!(!shop.path("run/control.sock").exists());
}

#[test]
fn it_stops_as_fast_with_a_client_that_does_not_read() {
    let shop = Shop::new();
    let daemon = shop.start();
    let _asleep = daemon.feed();
    let mut control = daemon.control();
    let text = "x".repeat(4_000);
    for _ in 0..200 {
        control.call("note", &json!({"text": text}));
    }
    let (status, took) = daemon.stop();
    assert!(status.success());
    assert!(took < Duration::from_secs(1), "it took {took:?}");
}

#[test]
fn killed_in_mid_series_it_goes_on_at_the_next_slot_and_nothing_announced_is_missing() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let series = daemon.call("arm", &json!({"plan": "pump-own"}))["seq"].clone();
    shop.press(0);
    feed.wait_for("zeroed");
    let mut announced = Vec::new();
    for hundredths in [162, 163] {
        shop.press(hundredths);
        loop {
            announced.push(feed.next_line());
            if announced.last().unwrap().contains("\"kind\":\"reading\"") {
                break;
            }
        }
    }
    daemon.kill();
    let torn = b"{\"v\":1,\"seq\":99,\"at\":\"2026";
    let segment = shop.path("state/journal/00000001.jsonl");
    let mut bytes = fs::read(&segment).unwrap();
    bytes.extend_from_slice(torn);
    fs::write(&segment, bytes).unwrap();

    let daemon = shop.start();
    let (_, _, state) = daemon.greeted_feed();
    let station = &state["stations"][0];
    assert_eq!(station["armed"]["series"], series);
    assert_eq!(station["armed"]["filled"], 2);
    let lines = shop.journal_lines();
    assert!(announced.iter().all(|line| lines.contains(line)));
    let kept = fs::read(shop.path("state/journal/00000001.torn-1")).unwrap();
    assert_eq!(kept, torn);
    let mut feed = daemon.connected_feed();
    shop.press(164);
    let reading = feed.wait_for("reading");
    assert_eq!(
        (&reading["piece"], &reading["series"]),
        (&json!(3), &series)
    );
    assert_eq!(reading["standing"], "counted");
}

#[test]
fn a_second_daemon_is_refused_and_told_who_holds_the_journal() {
    let shop = Shop::new();
    let daemon = shop.start();
    let second = shop.run(&["serve"]);
    let said = String::from_utf8(second.stderr).unwrap();
    assert_eq!(second.status.code(), Some(2), "{said}");
    assert!(said.contains(&daemon.child.id().to_string()), "{said}");
    assert!(said.contains("help: "), "{said}");
    daemon.greeted_feed();

    let other_state = shop.configuration().replace("\"state\"", "\"state-2\"");
    shop.write("tallyjaw.toml", &other_state);
    let third = shop.run(&["serve"]);
    let said = String::from_utf8(third.stderr).unwrap();
    assert_eq!(third.status.code(), Some(2), "{said}");
    assert!(said.contains("in use by another daemon"), "{said}");
    assert!(said.contains(&daemon.child.id().to_string()), "{said}");
    daemon.greeted_feed();
}

#[test]
fn sockets_of_a_dead_daemon_are_replaced_and_other_files_are_not() {
    let shop = Shop::new();
    fs::create_dir(shop.path("run")).unwrap();
    for name in ["run/feed.sock", "run/control.sock"] {
        drop(UnixListener::bind(shop.path(name)).unwrap()); // the file stays
    }
    shop.start().greeted_feed();

    fs::remove_file(shop.path("run/feed.sock")).unwrap();
    shop.write("run/feed.sock", "precious");
    let refused = shop.run(&["serve"]);
    let said = String::from_utf8(refused.stderr).unwrap();
    assert_eq!(refused.status.code(), Some(4), "{said}");
    assert!(said.contains("is no socket"), "{said}");
    assert_eq!(
        fs::read_to_string(shop.path("run/feed.sock")).unwrap(),
        "precious"
    );
}

#[test]
fn a_socket_that_another_program_listens_at_is_left_to_it() {
    let shop = Shop::new();
    fs::create_dir(shop.path("run")).unwrap();
    let _other = UnixListener::bind(shop.path("run/control.sock")).unwrap();
    let refused = shop.run(&["serve"]);
    let said = String::from_utf8(refused.stderr).unwrap();
    assert_eq!(refused.status.code(), Some(2), "{said}");
    assert!(said.contains(&std::process::id().to_string()), "{said}");
}

#[test]
fn a_faulty_configuration_is_not_reloaded_and_says_why() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let good = shop.configuration();
    shop.write(
        "tallyjaw.toml",
        &good.replace("decimal-line", "decimal-lime"),
    );
    let error = daemon.refused("reload", &json!({}));
    assert_eq!(error["code"], -32_003);
    let details = error["data"]["details"].to_string();
    assert!(details.contains("decimal-lime"), "{error}");
    shop.write("tallyjaw.toml", &good.replace("\"state\"", "\"elsewhere\""));
    let error = daemon.refused("reload", &json!({}));
    assert!(
        error["message"].as_str().unwrap().contains("[daemon]"),
        "{error}"
    );
    shop.press(162);
    assert_eq!(feed.wait_for("reading")["verdict"], "pass");
}

#[test]
fn a_reload_keeps_ports_and_series_that_did_not_change() {
    let shop = Shop::with_stations(2);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let series =
        daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}))["seq"].clone();
    // Half a frame is on its way while the configuration is read. Only the port of bench-2 changes.
    shop.calipers[0].send(b"+1.6").unwrap();
    let text = shop.configuration();
    let (first, second) = text.split_at(text.rfind("[[station]]").unwrap());
    shop.write(
        "tallyjaw.toml",
        &format!("{first}{}", second.replace("9600 8N1", "4800 8N1")),
    );
    let reloaded = daemon.call("reload", &json!({}));
    assert_eq!(feed.wait_for("detached")["instrument"], "caliper-2");
    assert_eq!(feed.wait_for("started")["seq"], reloaded["seq"]);
    assert_eq!(feed.wait_for("attached")["instrument"], "caliper-1");
    let again = feed.wait_for("attached");
    assert_eq!(
        (&again["instrument"], &again["line"]),
        (&json!("caliper-2"), &json!("4800 8N1"))
    );
    shop.calipers[0].send(b"3\r").unwrap();
    let reading = feed.wait_for("reading");
    assert_eq!(
        (&reading["series"], &reading["value_nm"]),
        (&series, &json!(1_630_000))
    );
    daemon.signal(Signal::HUP);
    feed.wait_for("started");
}

#[test]
fn bytes_of_two_stations_never_meet() {
    let mut shop = Shop::with_stations(2);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    for station in ["bench-1", "bench-2"] {
        daemon.call("arm", &json!({"station": station, "plan": "no-zero"}));
    }
    let frames = |base: i64| -> Vec<u8> {
        (0..40)
            .flat_map(|n| format!("+1.{}\r", base + n % 4).into_bytes())
            .collect()
    };
    let (first, second) = (frames(60), frames(64));
    for at in 0..first.len() {
        shop.calipers[0].send(&first[at..=at]).unwrap();
        shop.calipers[1].send(&second[at..=at]).unwrap();
    }
    let mut counts = [0, 0];
    while counts != [40, 40] {
        let reading = feed.wait_for("reading");
        let value = reading["value_nm"].as_i64().unwrap();
        let (index, range) = match reading["station"].as_str().unwrap() {
            "bench-1" => (0, 1_600_000..1_640_000),
            _ => (1, 1_640_000..1_680_000),
        };
        assert!(range.contains(&value), "{reading}");
        counts[index] += 1;
    }
    shop.press_at(2, 162);
    assert_eq!(feed.wait_for("reading")["station"], "bench-2");
}

#[test]
fn the_log_has_a_line_a_verdict_and_goes_on_after_a_crash() {
    let mut shop = Shop::new();
    let measure = |shop: &mut Shop, feed: &mut Lines| {
        for hundredths in [162, 175, 163] {
            shop.press(hundredths);
            feed.wait_for("reading");
        }
    };
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    measure(&mut shop, &mut feed);
    daemon.kill();
    let log = shop.path("state/verdicts.log");
    let mut bytes = fs::read(&log).unwrap_or_default();
    // A crash can leave half a line.
    bytes.extend_from_slice(b"2026-11-25T09:14:03Z #");
    fs::write(&log, bytes).unwrap();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    measure(&mut shop, &mut feed);
    daemon.stop();
    assert_eq!(
        told_in(&fs::read_to_string(&log).unwrap()),
        worth_telling(&shop)
    );
}

/// The numbers of the entries in a verdict log.
fn told_in(log: &str) -> Vec<u64> {
    log.lines()
        .filter(|line| !line.starts_with("# "))
        .map(|line| line.split(' ').nth(1).unwrap()[1..].parse().unwrap())
        .collect()
}

/// The numbers of the entries that it must contain.
fn worth_telling(shop: &Shop) -> Vec<u64> {
    shop.journal_lines()
        .iter()
        .map(|line| serde_json::from_str::<Value>(line).unwrap())
        .filter(|entry| {
            ["armed", "reading", "completed"].contains(&entry["kind"].as_str().unwrap())
        })
        .map(|entry| entry["seq"].as_u64().unwrap())
        .collect()
}

#[test]
fn a_log_that_is_rotated_under_the_running_daemon_misses_and_doubles_no_line() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let log = shop.path("state/verdicts.log");
    let mut all = String::new();
    for rotation in 1..=4 {
        shop.press(160 + rotation);
        feed.wait_for("reading");
        let kept = shop.path(&format!("state/verdicts.log.{rotation}"));
        // Each line is in one of the two files, before or after the move.
        fs::rename(&log, &kept).unwrap();
        // As by logrotate, also where nothing is measured, because a reload makes two entries.
        daemon.signal(Signal::HUP);
        feed.wait_for("started");
        let deadline = std::time::Instant::now() + PATIENCE;
        while !fs::read_to_string(&log).is_ok_and(|text| text.contains("# continues after")) {
            assert!(std::time::Instant::now() < deadline, "no new log");
            std::thread::sleep(Duration::from_millis(2));
        }
        all += &fs::read_to_string(&kept).unwrap();
    }
    shop.press(162);
    feed.wait_for("reading");
    daemon.stop();
    all += &fs::read_to_string(&log).unwrap();
    assert_eq!(told_in(&all), worth_telling(&shop));
}

#[test]
fn a_flood_at_one_port_neither_holds_up_another_nor_fills_the_memory() {
    let mut shop = Shop::with_stations(2);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}));
    let mut flooding = shop.calipers.pop().unwrap();
    let (end_it, ended) = std::sync::mpsc::channel::<()>();
    let flood = std::thread::spawn(move || {
        let mut kilobytes = 0;
        while ended.try_recv() == Err(std::sync::mpsc::TryRecvError::Empty) {
            flooding.noise(1024).unwrap();
            kilobytes += 1;
        }
        kilobytes
    });
    for piece in 0..20 {
        shop.press(160 + piece % 5);
        while feed.wait_for("reading")["station"] != "bench-1" {}
        daemon.call(
            "note",
            &json!({"station": "bench-1", "text": "still heard"}),
        );
    }
    let status = fs::read_to_string(format!("/proc/{}/status", daemon.child.id())).unwrap();
    let resident = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))
        .unwrap();
    let kilobytes: u32 = resident.trim().trim_end_matches(" kB").parse().unwrap();
    assert!(kilobytes < 64 * 1024, "{resident}");
    drop(end_it);
    assert!(flood.join().unwrap() > 0);
}
