//! A disk that is full, and one that fails: what the daemon reports and does.
//!
//! Both are real: a small file system of memory of its own, and the system's limit on a file's size.

pub(crate) mod faults;
mod full_at_start;
mod pictures;
mod place;
mod rolled_back;

use crate::harness::{Daemon, PATIENCE, Shop};
use serde_json::{Value, json};
use std::fs;
use std::path::PathBuf;
use std::process::Command;
use std::time::Instant;

/// Starts the daemon by a line of shell that ends in `exec "$@"`.
fn start_by(shop: &Shop, shell: &str) -> Daemon {
    let daemon = shop.tallyjaw(&["--json", "serve"]);
    let mut command = Command::new("sh");
    command
        .args(["-c", shell, "sh"])
        .arg(daemon.get_program())
        .args(daemon.get_args())
        .current_dir(shop.dir.path())
        .env("NO_COLOR", "1");
    shop.start_by(command)
}

#[test]
fn after_a_failed_write_nothing_is_acknowledged_everyone_is_told_and_it_exits_with_4() {
    let shop = Shop::new();
    // The limit applies to every file that it writes: 40 blocks of 512 or 1024 bytes.
    let mut daemon = start_by(&shop, "trap '' XFSZ; ulimit -f 40; exec \"$@\"");
    let mut feed = daemon.connected_feed();
    let mut control = daemon.control();
    let text = "x".repeat(4_000);
    let mut acknowledged = 0;
    let error = loop {
        let answer = control.call("note", &json!({"text": text}));
        match answer["result"]["seq"].as_u64() {
            Some(seq) => acknowledged = seq,
            None => break answer["error"].clone(),
        }
        assert!(acknowledged < 1_000, "the limit does not work");
    };
    assert_eq!(error["code"], -32_001, "{error}");
    let notice = loop {
        let message = feed.next();
        match message["seq"].as_u64() {
            Some(seq) => assert!(seq <= acknowledged, "announced and not acknowledged: {seq}"),
            None => break message,
        }
    };
    assert_eq!(notice["kind"], "journal_failed", "{notice}");
    assert!(notice["remedy"].is_string());
    assert!(feed.is_closed());
    assert_eq!(daemon.wait().code(), Some(4), "{}", shop.messages());
    assert!(
        shop.messages().contains("File too large"),
        "{}",
        shop.messages()
    );

    // Without the limit it starts again, and has every entry that it acknowledged.
    let daemon = shop.start();
    let (_, hello, _) = daemon.greeted_feed();
    assert!(hello["last"].as_u64().unwrap() > acknowledged);
    let last: Value =
        serde_json::from_str(&shop.journal_lines()[usize::try_from(acknowledged).unwrap() - 1])
            .unwrap();
    assert_eq!(
        (&last["seq"], &last["kind"]),
        (&json!(acknowledged), &json!("noted"))
    );
}

#[test]
fn on_a_full_disk_nothing_counts_and_when_there_is_room_it_goes_on_and_says_the_gap() {
    let mut shop = Shop::new();
    fs::create_dir(shop.path("state")).unwrap();
    let mount = "mount -t tmpfs -o size=256k,mode=700 tmpfs state";
    let may_mount = Command::new("unshare")
        .args(["-m", "sh", "-c", mount])
        .current_dir(shop.dir.path())
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system of memory");
        return;
    }
    let daemon = start_by(
        &shop,
        &format!("exec unshare -m sh -c '{mount} && exec \"$@\"' sh \"$@\""),
    );
    // Its file system as the daemon sees it.
    let inside = PathBuf::from(format!("/proc/{}/root", daemon.child.id()))
        .join(shop.path("state").strip_prefix("/").unwrap());
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(161);
    assert_eq!(feed.wait_for("reading")["piece"], 1);
    let ballast = inside.join("ballast");
    let _ = fs::write(&ballast, vec![0; 1 << 20]); // as much as there is room for

    let mut control = daemon.control();
    let error = loop {
        let answer = control.call("note", &json!({"text": "x".repeat(2_000)}));
        if answer["result"].is_null() {
            break answer["error"].clone();
        }
    };
    assert_eq!(error["code"], -32_002, "{error}");
    assert_eq!(feed.wait_for("journal_full")["kind"], "journal_full");
    assert_eq!(
        daemon.greeted_feed().0.next()["kind"],
        "journal_full",
        "late comers too"
    );
    assert_eq!(daemon.call("status", &json!({}))["journal_health"], "full");
    let status = shop.run(&["status"]);
    assert_eq!(status.status.code(), Some(4));
    assert_eq!(
        String::from_utf8_lossy(&status.stderr),
        "error: the journal is full: nothing counts\nhelp: check the disk of state_dir and read the daemon's messages\n"
    );
    let before = daemon.call("status", &json!({}))["state"]["seq"].clone();
    for hundredths in [162, 163, 164] {
        shop.press(hundredths);
    }
    let deadline = Instant::now() + PATIENCE;
    while daemon.call("status", &json!({}))["unjudged_frames"] != 3 {
        assert!(Instant::now() < deadline, "the frames were not seen");
    }
    fs::remove_file(&ballast).unwrap();
    let gap = feed.wait_for("gap");
    assert_eq!(gap["seq"].as_u64(), before.as_u64().map(|seq| seq + 1));
    assert_eq!(gap["frames"], 3, "{gap}");
    feed.wait_for("journal_resumed");
    shop.press(165);
    let reading = feed.wait_for("reading");
    assert_eq!(reading["piece"], 2, "the frames of the gap do not count");
    let (status, _) = daemon.stop();
    assert!(status.success(), "{}", shop.messages());
}
