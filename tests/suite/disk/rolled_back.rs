//! A journal that is behind what others know of it: restored from a copy, lost, exchanged.

use crate::harness::Shop;
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

/// Copies the journal only.
fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for item in fs::read_dir(from).unwrap() {
        let item = item.unwrap();
        fs::copy(item.path(), to.join(item.file_name())).unwrap();
    }
}

fn put_back(shop: &Shop, copy_of_it: &str) {
    fs::remove_dir_all(shop.path("state/journal")).unwrap();
    copy(&shop.path(copy_of_it), &shop.path("state/journal"));
}

/// Measures once and stops. Returns the last entry.
fn measured(shop: &mut Shop, hundredths: i64) -> u64 {
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    if daemon.call("status", &json!({}))["state"]["stations"][0]["armed"].is_null() {
        daemon.call("arm", &json!({"plan": "no-zero"}));
    }
    shop.press(hundredths);
    feed.wait_for("reading");
    assert!(daemon.stop().0.success(), "{}", shop.messages());
    last(shop)
}

fn last(shop: &Shop) -> u64 {
    let lines = shop.journal_lines();
    let last: Value = serde_json::from_str(lines.last().unwrap()).unwrap();
    last["seq"].as_u64().unwrap()
}

/// A start that must be refused. Returns its exit code and message.
fn refused(shop: &Shop, options: &[&str]) -> (Option<i32>, String) {
    let output = shop.run(&[&["serve"], options].concat());
    (
        output.status.code(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

/// The entries after the rollback was accepted.
fn accepted(shop: &Shop, end: u64) -> Vec<Value> {
    let end = end.to_string();
    let before = shop.journal_lines().len();
    let daemon = shop.start_by(shop.tallyjaw(&["--json", "serve", "--accept-rollback", &end]));
    assert!(daemon.stop().0.success(), "{}", shop.messages());
    let lines = shop.journal_lines();
    let new = lines[before..].iter();
    new.map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

#[test]
fn a_journal_that_was_put_back_is_refused_until_that_is_accepted_and_no_number_is_given_twice() {
    let mut shop = Shop::new();
    let end = measured(&mut shop, 161);
    copy(&shop.path("state/journal"), &shop.path("copy"));
    let known = measured(&mut shop, 162);
    put_back(&shop, "copy");
    let lock = shop.path("state/lock");
    let want = format!(
        "error: the journal ends with entry {end}, but {} knows entry {known} of it: what came between is gone\nhelp: put the newest copy of the journal back; if what is missing is lost for good: `tallyjaw serve --accept-rollback {end}`, which enters it and goes on behind the last entry that is known\n",
        lock.display()
    );
    assert_eq!(refused(&shop, &[]), (Some(4), want));
    let (code, said) = refused(&shop, &["--accept-rollback", "1"]);
    assert_eq!(code, Some(2), "{said}");
    assert_eq!(last(&shop), end, "nothing is written before");

    let entered = accepted(&shop, end);
    assert_eq!(
        (&entered[0]["kind"], &entered[0]["seq"]),
        (&json!("segment"), &json!(known + 1))
    );
    let entry = &entered[1];
    assert_eq!(
        (&entry["kind"], &entry["known"], &entry["end"]),
        (&json!("rolled_back"), &json!(known), &json!(end)),
        "{entry}"
    );
    // Readers that had entries up to `known` miss no new one, and are shown the rollback.
    let log = fs::read_to_string(shop.path("state/verdicts.log")).unwrap();
    let told = format!("#{} the journal was rolled back: ", known + 2);
    assert!(log.contains(&told), "{log}");
    let verify = shop.run(&["verify"]);
    let found = String::from_utf8(verify.stdout).unwrap();
    assert!(
        found.contains("rolled") || found.contains("accepted"),
        "{found}"
    );
    // The next start has nothing more to accept.
    let piece = {
        let daemon = shop.start();
        let mut feed = daemon.connected_feed();
        shop.press(163);
        feed.wait_for("reading")["piece"].clone()
    };
    assert_eq!(piece, 2, "the second piece is gone, and is measured again");
}

#[test]
fn a_log_or_a_cursor_that_knows_more_is_enough_where_the_lock_was_never_told() {
    for witness in [
        "verdicts.log",
        "sinks/plant",
        "sinks/lake.json",
        "exports/daily.json",
    ] {
        let mut shop = Shop::new();
        let end = measured(&mut shop, 161);
        copy(&shop.path("state/journal"), &shop.path("copy"));
        let first: Value = serde_json::from_str(&shop.journal_lines()[0]).unwrap();
        let journal = first["journal"].as_str().unwrap().to_owned();
        if witness == "verdicts.log" {
            measured(&mut shop, 162);
            put_back(&shop, "copy");
        } else {
            let path = shop.path("state").join(witness);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            let text = if witness == "sinks/plant" {
                format!("{journal} 1000\n")
            } else {
                json!({"v": 1, "journal": journal, "asked": "", "folder": "", "after": 1000, "from": 1000, "days": {}}).to_string()
            };
            fs::write(path, text).unwrap();
        }
        fs::remove_file(shop.path("state/lock")).unwrap();
        let (code, said) = refused(&shop, &[]);
        let path = shop.path("state").join(witness);
        let want = format!(
            "error: the journal ends with entry {end}, but {} knows entry ",
            path.display()
        );
        assert!(code == Some(4) && said.starts_with(&want), "{said}");
        if witness == "exports/daily.json" {
            let export = shop.run(&["export", "csv", "--since-last", "daily"]);
            let said = String::from_utf8(export.stderr).unwrap();
            let want = format!("error: {} knows entry 1000 of this journal", path.display());
            assert!(
                export.status.code() == Some(4) && said.starts_with(&want),
                "{said}"
            );
            assert!(export.stdout.is_empty());
        }
    }
}

#[test]
fn a_journal_that_was_put_back_and_gone_on_with_elsewhere_is_told_by_its_digest() {
    let mut shop = Shop::new();
    measured(&mut shop, 161);
    copy(&shop.path("state/journal"), &shop.path("copy"));
    let known = measured(&mut shop, 162);
    let lock = fs::read(shop.path("state/lock")).unwrap();
    put_back(&shop, "copy");
    // As a daemon on another machine would have it, with a lock of its own.
    fs::remove_file(shop.path("state/lock")).unwrap();
    fs::remove_file(shop.path("state/verdicts.log")).unwrap();
    measured(&mut shop, 170);
    let end = measured(&mut shop, 171);
    assert!(end > known);
    fs::write(shop.path("state/lock"), lock).unwrap();
    let (code, said) = refused(&shop, &[]);
    let want = format!("error: entry {known} is not the one that ");
    assert!(code == Some(4) && said.starts_with(&want), "{said}");
    let entered = accepted(&shop, end);
    assert_eq!(entered[0]["seq"], end + 1);
    assert_eq!(entered[1]["kind"], "rolled_back");
    assert_eq!(shop.run(&["verify"]).status.code(), Some(0));
}

#[test]
fn a_journal_that_vanished_is_not_begun_anew_in_silence() {
    let mut shop = Shop::new();
    let known = measured(&mut shop, 161);
    fs::remove_dir_all(shop.path("state/journal")).unwrap();
    let (code, said) = refused(&shop, &[]);
    let want = format!(
        "error: the journal is gone: {} knows entry {known} of journal ",
        shop.path("state/lock").display()
    );
    assert!(code == Some(4) && said.starts_with(&want), "{said}");
    assert!(
        said.contains("`tallyjaw serve --accept-rollback 0`"),
        "{said}"
    );
    let entered = accepted(&shop, 0);
    assert_eq!(
        (
            &entered[0]["kind"],
            &entered[1]["kind"],
            &entered[1]["known"]
        ),
        (&json!("begun"), &json!("rolled_back"), &json!(known))
    );
    drop(shop.start());
    // A journal exchanged for another one is reported too, though no entry of it is missing.
    copy(&shop.path("state/journal"), &shop.path("other"));
    let mut other = Shop::new();
    measured(&mut other, 162);
    put_back(&other, other_of(&shop).as_str());
    let (code, said) = refused(&other, &[]);
    assert!(
        code == Some(4) && said.contains("another one was put in its place"),
        "{said}"
    );
}

fn other_of(shop: &Shop) -> String {
    shop.path("other").display().to_string()
}
