//! The texts of the page: one table, complete in every language, and no text outside it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

const LANGUAGES: [&str; 3] = ["en", "de", "es"];

/// Keys that the page puts together: the beginning, and where the rest is from.
const PUT_TOGETHER: [&str; 36] = [
    "aloud.",
    "answer.",
    "axis.",
    "card.",
    "check.",
    "daemon.",
    "done.",
    "fate.",
    "fault.",
    "health.",
    "http.",
    "instrument.zero.",
    "label.",
    "list.",
    "look.",
    "miss.",
    "outcome.",
    "page.",
    "pairing.",
    "purpose.",
    "reason.",
    "reservation.",
    "said.",
    "sample.",
    "say.",
    "settlement.",
    "setup.class.",
    "setup.field.",
    "setup.help.",
    "setup.new.",
    "setup.order.",
    "setup.sizing.",
    "setup.tab.",
    "slot.",
    "tally.",
    "verdict.",
];

fn asset(name: &str) -> String {
    let assets = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/assets");
    fs::read_to_string(assets.join(name)).unwrap()
}

fn table() -> BTreeMap<String, BTreeMap<String, String>> {
    serde_json::from_str(tallyjaw::texts::TABLE).unwrap()
}

fn scripts() -> String {
    let assets = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/assets");
    let files = fs::read_dir(assets)
        .unwrap()
        .map(|file| file.unwrap().path());
    let scripts = files.filter(|path| path.extension().is_some_and(|ending| ending == "js"));
    scripts
        .map(|path| fs::read_to_string(path).unwrap())
        .collect()
}

/// The names in braces.
fn places(text: &str) -> BTreeSet<&str> {
    let parts = text.split('{').skip(1);
    parts
        .filter_map(|part| {
            Some(
                part.split_once('}')?
                    .0
                    .trim_end_matches(['#', '@', '*', '~', '!']),
            )
        })
        .collect()
}

#[test]
fn every_text_is_there_in_every_language_with_the_same_places() {
    for (key, row) in table() {
        let languages: BTreeSet<_> = row.keys().map(String::as_str).collect();
        assert_eq!(languages, BTreeSet::from(LANGUAGES), "{key}");
        for (language, text) in &row {
            assert!(!text.trim().is_empty(), "{key} in {language}");
            // One piece can be worded without its number.
            if key.rsplit('.').next() != Some("one") {
                assert_eq!(places(text), places(&row["en"]), "{key} in {language}");
            }
        }
    }
}

#[test]
fn what_the_page_says_for_itself_stands_for_a_sentence_of_the_daemon() {
    let table = table();
    for (key, row) in &table {
        let Some(rest) = key.strip_prefix("page.") else {
            continue;
        };
        let said = table.get(&format!("daemon.{rest}"));
        let said = said.unwrap_or_else(|| panic!("no sentence for {key}"));
        assert!(places(&row["en"]).is_subset(&places(&said["en"])), "{key}");
        assert_ne!(row["en"], said["en"], "{key}");
        // A finger has no command line and no file.
        for text in row.values() {
            let no_finger = ["tallyjaw ", "--", "[[", "`", " = \""];
            let found = no_finger.iter().find(|word| text.contains(*word));
            assert_eq!(found, None, "{key}: {text}");
        }
    }
}

#[test]
fn the_english_in_the_page_is_that_of_the_table() {
    let table = table();
    let html = asset("index.html");
    let mut found = 0;
    for part in html.split("data-text=\"").skip(1) {
        let (key, rest) = part.split_once('"').unwrap();
        let text = rest.split_once('>').unwrap().1.split_once('<').unwrap().0;
        assert_eq!(
            table.get(key).map(|row| row["en"].as_str()),
            Some(text),
            "{key}"
        );
        found += 1;
    }
    for attribute in ["data-label=\"", "data-placeholder=\""] {
        for part in html.split(attribute).skip(1) {
            let key = part.split_once('"').unwrap().0;
            assert!(table.contains_key(key), "{key}");
        }
    }
    assert!(found > 60, "{found}");
}

#[test]
fn no_key_is_missing_and_none_is_left_over() {
    let table = table();
    let scripts = scripts();
    let html = asset("index.html");
    for (at, call) in scripts.match_indices("t(\"") {
        let before = scripts[..at].chars().next_back();
        if before.is_some_and(char::is_alphanumeric) {
            continue; // another function's name ends with that letter
        }
        let key = scripts[at + call.len()..].split_once('"').unwrap().0;
        assert!(table.contains_key(key), "no text for {key}");
    }
    for key in table.keys() {
        let key = key.trim_end_matches(".one");
        let quoted = format!("\"{key}\"");
        let said = scripts.contains(&quoted) || html.contains(&quoted);
        let put_together =
            PUT_TOGETHER.iter().any(|start| key.starts_with(start)) || key.starts_with("zero.");
        assert!(said || put_together, "nothing says {key}");
    }
}

#[test]
fn whatever_the_daemon_names_has_a_text() {
    use tallyjaw::entry::{NotCounted, Outcome, Reservation};
    use tallyjaw::spec::{Axis, Purpose};
    let table = table();
    let mut wanted = Vec::new();
    wanted.extend(
        NotCounted::ALL
            .iter()
            .map(|one| format!("reason.{}", one.name())),
    );
    wanted.extend(
        Outcome::ALL
            .iter()
            .map(|one| format!("outcome.{}", one.name())),
    );
    wanted.extend(
        Reservation::ALL
            .iter()
            .map(|one| format!("reservation.{}", one.name())),
    );
    wanted.extend(
        Purpose::ALL
            .iter()
            .map(|one| format!("purpose.{}", one.name())),
    );
    wanted.extend(
        Axis::built_in()
            .iter()
            .map(|axis| format!("axis.{}", axis.name)),
    );
    let missing: Vec<_> = wanted
        .into_iter()
        .filter(|key| !table.contains_key(key))
        .collect();
    assert_eq!(missing, Vec::<String>::new());
}
