//! What a newer release may have written, met by this one: a start refuses it by name and leaves every byte, readers
//! say what they cannot read, and what only looks newer is damage.

use crate::harness::Shop;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::entry::line::Digest;

/// The segments of a journal in their order.
fn segments(state: &Path) -> Vec<PathBuf> {
    let items = fs::read_dir(state.join("journal")).unwrap();
    let mut paths: Vec<PathBuf> = items.map(|item| item.unwrap().path()).collect();
    paths.sort_unstable();
    paths
}

/// A shop without a daemon, with a kept journal of three segments.
fn kept() -> Shop {
    let shop = Shop::new();
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals/V1_A_SHORT_SERIES");
    fs::create_dir_all(shop.path("state/journal")).unwrap();
    for path in segments(&sample) {
        let to = shop.path("state/journal").join(path.file_name().unwrap());
        fs::copy(path, to).unwrap();
    }
    shop
}

/// Writes an entry in another way, and the chain behind it as a program does that writes so.
fn written_as(shop: &Shop, seq: u64, from: &str, to: &str) {
    let (mut prev, mut is_changed) = (Digest::NONE, false);
    let mark = format!("\"seq\":{seq},");
    for path in segments(&shop.path("state")) {
        let mut text = String::new();
        for line in fs::read_to_string(&path).unwrap().lines() {
            let entry: Value = serde_json::from_str(line).unwrap();
            let mut line = line.replacen(entry["prev"].as_str().unwrap(), &prev.to_string(), 1);
            if line[..30].contains(&mark) {
                assert!(line.contains(from), "{from} is not in {line}");
                line = line.replacen(from, to, 1);
                is_changed = true;
            }
            prev = Digest::of(line.as_bytes());
            text.push_str(&line);
            text.push('\n');
        }
        fs::write(path, text).unwrap();
    }
    assert!(is_changed, "there is no entry {seq}");
}

/// Every byte of the journal.
fn bytes(shop: &Shop) -> Vec<Vec<u8>> {
    let paths = segments(&shop.path("state"));
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

/// What a command says on both outputs, behind the exit code that it must have.
fn said(shop: &Shop, arguments: &[&str], code: i32) -> String {
    let mut command = shop.tallyjaw(arguments);
    let output = command.current_dir(shop.dir.path()).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap() + &String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {text}");
    text
}

const REMEDY: &str = "use the release that wrote it, or a newer one";

/// What a newer release would write: the entry, what it has there, and what stands there instead; what this release says
/// of it, and whether commands that only read can go on. They can without a field, as the integrators' page promises.
const NEWER: [(u64, &str, &str, &str, bool); 4] = [
    (
        24,
        r#""v":1,"#,
        r#""v":2,"#,
        "entry of version 2, want at most 1",
        false,
    ),
    (
        25,
        r#""kind":"reading","#,
        r#""kind":"hummed","#,
        "unknown kind of entry \"hummed\"",
        false,
    ),
    (
        26,
        r#""kind":"reading","prev""#,
        r#""kind":"reading","hums":[1],"prev""#,
        "unknown field \"hums\"",
        true,
    ),
    (
        23,
        r#""state":{"#,
        r#""state":{"hums":[],"#,
        "unknown field \"state.hums\"",
        true,
    ),
];

#[test]
fn a_journal_of_a_newer_release_is_refused_with_what_to_do_and_left_as_it_is() {
    for (seq, from, to, want, may_be_read) in NEWER {
        let shop = kept();
        written_as(&shop, seq, from, to);
        let newer = bytes(&shop);
        let place = format!("00000003.jsonl:{}: {want}", seq - 22);
        let accepting = format!("--accept-damage={seq}");
        for arguments in [&["serve"][..], &["serve", &accepting]] {
            let refused = said(&shop, arguments, 2);
            let end = format!("{place}\nhelp: {REMEDY}\n");
            assert!(refused.ends_with(&end), "{refused}");
        }
        let read = said(&shop, &["series"], if may_be_read { 0 } else { 4 });
        let end = format!("{want}\nhelp: {REMEDY}\n");
        assert_eq!(read.ends_with(&end), !may_be_read, "{read}");

        let verified = said(&shop, &["verify", "state"], 1);
        let finding = format!("entry {seq}: line of a newer release\n  got  {want}\n");
        assert!(verified.contains(&finding), "{verified}");
        let newer_line =
            format!("  newer     1 entries are not checked by this release; {REMEDY}\n");
        assert!(verified.contains(&newer_line), "{verified}");
        let object: Value =
            serde_json::from_str(&said(&shop, &["--json", "verify", "state"], 1)).unwrap();
        assert_eq!(
            (&object["intact"], &object["newer"]),
            (&false.into(), &1.into())
        );
        assert_eq!(object["findings"].as_array().unwrap().len(), 1, "{object}");

        // An archive takes every byte. No state folder is made of it by a release that cannot read it.
        assert!(said(&shop, &["archive", "kept"], 1).contains(&finding));
        assert!(said(&shop, &["archive", "kept", "--restore", "made"], 1).contains(REMEDY));
        assert!(!shop.path("made").exists());
        assert_eq!(bytes(&shop), newer, "{want}");
    }
}

#[test]
fn a_word_of_a_newer_release_is_told_from_damage_by_the_next_line() {
    let shop = kept();
    written_as(&shop, 25, r#""verdict":"pass""#, r#""verdict":"splendid""#);
    let newer = bytes(&shop);
    let refused = said(&shop, &["serve"], 4);
    assert!(
        refused.contains("splendid")
            && refused.contains("help: the next line holds its digest, so it is as it was written"),
        "{refused}"
    );
    assert_eq!(bytes(&shop), newer);
}

#[test]
fn the_index_of_a_newer_release_is_made_again() {
    let shop = kept();
    let want = said(&shop, &["series"], 0);
    let index = shop.path("state/index");
    let files: Vec<PathBuf> = fs::read_dir(&index)
        .unwrap()
        .map(|item| item.unwrap().path())
        .collect();
    assert!(!files.is_empty());
    for path in &files {
        let ours = fs::read_to_string(path).unwrap();
        let newer = ours.replacen(r#"{"v":2,"#, r#"{"v":999,"#, 1);
        assert_ne!(newer, ours);
        fs::write(path, newer).unwrap();
        assert_eq!(said(&shop, &["series"], 0), want);
        assert_eq!(fs::read_to_string(path).unwrap(), ours);
    }
}
