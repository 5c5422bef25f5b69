//! `tallyjaw verify`, the built program.

use super::bench::{segment, shop, verified};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn run(arguments: &[&str], state_dir: &Path) -> Output {
    Command::new(crate::harness::program())
        .arg("verify")
        .args(arguments)
        .arg(state_dir)
        .output()
        .unwrap()
}

#[test]
fn an_intact_journal_is_exit_0_with_its_last_digest() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let output = run(&[], folder.path());
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let text = String::from_utf8(output.stdout).unwrap();
    let last = verified(folder.path()).last_digest.unwrap().to_string();
    assert!(
        text.contains(": intact\n") && text.contains(&last),
        "{text}"
    );
    assert!(text.contains("sha256sum"), "{text}");

    let output = run(&["--json"], folder.path());
    let object: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(object["intact"], true);
    assert_eq!(object["last_digest"], last.as_str());
    assert_eq!(object["findings"], serde_json::json!([]));
}

#[test]
fn a_changed_line_is_exit_1_with_its_place() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let path = segment(folder.path(), 2);
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replace("wiped the jaws", "\\u001b[2Jgone")).unwrap();
    let output = run(&[], folder.path());
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.starts_with("00000002.jsonl:"), "{said}");
    assert!(
        said.contains("line is not as it was when the next one was written"),
        "{said}"
    );

    let output = run(&["--json"], folder.path());
    assert_eq!(output.status.code(), Some(1));
    let object: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(object["intact"], false);
    let finding = &object["findings"][0];
    assert_eq!(finding["file"], "00000002.jsonl");
    assert!(
        finding["seq"].is_u64() && finding["got"].is_string(),
        "{finding}"
    );
    assert_eq!(finding.get("accepted_in"), None);
}

#[test]
fn a_journal_that_is_not_there_is_exit_1() {
    let folder = tempfile::tempdir().unwrap();
    let check = || {
        let output = run(&[], folder.path());
        assert_eq!(output.status.code(), Some(1), "{output:?}");
        let said = String::from_utf8(output.stdout).unwrap();
        assert!(said.contains("journal: no journal\nhelp: "), "{said}");
        let output = run(&["--json"], folder.path());
        assert_eq!(output.status.code(), Some(1), "{output:?}");
        let object: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(object["intact"], false);
        assert_eq!(object["segments"], 0);
    };
    check();
    fs::create_dir(folder.path().join("journal")).unwrap();
    check();
}

#[test]
fn a_digest_is_compared() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let report = verified(folder.path());
    let (last, seq) = (
        report.last_digest.unwrap().to_string(),
        report.last.unwrap(),
    );
    let output = run(&["--digest", &last], folder.path());
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = String::from_utf8(output.stdout).unwrap();
    let line = format!("  digest    {last} is of entry {seq}; 0 entries since\n");
    assert!(said.contains(&line), "{said}");
    let other = "0123456789abcdef".repeat(4);
    let output = run(&["--digest", &other, "--json"], folder.path());
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let object: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(object["intact"], false);
    assert_eq!(object["digest_kept"]["digest"], other.as_str());
    assert_eq!(object["digest_kept"]["seq"], serde_json::Value::Null);
    let output = run(&["--digest", "abc"], folder.path());
    assert_eq!(output.status.code(), Some(2), "{output:?}");
}
