//! The event stream: entries as stored, each once, across disconnections and failures.

use super::connected;
use super::http::{Events, address, command, get, shop};
use crate::harness::Shop;
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::process::Command;

#[test]
fn a_client_that_comes_back_with_its_last_number_gets_each_entry_once_also_over_a_kill() {
    let mut shop = shop();
    let mut got: Vec<String> = Vec::new();
    let mut last = 0;
    for round in 0..4 {
        let (daemon, address, _) = connected(&shop);
        let mut feed = daemon.feed();
        daemon.call("arm", &json!({"plan": "no-zero"}));
        let mut events = Events::open(&address, Some(last));
        for press in 0..5 {
            shop.press(160 + press);
            feed.wait_for("reading");
        }
        let durable = daemon.call("status", &json!({}))["state"]["seq"]
            .as_u64()
            .unwrap();
        // The client leaves in the middle and reconnects.
        let half = last + (durable - last) / 2;
        for end in [half, durable] {
            while last < end {
                let (seq, line) = events.entry().unwrap();
                assert_eq!(seq, last + 1, "round {round}");
                last = seq;
                got.push(line);
            }
            events = Events::open(&address, Some(last));
        }
        daemon.kill();
        while let Some((seq, line)) = events.entry() {
            assert_eq!(seq, last + 1);
            last = seq;
            got.push(line);
        }
    }
    let stored = shop.journal_lines();
    assert_eq!(got, stored[..got.len()], "byte for byte as stored");
}

#[test]
fn the_first_state_carries_the_number_of_its_last_entry_unless_the_client_was_somewhere() {
    let shop = shop();
    let (daemon, address, _) = connected(&shop);
    let noted = daemon.call("note", &json!({"text": "before"}))["seq"]
        .as_u64()
        .unwrap();
    let first = Events::open(&address, None).next().unwrap();
    assert_eq!((first.name.as_str(), first.id), ("state", Some(noted)));
    let mut again = Events::open_with(&address, "/events?after=1", "");
    let first = again.next().unwrap();
    assert_eq!((first.name.as_str(), first.id), ("state", None));
    assert_eq!(again.entry().unwrap().0, 2);
    let mut again = Events::open_with(&address, "/events?after=1", "Last-Event-ID: 2\r\n");
    assert_eq!(
        again.entry().unwrap().0,
        3,
        "what the browser says counts more"
    );
    let mut beyond = Events::open(&address, Some(4711));
    let notice = beyond.wait_for("notice", |_| true);
    assert_eq!(
        notice["message"],
        format!("got after 4711, but the newest entry is {noted}")
    );
    beyond.wait_for("state", |_| true);
}

#[test]
fn a_journal_that_fails_is_told_to_everyone_before_the_daemon_ends() {
    let shop = shop();
    let daemon = shop.tallyjaw(&["--json", "serve"]);
    let mut command = Command::new("sh");
    command
        .args(["-c", "trap '' XFSZ; ulimit -f 40; exec \"$@\"", "sh"])
        .arg(daemon.get_program())
        .args(daemon.get_args())
        .current_dir(shop.dir.path());
    let mut daemon = shop.start_by(command);
    let address = address(&daemon);
    let mut events = Events::open(&address, None);
    let mut control = daemon.control();
    loop {
        let answer = control.call("note", &json!({"text": "x".repeat(4_000)}));
        if answer["result"].is_null() {
            break;
        }
    }
    let notice = events.wait_for("notice", |_| true);
    assert_eq!(notice["kind"], "journal_failed", "{notice}");
    let state = events.wait_for("state", |_| true);
    assert_eq!(state["journal_health"], "failed");
    assert_eq!(events.next(), None, "nothing comes after it");
    assert_eq!(daemon.wait().code(), Some(4), "{}", shop.messages());
}

#[test]
fn while_the_disk_is_full_the_health_says_so_and_goes_back_when_there_is_room() {
    let shop = shop();
    std::fs::create_dir(shop.path("state")).unwrap();
    let mount = "mount -t tmpfs -o size=256k,mode=700 tmpfs state";
    let may_mount = Command::new("unshare")
        .args(["-m", "sh", "-c", mount])
        .current_dir(shop.dir.path())
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system of memory");
        return;
    }
    full_and_free(&shop, mount);
}

fn full_and_free(shop: &Shop, mount: &str) {
    let daemon = shop.tallyjaw(&["--json", "serve"]);
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            &format!("exec unshare -m sh -c '{mount} && exec \"$@\"' sh \"$@\""),
            "sh",
        ])
        .arg(daemon.get_program())
        .args(daemon.get_args())
        .current_dir(shop.dir.path());
    let daemon = shop.start_by(command);
    let inside = std::path::PathBuf::from(format!("/proc/{}/root", daemon.child.id()))
        .join(shop.path("state").strip_prefix("/").unwrap());
    let address = address(&daemon);
    assert_eq!(get(&address, "/healthz").status, 200);
    let mut events = Events::open(&address, None);
    let ballast = inside.join("ballast");
    let _ = std::fs::write(&ballast, vec![0; 1 << 20]); // as much as there is room for
    let mut control = daemon.control();
    while control.call("note", &json!({"text": "x".repeat(2_000)}))["error"].is_null() {}
    events.wait_for("notice", |notice| notice["kind"] == "journal_full");
    events.wait_for("state", |state| state["journal_health"] == "full");
    let health = get(&address, "/healthz");
    assert_eq!(
        (health.status, health.body.as_str()),
        (503, "the disk is full: nothing counts\n")
    );
    assert!(
        get(&address, "/metrics")
            .body
            .contains("\ntallyjaw_journal_full 1\n")
    );
    std::fs::remove_file(&ballast).unwrap();
    events.wait_for("notice", |notice| notice["kind"] == "journal_resumed");
    events.wait_for("state", |state| state["journal_health"] == "ok");
    assert_eq!(get(&address, "/healthz").status, 200);
}

#[test]
fn the_id_of_an_entry_is_its_number_also_behind_a_gap_and_the_gap_is_said() {
    let shop = shop();
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals/V1_EVERY_KIND/journal");
    fs::create_dir_all(shop.path("state/journal")).unwrap();
    let mut first = 0;
    for number in [2, 3] {
        let name = format!("{number:08}.jsonl");
        let text = fs::read_to_string(kept.join(&name)).unwrap();
        if number == 2 {
            let line: Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
            first = line["seq"].as_u64().unwrap();
        }
        fs::write(shop.path("state/journal").join(&name), text).unwrap();
    }
    let (_daemon, address, _) = connected(&shop);
    let mut events = Events::open(&address, Some(3));
    let gap = events.wait_for("notice", |notice| notice["kind"] == "entries_missing");
    let message = gap["message"].as_str().unwrap();
    let want = format!("entries 4 to {} are not in", first - 1);
    assert!(message.starts_with(&want), "{message}");
    for seq in first..first + 20 {
        let (id, line) = events.entry().unwrap();
        let line: Value = serde_json::from_str(&line).unwrap();
        assert_eq!((id, &line["seq"]), (seq, &json!(seq)));
    }
}

#[test]
fn a_client_of_another_journal_is_given_the_number_to_come_back_with() {
    let shop = shop();
    let (daemon, address, _) = connected(&shop);
    let mut events = Events::open(&address, Some(1_000_000));
    let notice = events.next().unwrap();
    assert_eq!(notice.name, "notice");
    let durable = daemon.call("status", &json!({}))["state"]["seq"].as_u64();
    assert!(notice.id.is_some() && notice.id <= durable, "{notice:?}");
}

#[test]
fn a_stream_that_does_not_stand_still_is_seen_to_move_and_a_data_key_moves_nothing() {
    let mut shop = shop();
    let configured = shop.configuration() + "[page]\nlisten = \"127.0.0.1:0\"\n";
    let steady = "capture = \"steady\"\nhold = \"200 ms\"";
    shop.write(
        "tallyjaw.toml",
        &configured.replace("capture = \"press\"", steady),
    );
    let (daemon, address, token) = connected(&shop);
    let _armed = command(&address, &token, "arm", &json!({"plan": "no-zero"}));
    let mut events = Events::open_with(&address, "/events?state=each", "");
    let moving = |hundredths: i64| json!([{"station": "bench-1", "instrument": "caliper-1", "value": format!("{}.{:02} mm", hundredths / 100, hundredths % 100)}]);
    shop.press(2345);
    events.wait_for("moving", |values| *values == moving(2345));
    // A stream that sends no more has ended: nothing moves.
    events.wait_for("moving", |values| *values == json!([]));
    shop.press(1700);
    events.wait_for("moving", |values| *values == moving(1700));
    let mut frames = 0;
    while daemon.call("status", &json!({}))["state"]["stations"][0]["last"].is_null() {
        shop.press(163);
        frames += 1;
        std::thread::sleep(std::time::Duration::from_millis(20)); // the pace of the stream
        assert!(frames < 500, "the value stands still");
    }
    // That it stands still and that it is a reading come in any order.
    let (mut stands_still, mut verdict) = (false, None);
    while !stands_still || verdict.is_none() {
        let event = events.next().unwrap();
        match event.name.as_str() {
            "moving" => stands_still = event.data == "[]",
            "state" => {
                let state: Value = serde_json::from_str(&event.data).unwrap();
                let bench = &state["benches"][0];
                verdict = (bench["face"]["kind"] == "verdict").then(|| bench["last_value"].clone());
            }
            _ => {}
        }
    }
    assert_eq!(verdict.unwrap(), "1.63 mm");
    let journal = shop.journal_lines().concat();
    assert!(
        !journal.contains("\"value\":23.45"),
        "what moves is not entered"
    );

    shop.write("tallyjaw.toml", &configured);
    daemon.call("reload", &json!({}));
    shop.press(161);
    loop {
        let event = events.next().unwrap();
        assert_ne!(event.name, "moving", "a press is a reading: {}", event.data);
        if event.name == "state" && event.data.contains("1.61 mm") {
            break;
        }
    }
}
