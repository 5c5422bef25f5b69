//! A disk that does not answer: who is shown it, for how long, and that nothing is lost.
//!
//! One disk is a real file system that is frozen, as by a snapshot or a failing array. If this user may not freeze one,
//! the other remains: a sync that does not return.

use super::http::{Events, address, get, shop};
use crate::disk::faults::Faulty;
use crate::harness::{Daemon, PATIENCE, Shop};
use crate::service::Manager;
use serde_json::json;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The disk stands still as long as there is one; before the daemon is ended, however the test does: a process that waits
/// for a frozen file system cannot be killed.
struct Still<F: FnMut()>(F);

impl<F: FnMut()> Drop for Still<F> {
    fn drop(&mut self) {
        self.0();
    }
}

fn everybody_is_told_and_nothing_is_lost<F: FnMut()>(
    shop: &mut Shop,
    daemon: Daemon,
    manager: Manager,
    stand_still: impl FnOnce() -> Still<F>,
) {
    let told = manager.listen();
    let wait_for = |wanted: &str| while told.recv_timeout(PATIENCE).unwrap() != wanted {};
    let address = address(&daemon);
    let mut feed = daemon.connected_feed();
    let mut events = Events::open(&address, None);
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(161);
    let announced = feed.wait_for("reading")["seq"].as_u64().unwrap();
    let still = stand_still();
    shop.press(162);
    let notice = feed.next();
    assert_eq!(
        notice,
        json!({
            "kind": "journal_stalled",
            "message": format!("the disk has not answered for 2 s: nothing from entry {} on is announced until it does", announced + 1),
            "remedy": "look at the disk of state_dir; what is measured now waits for it, and the daemon goes on by itself"
        })
    );
    let health = get(&address, "/healthz");
    assert_eq!(health.status, 503);
    assert!(
        health.body.starts_with("the disk has not answered for ")
            && health
                .body
                .ends_with(" s: nothing is announced until it does\n"),
        "{health:?}"
    );
    let status = daemon.call("status", &json!({}));
    assert_eq!(status["journal_health"], "stalled");
    let seconds = status["stalled_seconds"].as_u64().unwrap();
    assert!(seconds >= 2, "{status}");
    let station = &status["state"]["stations"][0];
    let prompt = format!("wait: the disk has not answered for {seconds} s");
    assert_eq!(
        (&station["prompt"], &station["prompt_kind"]),
        (&json!(prompt), &json!("wait"))
    );
    assert_eq!(station["last"]["seq"], announced);
    let metrics = get(&address, "/metrics").body;
    let sample = metrics
        .lines()
        .find_map(|line| line.strip_prefix("tallyjaw_journal_stalled_seconds "));
    assert!(sample.unwrap().parse::<u64>().unwrap() >= 2, "{metrics}");
    // The displayed time goes on, also on the page, without other events.
    events.wait_for("state", |state| {
        state["stalled_seconds"].as_u64() > Some(seconds)
            && state["state"]["stations"][0]["prompt_kind"] == "wait"
    });
    let late = daemon.greeted_feed().0.next();
    assert_eq!(late["kind"], "journal_stalled", "late comers too");
    let shown = shop.run(&["status"]);
    assert_eq!(shown.status.code(), Some(4));
    let complaint = String::from_utf8(shown.stderr).unwrap();
    assert!(
        complaint.starts_with("error: the disk has not answered for "),
        "{complaint}"
    );
    // The loop is alive: the manager must not kill the daemon, and gets its status.
    wait_for("STATUS=the disk has not answered for 3 s: nothing is announced until it does");
    wait_for("WATCHDOG=1");

    drop(still);
    let reading = feed.wait_for("reading");
    assert_eq!(
        (&reading["seq"], &reading["piece"]),
        (&json!(announced + 1), &json!(2))
    );
    assert_eq!(feed.wait_for("journal_resumed")["remedy"], json!(null));
    events.wait_for("state", |state| {
        state["journal_health"] == "ok" && state["state"]["stations"][0]["prompt_kind"] == "measure"
    });
    wait_for("STATUS=serving; the disk answers again");
    assert_eq!(get(&address, "/healthz").body, "ok\n");
    assert_eq!(shop.run(&["status"]).status.code(), Some(0));
    let messages = shop.messages();
    assert_eq!(messages.matches("ERROR").count(), 1, "{messages}");
    assert!(daemon.stop().0.success(), "{messages}");
}

#[test]
fn while_a_sync_does_not_return_everybody_is_told_and_then_it_goes_on() {
    let mut faulty = Faulty(shop());
    let mut command = faulty.command();
    command
        .env_remove("TALLYJAW_TEST_STALL_MILLIS")
        .env("WATCHDOG_USEC", "400000");
    let (manager, daemon) = Manager::starts_by(&faulty.0, command);
    let (word, new) = (faulty.0.path("fault"), faulty.0.path("fault.new"));
    let stop = || {
        fs::write(&new, "slow").unwrap();
        fs::rename(&new, &word).unwrap();
        Still(|| fs::remove_file(&word).unwrap())
    };
    everybody_is_told_and_nothing_is_lost(&mut faulty.0, daemon, manager, stop);
    assert_eq!(faulty.0.run(&["verify"]).status.code(), Some(0));
}

fn fsfreeze(how: &str, at: &Path) {
    let done = Command::new("fsfreeze").arg(how).arg(at).output().unwrap();
    assert!(done.status.success(), "{done:?}");
}

#[test]
fn while_the_file_system_is_frozen_everybody_is_told_and_then_it_goes_on() {
    let mut shop = shop();
    fs::create_dir(shop.path("state")).unwrap();
    let mount = "truncate -s 16M disk && mkfs.ext4 -q disk && mount -o loop disk state";
    let try_it = format!("{mount} && fsfreeze -f state && fsfreeze -u state");
    let may_freeze = Command::new("unshare")
        .args(["-m", "sh", "-c", &try_it])
        .current_dir(shop.dir.path())
        .output();
    if !may_freeze.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system and freeze it");
        return;
    }
    let serve = shop.tallyjaw(&["--json", "serve"]);
    let mut command = Command::new("unshare");
    command
        .args([
            "-m",
            "sh",
            "-c",
            "mount -o loop disk state && exec \"$@\"",
            "sh",
        ])
        .arg(serve.get_program())
        .args(serve.get_args())
        .current_dir(shop.dir.path())
        .env("NO_COLOR", "1")
        .env("WATCHDOG_USEC", "400000");
    let (manager, daemon) = Manager::starts_by(&shop, command);
    let inside = PathBuf::from(format!("/proc/{}/root", daemon.child.id()))
        .join(shop.path("state").strip_prefix("/").unwrap());
    let freeze = || {
        fsfreeze("-f", &inside);
        Still(|| fsfreeze("-u", &inside))
    };
    everybody_is_told_and_nothing_is_lost(&mut shop, daemon, manager, freeze);
}
