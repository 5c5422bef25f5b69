//! `tallyjaw archive`: what is kept, what damage of it is found, and a bench that goes on from it.

use crate::harness::{Daemon, Shop};
use crate::pictures::draw::jpeg;
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::process::Command;

/// A shop with a page, whose daemon has measured a piece and entered a picture of it.
fn measured() -> (Shop, Daemon) {
    let mut shop = Shop::new();
    let page = "\n[page]\nlisten = \"127.0.0.1:0\"\n";
    shop.write("tallyjaw.toml", &(shop.configuration() + page));
    let daemon = shop.start();
    measure(&mut shop, &daemon, 162);
    fs::write(shop.path("cut.jpg"), jpeg(1, (400, 300))).unwrap();
    let cut = shop.path("cut.jpg");
    said(&shop, &["picture", cut.to_str().unwrap()], 0);
    (shop, daemon)
}

fn measure(shop: &mut Shop, daemon: &Daemon, hundredths: i64) {
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero", "cut": true}));
    shop.press(hundredths);
    feed.wait_for("reading");
}

/// What a command says on both outputs, behind the exit code that it must have.
fn said(shop: &Shop, arguments: &[&str], code: i32) -> String {
    let output = shop
        .tallyjaw(arguments)
        .current_dir(shop.dir.path())
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap() + &String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {text}");
    text
}

fn as_json(shop: &Shop, arguments: &[&str], code: i32) -> Value {
    serde_json::from_str(&said(shop, &[&["--json"], arguments].concat(), code)).unwrap()
}

/// Whether `sha256sum -c` finds every file as it is listed.
fn sums_hold(archive: &Path) -> bool {
    let mut check = Command::new("sha256sum");
    check.args(["--check", "--strict", "--quiet", "SHA256SUMS"]);
    check
        .current_dir(archive)
        .output()
        .unwrap()
        .status
        .success()
}

/// Every plain file of a folder, from it on.
fn files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut ahead = vec![folder.to_path_buf()];
    while let Some(next) = ahead.pop() {
        for item in fs::read_dir(next).unwrap() {
            let path = item.unwrap().path();
            if path.is_dir() {
                ahead.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap();
                found.push(name.to_str().unwrap().to_owned());
            }
        }
    }
    found.sort_unstable();
    found
}

#[test]
fn an_archive_holds_journal_pictures_and_configuration_without_a_secret_and_grows() {
    let (mut shop, daemon) = measured();
    said(&shop, &["key", "make"], 0);
    let archive = shop.path("kept/bench-1");
    let first = as_json(&shop, &["archive", "kept/bench-1"], 0);
    assert_eq!(first["intact"], true);
    assert_eq!(first["pictures"], 1);
    let names = files(&archive);
    let secrets =
        |name: &&String| name.contains("token") || name.contains("key") || name.ends_with("lock");
    assert_eq!(names.iter().find(secrets), None, "{names:?}");
    let public = fs::read(shop.path("state/signing.allowed")).unwrap();
    assert_eq!(fs::read(archive.join("signing.allowed")).unwrap(), public);
    for name in ["tallyjaw.toml", "sheet.toml", "plans.toml"] {
        let kept = fs::read(archive.join("configuration").join(name)).unwrap();
        assert_eq!(kept, fs::read(shop.path(name)).unwrap(), "{name}");
    }
    assert!(sums_hold(&archive));

    // The daemon writes on; what the archive had stays the beginning of what it has then.
    let segment = archive.join("journal/00000001.jsonl");
    let before = fs::read(&segment).unwrap();
    measure(&mut shop, &daemon, 163);
    let last = daemon.call("status", &json!({}))["state"]["seq"]
        .as_u64()
        .unwrap();
    let text = said(&shop, &["archive", "kept/bench-1"], 0);
    assert!(text.contains("intact"), "{text}");
    assert!(text.contains("written: 1 files"), "{text}");
    let after = fs::read(&segment).unwrap();
    assert!(after.starts_with(&before) && after.len() > before.len());
    assert!(sums_hold(&archive));
    let again = as_json(&shop, &["archive", "kept/bench-1"], 0);
    assert_eq!(again["last"].as_u64(), Some(last));
    assert_eq!(again["written"], json!({"files": 0, "bytes": 0}));

    // Elsewhere, without the bench: the archive is read as a state folder is.
    assert_eq!(
        as_json(&shop, &["verify", "kept/bench-1"], 0)["files"],
        names.len() - 1 // the list itself
    );
    said(&shop, &["export", "csv", "-o", "all.csv"], 0);
    said(
        &shop,
        &["verify", "all.csv", "--state-dir", "kept/bench-1"],
        0,
    );
}

#[test]
fn whatever_is_damaged_in_an_archive_is_named_and_stays_named_when_it_grows() {
    let (shop, daemon) = measured();
    said(&shop, &["archive", "kept"], 0);
    daemon.stop();
    let archive = shop.path("kept");
    for name in files(&archive) {
        let path = archive.join(&name);
        let whole = fs::read(&path).unwrap();
        let mut flipped = whole.clone();
        let middle = flipped.len() / 2;
        flipped[middle] ^= 1;
        fs::write(&path, &flipped).unwrap();
        // In the list itself a bit may spoil a digest or a name, or leave a line that cannot be read.
        let code = if name == "SHA256SUMS" { None } else { Some(1) };
        let output = shop.run(&["verify", archive.to_str().unwrap()]);
        assert!(!output.status.success(), "{name}");
        assert!(code.is_none() || output.status.code() == code, "{name}");
        assert!(!sums_hold(&archive), "{name}");
        let text = String::from_utf8_lossy(&output.stdout);
        assert!(code.is_none() || text.contains(&name), "{name}: {text}");
        if name.starts_with("pictures/") {
            let text = said(&shop, &["archive", "kept"], 1);
            assert!(text.contains(&name), "{text}");
        }
        if name.starts_with("journal/") {
            let text = said(&shop, &["archive", "kept"], 2);
            assert!(
                text.contains("is not how that of the bench begins"),
                "{text}"
            );
        }
        fs::write(&path, &whole).unwrap();
        fs::remove_file(&path).unwrap();
        let output = shop.run(&["verify", archive.to_str().unwrap()]);
        let is_found = !output.status.success();
        assert!(is_found || name == "SHA256SUMS", "{name} is gone");
        fs::write(&path, &whole).unwrap();
    }
    fs::write(archive.join("pictures/more.jpg"), "more").unwrap();
    let text = said(&shop, &["verify", "kept"], 1);
    assert!(
        text.contains("a file that the archive does not list"),
        "{text}"
    );
    fs::remove_file(archive.join("pictures/more.jpg")).unwrap();
    said(&shop, &["verify", "kept"], 0);
}

#[test]
fn the_archive_of_another_bench_is_left_alone() {
    let (shop, _daemon) = measured();
    let (other, _other_daemon) = measured();
    said(&shop, &["archive", "kept"], 0);
    let kept = shop.path("kept");
    let before = fs::read(kept.join("journal/00000001.jsonl")).unwrap();
    let text = said(&other, &["archive", kept.to_str().unwrap()], 2);
    assert!(text.contains("archive into a new folder"), "{text}");
    assert_eq!(
        fs::read(kept.join("journal/00000001.jsonl")).unwrap(),
        before
    );
    said(&shop, &["verify", "kept"], 0);
}

#[test]
fn a_restored_bench_goes_on_and_no_number_that_anybody_knows_is_given_twice() {
    let (mut shop, daemon) = measured();
    said(&shop, &["archive", "kept"], 0);
    let end = as_json(&shop, &["verify", "kept"], 0)["last"]
        .as_u64()
        .unwrap();
    measure(&mut shop, &daemon, 163); // a broker may have these entries
    let known = daemon.call("status", &json!({}))["state"]["seq"]
        .as_u64()
        .unwrap();
    daemon.stop();

    let text = said(&shop, &["archive", "kept", "--restore", "state"], 2);
    assert!(text.contains("holds a journal already"), "{text}");
    fs::rename(shop.path("state"), shop.path("lost")).unwrap();
    let known = known.to_string();
    let text = said(
        &shop,
        &[
            "archive",
            "kept",
            "--restore",
            "state",
            "--last-known",
            &known,
        ],
        0,
    );
    assert!(
        text.contains(&format!("serve --accept-rollback {end}")),
        "{text}"
    );
    said(&shop, &["verify"], 0);

    said(&shop, &["serve"], 4);
    let accept = end.to_string();
    let daemon = shop.start_by(shop.tallyjaw(&["--json", "serve", "--accept-rollback", &accept]));
    measure(&mut shop, &daemon, 161);
    daemon.stop();
    let entries = shop.journal_lines().into_iter();
    let seqs: Vec<u64> = entries
        .map(|line| {
            serde_json::from_str::<Value>(&line).unwrap()["seq"]
                .as_u64()
                .unwrap()
        })
        .filter(|seq| *seq > end)
        .collect();
    assert!(
        seqs.iter().all(|seq| *seq > known.parse().unwrap()),
        "{seqs:?}"
    );
    // An accepted rollback stays a finding, as `verify` has it.
    assert_eq!(as_json(&shop, &["verify"], 1)["pictures"], 1);
    let text = said(&shop, &["archive", "kept"], 1);
    assert!(text.contains("accepted in entry"), "{text}");
}

#[test]
fn a_damaged_archive_is_not_restored() {
    let (shop, daemon) = measured();
    said(&shop, &["archive", "kept"], 0);
    daemon.stop();
    let picture = files(&shop.path("kept"))
        .into_iter()
        .find(|name| name.starts_with("pictures/"));
    fs::remove_file(shop.path("kept").join(picture.unwrap())).unwrap();
    let text = said(&shop, &["archive", "kept", "--restore", "other"], 1);
    assert!(text.contains("missing"), "{text}");
    assert!(!shop.path("other").exists());
    for no_archive in ["state", "nowhere"] {
        let text = said(&shop, &["archive", no_archive, "--restore", "other"], 2);
        assert!(text.contains("is not an archive"), "{text}");
        assert!(!shop.path("other").exists());
    }
}

#[test]
fn old_segments_leave_the_bench_only_when_the_archive_has_them_and_what_is_left_stays_provable() {
    let (mut shop, daemon) = measured();
    said(&shop, &["archive", "kept"], 0);
    daemon.stop();
    // A second segment: a rollback that a person accepts begins one.
    let end = as_json(&shop, &["verify"], 0)["last"].as_u64().unwrap();
    let lock = fs::read_to_string(shop.path("state/lock")).unwrap();
    let known = lock.replacen(&format!(" {end} "), &format!(" {} ", end + 5), 1);
    fs::write(shop.path("state/lock"), known).unwrap();
    let accept = end.to_string();
    let daemon = shop.start_by(shop.tallyjaw(&["--json", "serve", "--accept-rollback", &accept]));
    measure(&mut shop, &daemon, 163);
    let text = said(
        &shop,
        &["archive", "kept", "--remove-before", "2200-01-01"],
        4,
    );
    assert!(
        text.contains("another daemon") || text.contains("lock"),
        "{text}"
    );
    daemon.stop();

    let removed = &as_json(
        &shop,
        &["archive", "kept", "--remove-before", "2020-01-01"],
        1,
    )["removed"];
    assert_eq!(removed["segments"], 0);
    let dry = ["archive", "kept", "--remove-before", "2200-01-01", "-n"];
    let would = as_json(&shop, &dry, 1)["would_remove"].clone();
    let text = said(&shop, &dry, 1);
    assert!(
        text.contains("would remove: segments 1, pictures 2"),
        "{text}"
    );
    assert_eq!(
        files(&shop.path("state/journal")),
        ["00000001.jsonl", "00000002.jsonl"]
    );
    let pictures = files(&shop.path("state/pictures"));
    let removed = as_json(
        &shop,
        &["archive", "kept", "--remove-before", "2200-01-01"],
        1,
    )["removed"]
        .clone();
    assert_eq!(
        (&removed["segments"], &removed["pictures"]),
        (&json!(1), &json!(2))
    );
    assert_eq!(removed["last"], end);
    assert_eq!(removed, would, "the dry run said it");
    assert_ne!(files(&shop.path("state/pictures")), pictures);
    assert_eq!(files(&shop.path("state/journal")), ["00000002.jsonl"]);
    let text = said(&shop, &["verify"], 1);
    assert!(text.contains("segments are missing"), "{text}");
    let digest = removed["digest"].as_str().unwrap();
    let left = as_json(&shop, &["verify", "--digest", digest], 0);
    assert_eq!(left["pictures_unnamed"], json!([]));
    let other = digest.replace(|digit: char| digit.is_ascii_digit(), "a");
    said(&shop, &["verify", "--digest", &other], 1);
    let first: Value = serde_json::from_str(&shop.journal_lines()[0]).unwrap();
    assert_eq!(first["prev"], removed["digest"]);

    // The bench goes on, the archive keeps what was removed, and a report of then verifies against it.
    let daemon = shop.start();
    measure(&mut shop, &daemon, 161);
    daemon.stop();
    let kept = as_json(&shop, &["archive", "kept"], 1); // the accepted rollback
    assert_eq!((&kept["first"], &kept["pictures"]), (&json!(1), &json!(1)));
    assert!(sums_hold(&shop.path("kept")));
}
