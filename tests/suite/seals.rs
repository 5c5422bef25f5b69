//! The daemon with a signing key: what it seals, when, and what becomes of it in a crash. `ssh-keygen` checks the seals, and
//! so does examples/verify.py.

use crate::harness::Shop;
use serde_json::{Value, json};
use std::fs;
use std::io::Write as _;
use std::os::unix::fs::PermissionsExt as _;
use std::process::{Command, Output, Stdio};
use tallyjaw::entry::line::Digest;

/// Whether `ssh-keygen -Y verify` alone finds the signature good.
pub(crate) fn ssh_keygen(shop: &Shop, allowed: &str, signature: &str, signed: &[u8]) -> Output {
    shop.write("seal.sig", signature);
    let mut child = Command::new("ssh-keygen")
        .args(["-Y", "verify", "-n", "tallyjaw", "-I", "tallyjaw"])
        .arg("-f")
        .arg(shop.path(allowed))
        .arg("-s")
        .arg(shop.path("seal.sig"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("ssh-keygen must be installed; ./check does that");
    child.stdin.take().unwrap().write_all(signed).unwrap();
    child.wait_with_output().unwrap()
}

pub(crate) fn key(shop: &Shop, what: &str) -> Output {
    shop.run(&["key", what])
}

/// Keeps the public key elsewhere.
pub(crate) fn keep(shop: &Shop, name: &str) {
    let shown = key(shop, "show");
    assert_eq!(shown.status.code(), Some(0), "{shown:?}");
    fs::write(shop.path(name), shown.stdout).unwrap();
}

fn verify(shop: &Shop, allowed: Option<&str>) -> (i32, Value) {
    let mut arguments = vec!["--json", "verify"];
    let path = allowed.map(|name| shop.path(name).to_str().unwrap().to_owned());
    if let Some(path) = &path {
        arguments.extend(["--key", path]);
    }
    let output = shop.run(&arguments);
    let object = serde_json::from_slice(&output.stdout);
    (
        output.status.code().unwrap(),
        object.unwrap_or_else(|_| panic!("{output:?}")),
    )
}

fn entries(shop: &Shop) -> Vec<Value> {
    let lines = shop.journal_lines();
    lines
        .iter()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn of_kind<'a>(entries: &'a [Value], kind: &str) -> Vec<&'a Value> {
    entries
        .iter()
        .filter(|entry| entry["kind"] == kind)
        .collect()
}

/// A whole series of five.
pub(crate) fn measure(shop: &mut Shop, daemon: &crate::harness::Daemon) {
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "pump-own"}));
    for hundredths in [0, 161, 162, 163, 164, 165, 0] {
        shop.press(hundredths);
        feed.wait_for(if hundredths == 0 { "zeroed" } else { "reading" });
    }
    feed.wait_for("completed");
}

#[test]
fn every_outcome_and_the_stop_are_sealed_and_ssh_keygen_says_so() {
    let mut shop = Shop::new();
    assert_eq!(
        key(&shop, "show").status.code(),
        Some(1),
        "there is none yet"
    );
    assert_eq!(key(&shop, "make").status.code(), Some(0));
    keep(&shop, "kept.allowed");
    let daemon = shop.start();
    let mut feed = daemon.feed_from_the_beginning();
    measure(&mut shop, &daemon);
    let completed = feed.wait_for("completed")["seq"].as_u64().unwrap();
    while feed.wait_for("sealed")["up_to"].as_u64().unwrap() < completed {}
    let (status, _) = daemon.stop();
    assert!(status.success());

    let (lines, entries) = (shop.journal_lines(), entries(&shop));
    let last = of_kind(&entries, "sealed").into_iter().next_back().unwrap();
    let stopped = of_kind(&entries, "stopped")[0];
    assert_eq!(last["up_to"], stopped["seq"]);
    assert_eq!(
        last["seq"].as_u64().unwrap(),
        u64::try_from(entries.len()).unwrap()
    );
    for sealed in of_kind(&entries, "sealed") {
        let up_to = usize::try_from(sealed["up_to"].as_u64().unwrap()).unwrap();
        let line = lines[up_to - 1].trim_end();
        let digest = Digest::of(line.as_bytes()).to_string();
        assert_eq!(sealed["digest"], digest.as_str());
        let text = format!(
            "tallyjaw seal 1\njournal {}\nentry {up_to}\nsha256 {digest}\n",
            entries[0]["journal"].as_str().unwrap()
        );
        let signature = format!(
            "-----BEGIN SSH SIGNATURE-----\n{}\n-----END SSH SIGNATURE-----\n",
            sealed["signature"].as_str().unwrap()
        );
        let output = ssh_keygen(&shop, "kept.allowed", &signature, text.as_bytes());
        assert!(output.status.success(), "{output:?}");
        let other = text.replace("entry ", "entry 1");
        assert!(
            !ssh_keygen(&shop, "kept.allowed", &signature, other.as_bytes())
                .status
                .success()
        );
    }
    let (code, found) = verify(&shop, Some("kept.allowed"));
    assert_eq!((code, &found["findings"]), (0, &json!([])));
    assert_eq!(found["seals"]["keys"][0]["trust"], "trusted");
    assert_eq!(found["seals"]["unsealed"], 0);
}

#[test]
fn what_a_crash_left_without_a_seal_is_covered_by_the_next_start() {
    let mut shop = Shop::new();
    key(&shop, "make");
    keep(&shop, "kept.allowed");
    for round in 1..=3 {
        let daemon = shop.start();
        measure(&mut shop, &daemon);
        daemon.kill(); // perhaps before the seal
        assert_eq!(verify(&shop, Some("kept.allowed")).0, 0, "round {round}");
    }
    let daemon = shop.start();
    let mut feed = daemon.feed_from_the_beginning();
    let last = of_kind(&entries(&shop), "completed").len();
    assert_eq!(last, 3);
    let started = of_kind(&entries(&shop), "started").last().unwrap()["seq"]
        .as_u64()
        .unwrap();
    while feed.wait_for("sealed")["up_to"].as_u64().unwrap() < started {}
    daemon.kill();
    let (code, found) = verify(&shop, Some("kept.allowed"));
    assert_eq!((code, &found["seals"]["unsealed_outcomes"]), (0, &json!(0)));
}

#[test]
fn many_entries_without_an_outcome_are_sealed_too() {
    let shop = Shop::new();
    key(&shop, "make");
    let daemon = shop.start();
    let mut control = daemon.control();
    for _ in 0..1_050 {
        control.call("note", &json!({"text": "a"}));
    }
    let mut feed = daemon.feed_from_the_beginning();
    while feed.wait_for("sealed")["up_to"].as_u64().unwrap() < 1_000 {}
}

#[test]
fn a_key_that_others_can_read_seals_nothing_and_the_bench_measures_all_the_same() {
    let mut shop = Shop::new();
    key(&shop, "make");
    let path = shop.path("state/signing.key");
    assert_eq!(
        fs::metadata(&path).unwrap().permissions().mode() & 0o7777,
        0o600
    );
    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
    for what in ["show", "rotate"] {
        let refused = key(&shop, what);
        assert_eq!(refused.status.code(), Some(2), "{refused:?}");
        let said = String::from_utf8(refused.stderr).unwrap();
        assert!(
            said.contains("mode 0644") && said.contains("tallyjaw key make"),
            "{said}"
        );
    }
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    daemon.stop();
    assert!(
        shop.messages().contains("the journal is not sealed"),
        "{}",
        shop.messages()
    );
    assert_eq!(of_kind(&entries(&shop), "sealed").len(), 0);
    assert_eq!(of_kind(&entries(&shop), "key_begun").len(), 0);
    assert_eq!(verify(&shop, None).0, 0);
}

#[test]
fn a_new_key_is_vouched_for_by_the_old_one_and_a_lost_key_by_nobody() {
    let shop = Shop::new();
    key(&shop, "make");
    let again = key(&shop, "make");
    assert_eq!(again.status.code(), Some(2), "{again:?}");
    keep(&shop, "first.allowed");
    let daemon = shop.start();
    let mut feed = daemon.feed_from_the_beginning();
    feed.wait_for("sealed");
    assert_eq!(key(&shop, "rotate").status.code(), Some(0));
    keep(&shop, "second.allowed");
    daemon.call("reload", &json!({}));
    let begun = loop {
        let begun = feed.wait_for("key_begun");
        if begun.get("key_before").is_some() {
            break begun;
        }
    };
    assert!(begun.get("signature").is_some(), "{begun}");
    while feed.wait_for("sealed")["key"] != begun["key"] {}
    for kept in ["first.allowed", "second.allowed"] {
        assert_eq!(verify(&shop, Some(kept)).0, 0, "{kept}");
    }
    assert_eq!(key(&shop, "rotate").status.code(), Some(0));
    daemon.call("reload", &json!({}));
    let third = loop {
        let third = feed.wait_for("key_begun");
        if third["key_before"] == begun["key"] {
            break third;
        }
    };
    let path = |name: &str| shop.path(name).to_str().unwrap().to_owned();
    let exported = shop.run(&["export", "csv", "-o", &path("all.csv")]);
    assert_eq!(exported.status.code(), Some(0), "{exported:?}");
    let file = |name: &str, kept: &str| {
        let output = shop.run(&["verify", &path(name), "--key", &path(kept)]);
        let said = String::from_utf8(output.stdout).unwrap();
        (
            output.status.code(),
            said.lines().next().unwrap().to_owned(),
        )
    };
    let (third, second, first) = (&third["key"], &begun["key"], &begun["key_before"]);
    let [third, second, first] = [third, second, first].map(|key| key.as_str().unwrap());
    let (name, by) = (path("all.csv.sig"), format!("signed by key {third}"));
    let vouched = |by: &str, keys: &str| {
        format!("{name}: {by}, which key {keys}, that you trust, has signed in the journal")
    };
    assert_eq!(
        file("all.csv", "first.allowed"),
        (
            Some(0),
            vouched(&by, &format!("{second}, which key {first}"))
        )
    );
    assert_eq!(
        file("all.csv", "second.allowed"),
        (Some(0), vouched(&by, second))
    );

    fs::remove_file(shop.path("state/signing.key")).unwrap();
    assert_eq!(key(&shop, "make").status.code(), Some(0));
    daemon.call("reload", &json!({}));
    let lost = feed.wait_for("key_begun");
    assert_eq!(lost["key_before"], third);
    assert_eq!(lost.get("signature"), None, "{lost}");
    while feed.wait_for("sealed")["key"] != lost["key"] {}
    daemon.stop();
    assert!(
        shop.messages().contains("does not vouch for it"),
        "{}",
        shop.messages()
    );
    let (code, found) = verify(&shop, Some("first.allowed"));
    assert_eq!(code, 1);
    let what = found["findings"][0]["what"].as_str().unwrap();
    assert!(what.contains("a foreign key"), "{found}");
    assert_eq!(verify(&shop, None).0, 0);
    shop.run(&["export", "csv", "-o", &path("late.csv")]);
    let (code, said) = file("late.csv", "first.allowed");
    let lost = lost["key"].as_str().unwrap();
    let not_trusted = format!(
        "{}: signed by key {lost}, which is not trusted",
        path("late.csv.sig")
    );
    assert_eq!((code, said), (Some(1), not_trusted));
}

/// What `doctor` finds of the key, each with a remedy unless it is good.
fn doctor(shop: &Shop) -> Vec<String> {
    let output = shop.run(&["--json", "doctor"]);
    let lines = String::from_utf8(output.stdout).unwrap();
    let found = lines
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap());
    let of_the_key = found.filter(|finding| finding["looked_at"] == "signing key");
    let said = of_the_key.map(|finding| {
        let text = |name: &str| finding[name].as_str().unwrap_or_default().to_owned();
        assert_eq!(finding["is"] == "good", finding["help"].is_null());
        format!("{}: {}\n{}", text("is"), text("says"), text("help"))
    });
    said.collect()
}

/// The one thing that `doctor` finds of the key is of this kind, and says all these words.
fn finds(shop: &Shop, is: &str, words: &[&str]) {
    let found = doctor(shop);
    let said = found.join("\n");
    assert!(
        found.len() == 1 && said.starts_with(is),
        "want {is}: {said}"
    );
    for word in words {
        assert!(said.contains(word), "no {word:?} in {said}");
    }
}

fn fingerprint(shop: &Shop) -> String {
    let shown = shop.run(&["--json", "key", "show"]);
    let shown: Value = serde_json::from_slice(&shown.stdout).unwrap();
    shown["key"].as_str().unwrap().to_owned()
}

#[test]
fn the_doctor_says_what_is_wrong_with_the_key_and_what_to_do() {
    let mut shop = Shop::new();
    let path = shop.path("state/signing.key");
    finds(
        &shop,
        "note",
        &["there is none", "tallyjaw key make && tallyjaw reload"],
    );
    key(&shop, "make");
    let first = fingerprint(&shop);
    finds(&shop, "note", &[&first, "not in use yet", "tallyjaw serve"]);
    let daemon = shop.start();
    let mut feed = daemon.feed_from_the_beginning();
    feed.wait_for("sealed");
    finds(&shop, "good", &[&first]);

    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    finds(
        &shop,
        "wrong",
        &["it is refused", "mode 0640", "tallyjaw key make"],
    );
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();

    key(&shop, "rotate");
    let second = fingerprint(&shop);
    finds(
        &shop,
        "wrong",
        &["has not begun to use", &second, "tallyjaw reload"],
    );
    daemon.call("reload", &json!({}));
    while feed.wait_for("key_begun")["key"] != second.as_str() {}
    finds(&shop, "good", &[&second]);

    fs::rename(&path, shop.path("kept.key")).unwrap();
    finds(&shop, "wrong", &["it is gone", &second, "put it back"]);
    key(&shop, "make");
    let third = fingerprint(&shop);
    let words = [&third, &second, "does not vouch for it", "tallyjaw reload"];
    finds(&shop, "wrong", &words);
    daemon.stop();
    let words = [&third, &second, "does not vouch for it", "tallyjaw serve"];
    finds(&shop, "wrong", &words);
    fs::rename(shop.path("kept.key"), &path).unwrap();
    finds(&shop, "good", &[&second]);

    // A daemon without its key leaves entries without a seal.
    fs::rename(&path, shop.path("kept.key")).unwrap();
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    daemon.stop();
    fs::rename(shop.path("kept.key"), &path).unwrap();
    let found = doctor(&shop);
    let last = entries(&shop).len();
    assert!(
        found.len() == 2 && found[0].starts_with("good"),
        "{found:?}"
    );
    let end = format!("the last entry is {last}\n");
    assert!(
        found[1].starts_with("note: the last seal covers entries up to ")
            && found[1].contains(&end),
        "{found:?}"
    );
}

#[test]
fn status_says_that_outcomes_are_not_sealed_where_a_key_was_made() {
    let shop = Shop::new();
    let path = shop.path("state/signing.key");
    let status = || String::from_utf8(shop.run(&["status"]).stdout).unwrap();
    let daemon = shop.start();
    assert!(!status().contains("sealed"), "no key was ever made");
    key(&shop, "make");
    daemon.call("reload", &json!({}));
    let first = fingerprint(&shop);
    assert!(!status().contains("sealed"));

    fs::set_permissions(&path, fs::Permissions::from_mode(0o604)).unwrap();
    daemon.call("reload", &json!({}));
    let refused = "  outcomes are not sealed: ";
    let said = status();
    assert!(
        said.contains(refused) && said.contains("mode 0604"),
        "{said}"
    );
    assert!(said.contains("    help: others may sign with it"), "{said}");

    fs::rename(&path, shop.path("kept.key")).unwrap();
    daemon.call("reload", &json!({}));
    let gone = format!("signing key\n  outcomes are not sealed: the signing key {first} is gone\n");
    let said = status();
    assert!(
        said.contains(&gone) && said.contains("    help: put it back"),
        "{said}"
    );

    // The file is there again, but the daemon does not know it yet.
    fs::rename(shop.path("kept.key"), &path).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    finds(&shop, "good", &[&first]);
    let doctor = String::from_utf8(shop.run(&["doctor"]).stdout).unwrap();
    assert!(
        doctor.contains("outcomes are not sealed: the signing key"),
        "{doctor}"
    );
    daemon.call("reload", &json!({}));
    assert!(!status().contains("sealed"));
}

#[test]
fn a_file_without_a_key_is_refused_by_name() {
    let shop = Shop::new();
    shop.write("none.allowed", "tallyjaw ssh-rsa AAAA\n");
    let path = shop.path("none.allowed");
    let output = shop.run(&["verify", "--key", path.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("line 1 names no Ed25519 key"), "{said}");
}

/// Whoever writes the journal again without the key has its bench sign what it then says.
#[test]
fn a_signed_file_of_a_journal_that_was_written_again_without_the_key_is_found_by_the_seals() {
    let mut shop = Shop::new();
    key(&shop, "make");
    keep(&shop, "kept.allowed");
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    daemon.stop();
    for file in ["journal/00000001.jsonl", "lock", "verdicts.log"] {
        fs::remove_file(shop.path("state").join(file)).unwrap();
    }
    fs::rename(shop.path("state/signing.key"), shop.path("signing.key")).unwrap();
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    daemon.stop();
    fs::rename(shop.path("signing.key"), shop.path("state/signing.key")).unwrap();

    let path = |name: &str| shop.path(name).to_str().unwrap().to_owned();
    let series = of_kind(&entries(&shop), "armed")[0]["seq"].to_string();
    shop.run(&["report", &series, "--out", &path("report.html")]);
    shop.run(&["export", "csv", "-o", &path("all.csv")]);
    for file in ["report.html", "all.csv"] {
        assert!(is_signed(&shop, "kept.allowed", file), "{file}");
        let file = path(file);
        assert_eq!(shop.run(&["verify", &file]).status.code(), Some(0));
        let output = shop.run(&["verify", &file, "--key", &path("kept.allowed")]);
        assert_eq!(output.status.code(), Some(1), "{output:?}");
    }
    let label = shop.run(&[
        "--json",
        "label",
        "--series",
        &series,
        "--out",
        &path("label.html"),
    ]);
    let label: Value = serde_json::from_slice(&label.stdout).unwrap();
    let label = label["labels"][0]["text"].as_str().unwrap();
    let with_key = ["verify", "--label", label, "--key", &path("kept.allowed")];
    assert_eq!(shop.run(&with_key[..3]).status.code(), Some(0));
    assert_eq!(shop.run(&with_key).status.code(), Some(1));
}

/// `ssh-keygen -Y verify` of a file with the signature beside it.
fn is_signed(shop: &Shop, allowed: &str, file: &str) -> bool {
    let signature = fs::read_to_string(shop.path(&format!("{file}.sig"))).unwrap();
    let bytes = fs::read(shop.path(file)).unwrap();
    ssh_keygen(shop, allowed, &signature, &bytes)
        .status
        .success()
}

#[test]
fn reports_labels_and_exports_are_signed_and_no_changed_bit_passes() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    daemon.stop();
    let entries = entries(&shop);
    let series = of_kind(&entries, "armed")[0]["seq"].to_string();
    let path = |name: &str| shop.path(name).to_str().unwrap().to_owned();
    let report = ["report", &series, "--out", &path("report.html")];
    assert_eq!(shop.run(&report).status.code(), Some(0));
    assert!(
        !shop.path("report.html.sig").exists(),
        "there is no key yet"
    );

    key(&shop, "make");
    keep(&shop, "kept.allowed");
    shop.start().stop(); // seals what was there
    let made = [
        ("report.html", report.map(str::to_owned).to_vec()),
        (
            "label.html",
            ["label", "--series", &series, "--out", &path("label.html")]
                .map(str::to_owned)
                .to_vec(),
        ),
        (
            "all.csv",
            ["export", "csv", "-o", &path("all.csv")]
                .map(str::to_owned)
                .to_vec(),
        ),
        (
            "all.parquet",
            ["export", "parquet", "-o", &path("all.parquet")]
                .map(str::to_owned)
                .to_vec(),
        ),
    ];
    for (file, arguments) in &made {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        let output = shop.run(&arguments);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        assert!(is_signed(&shop, "kept.allowed", file), "{file}");
    }
    assert!(is_signed(&shop, "kept.allowed", "all.csv.question.json"));
    let verified = |file: &str, key: &str| {
        let (file, key) = (path(file), path(key));
        shop.run(&["verify", &file, "--key", &key]).status.code()
    };
    for file in ["report.html", "all.csv", "all.parquet"] {
        assert_eq!(verified(file, "kept.allowed"), Some(0), "{file}");
    }

    let whole = fs::read(shop.path("all.csv")).unwrap();
    for (turn, at) in (0..whole.len()).step_by(whole.len() / 20).enumerate() {
        let mut bytes = whole.clone();
        bytes[at] ^= 1 << (turn % 8);
        fs::write(shop.path("all.csv"), &bytes).unwrap();
        assert!(!is_signed(&shop, "kept.allowed", "all.csv"), "byte {at}");
        let output = shop.run(&["verify", &path("all.csv"), "--key", &path("kept.allowed")]);
        let said = String::from_utf8(output.stdout).unwrap();
        assert!(
            said.contains("the signature is not of these bytes"),
            "{said}"
        );
    }
    fs::write(shop.path("all.csv"), &whole).unwrap();
    fs::remove_file(shop.path("all.csv.sig")).unwrap();
    assert_eq!(verified("all.csv", "kept.allowed"), Some(1), "no signature");

    // a file that is replaced without the key keeps no signature of the old one
    fs::remove_file(shop.path("state/signing.key")).unwrap();
    assert_eq!(shop.run(&report).status.code(), Some(0));
    assert!(!shop.path("report.html.sig").exists());
    key(&shop, "make");
    keep(&shop, "other.allowed");
    shop.start().stop();
    assert_eq!(shop.run(&report).status.code(), Some(0));
    assert_eq!(
        verified("report.html", "kept.allowed"),
        Some(1),
        "a foreign key"
    );
    assert_eq!(verified("report.html", "other.allowed"), Some(0));
}
