//! A start on a full disk: a real file system without room.

use super::start_by;
use crate::harness::{Daemon, PATIENCE, Shop};
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

/// Block size of the file system. The room in the last block of a file cannot be taken by others.
const BLOCK: usize = 1024;

/// Starts the daemon with the disk mounted where no other process sees it.
fn start_on_disk(shop: &Shop, then: &str) -> Daemon {
    let mount = format!("mount -o loop disk state && {then} exec \"$@\"");
    start_by(shop, &format!("exec unshare -m sh -c '{mount}' sh \"$@\""))
}

/// `state` as a daemon sees it.
fn inside(shop: &Shop, daemon: &Daemon) -> PathBuf {
    PathBuf::from(format!("/proc/{}/root", daemon.child.id()))
        .join(shop.path("state").strip_prefix("/").unwrap())
}

fn journal(state: &Path) -> Vec<String> {
    let text = fs::read_to_string(state.join("journal/00000001.jsonl")).unwrap();
    text.split_inclusive('\n').map(str::to_owned).collect()
}

#[test]
fn a_start_on_a_full_disk_serves_says_so_and_goes_on_by_itself_when_there_is_room() {
    let mut shop = Shop::new();
    fs::create_dir(shop.path("state")).unwrap();
    let make = format!("truncate -s 8M disk && mkfs.ext4 -q -m 0 -b {BLOCK} disk");
    let may_mount = Command::new("unshare")
        .args([
            "-m",
            "sh",
            "-c",
            &format!("{make} && mount -o loop disk state"),
        ])
        .current_dir(shop.dir.path())
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system");
        return;
    }
    let daemon = start_on_disk(&shop, "");
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(161);
    feed.wait_for("reading");
    daemon.stop();
    // Notes of a length that leaves no room for another entry after `stopped` in the last block.
    let daemon = start_on_disk(&shop, "");
    drop(daemon.connected_feed());
    let state = inside(&shop, &daemon);
    let stopped = journal(&state)
        .iter()
        .find(|line| line.contains("\"kind\":\"stopped\""))
        .unwrap()
        .len();
    daemon.call("note", &json!({"text": "x"}));
    let lines = journal(&state);
    let (so_far, of_one) = (lines.concat().len(), lines.last().unwrap().len());
    let wanted = (2 * BLOCK - 30 - (so_far + stopped + of_one) % BLOCK) % BLOCK;
    daemon.call("note", &json!({"text": "x".repeat(1 + wanted)}));
    daemon.stop();

    let daemon = start_on_disk(&shop, "dd if=/dev/zero of=state/ballast bs=1k 2>/dev/null;");
    let state = inside(&shop, &daemon);
    let before = journal(&state);
    let status = daemon.call("status", &json!({}));
    assert_eq!(status["journal_health"], "full", "{}", shop.messages());
    let (mut feed, _, _) = daemon.greeted_feed();
    let notice = feed.next();
    assert_eq!(
        (&notice["kind"], &notice["remedy"]),
        (
            &json!("journal_full"),
            &json!("make room on the disk of state_dir; the daemon goes on by itself")
        ),
        "{notice}"
    );
    assert_eq!(shop.run(&["status"]).status.code(), Some(4));
    shop.press(162);
    let deadline = Instant::now() + PATIENCE;
    while daemon.call("status", &json!({}))["unjudged_frames"] != 1 {
        assert!(Instant::now() < deadline, "the frame was not seen");
    }
    assert_eq!(journal(&state), before);

    fs::remove_file(state.join("ballast")).unwrap();
    let kinds = ["started", "gap", "attached"];
    let entered: Vec<Value> = kinds.iter().map(|kind| feed.wait_for(kind)).collect();
    assert_eq!(entered[1]["frames"], 1, "{entered:?}");
    assert_eq!(
        entered[0]["seq"].as_u64().unwrap(),
        u64::try_from(before.len()).unwrap() + 1
    );
    shop.press(163);
    assert_eq!(feed.wait_for("reading")["piece"], 2);
    assert!(daemon.stop().0.success(), "{}", shop.messages());
}
