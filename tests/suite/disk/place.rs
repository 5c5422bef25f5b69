//! The folder of the journal itself: removed while the daemon runs, and write-protected.

use crate::harness::{Daemon, Shop};
use serde_json::json;
use std::fs;
use std::process::{Command, Output};

/// The folder is no longer in its place; what every client is shown. Nothing after it is acknowledged.
fn told_at_the_next_entry(
    shop: &Shop,
    mut daemon: Daemon,
    taken_away: impl FnOnce(),
) -> Vec<String> {
    let mut feed = daemon.connected_feed();
    let mut control = daemon.control();
    let announced = control.call("note", &json!({"text": "before"}))["result"]["seq"].clone();
    while feed.peek()["seq"] != announced {
        feed.next();
    }
    let lines = vec![feed.next_line()];
    taken_away();
    let refused = control.call("note", &json!({"text": "after"}));
    assert_eq!(refused["error"]["code"], -32_001, "{refused}");
    let notice = feed.next();
    let next = announced.as_u64().unwrap() + 1;
    let journal = shop.path("state/journal");
    assert_eq!(
        notice,
        json!({
            "kind": "journal_failed",
            "message": format!("cannot make entry {next} durable: {} was removed, moved or hidden while the daemon wrote to it; if it is somewhere else, put it back before the next start; nothing from entry {next} on is announced or acknowledged any more, 1 entry may not be on the disk", journal.display()),
            "remedy": "check the disk, then start the daemon again: it reports which entries are on the disk",
            "ends": true,
        })
    );
    assert!(feed.is_closed());
    assert_eq!(daemon.wait().code(), Some(4), "{}", shop.messages());
    lines
}

#[test]
fn when_state_dir_is_removed_nothing_more_is_acknowledged_and_the_next_start_begins_a_journal() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (_, before, _) = daemon.greeted_feed();
    told_at_the_next_entry(&shop, daemon, || {
        fs::remove_dir_all(shop.path("state")).unwrap();
    });
    let (_, after, _) = shop.start().greeted_feed();
    assert_ne!(
        before["journal"], after["journal"],
        "its name says that it is another one"
    );
}

#[test]
fn when_state_dir_is_moved_and_put_back_everything_announced_is_there() {
    let shop = Shop::new();
    let (state, elsewhere) = (shop.path("state"), shop.path("elsewhere"));
    let lines = told_at_the_next_entry(&shop, shop.start(), || {
        fs::rename(&state, &elsewhere).unwrap();
    });
    fs::rename(&elsewhere, &state).unwrap();
    let daemon = shop.start();
    assert!(lines.iter().all(|line| shop.journal_lines().contains(line)));
    assert!(daemon.stop().0.success());
    assert_eq!(shop.run(&["verify"]).status.code(), Some(0));
}

#[test]
fn when_only_the_segment_is_removed_that_is_noticed_too() {
    let shop = Shop::new();
    let segment = shop.path("state/journal/00000001.jsonl");
    told_at_the_next_entry(&shop, shop.start(), || fs::remove_file(&segment).unwrap());
}

/// A start with a state folder that is mounted read-only; `None` where this user may not mount.
fn start_read_only(shop: &Shop) -> Option<Output> {
    let mount = "mount --bind state state && mount -o remount,bind,ro state";
    let shell = |then: &str| {
        let mut command = Command::new("unshare");
        command
            .args(["-m", "sh", "-c", &format!("{mount} && {then}"), "sh"])
            .current_dir(shop.dir.path())
            .env("NO_COLOR", "1");
        command
    };
    if !shell("true")
        .output()
        .is_ok_and(|output| output.status.success())
    {
        return None;
    }
    let daemon = shop.tallyjaw(&["serve"]);
    let mut command = shell("exec \"$@\"");
    Some(
        command
            .arg(daemon.get_program())
            .args(daemon.get_args())
            .output()
            .unwrap(),
    )
}

#[test]
fn a_state_dir_that_cannot_be_written_to_is_said_at_the_start_with_what_to_do() {
    let shop = Shop::new();
    assert!(shop.start().stop().0.success());
    let before = shop.journal_lines();
    let Some(output) = start_read_only(&shop) else {
        eprintln!("skipped: this user may not mount a file system for reading only");
        return;
    };
    assert_eq!(output.status.code(), Some(4));
    assert_eq!(
        String::from_utf8_lossy(&output.stderr),
        format!(
            "error: cannot lock {}: Read-only file system (os error 30)\nhelp: mount the file system so that it can be written to, or name another state_dir\n",
            shop.path("state/lock").display()
        )
    );
    assert_eq!(String::from_utf8_lossy(&output.stdout), "");
    assert_eq!(shop.journal_lines(), before);
}
