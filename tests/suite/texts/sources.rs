//! No row is left over: the words of every sentence stand in the code that says it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use tallyjaw::texts::TABLE;

/// Between two of its places, a sentence is put together of at most this number of parts.
const PARTS: usize = 3;

fn sources(folder: &Path, text: &mut String) {
    for file in fs::read_dir(folder).unwrap() {
        let path = file.unwrap().path();
        if path.is_dir() {
            sources(&path, text);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            text.push_str(&fs::read_to_string(path).unwrap());
        }
    }
}

/// The code without comments. A literal is as the compiler reads it: lines that end in a backslash are joined, an
/// escaped sign is that sign. A name such as `zero_due` has blanks.
fn read(text: &str) -> String {
    let lines = text
        .lines()
        .map(str::trim_start)
        .filter(|line| !line.starts_with("//"));
    let mut read = String::new();
    for line in lines {
        if let Some(begun) = line.strip_suffix('\\') {
            read.push_str(begun);
        } else {
            read.push_str(line);
            read.push('\n');
        }
    }
    let said = read.lines().filter(|line| line.contains('"'));
    let said: Vec<_> = said.collect();
    said.join("\n").replace("\\\"", "\"").replace('_', " ")
}

/// Whether the code has these words one after the other, or in so many parts.
fn stand(words: &[&str], code: &str, parts: usize) -> bool {
    (1..=words.len()).rev().any(|first| {
        let (begun, rest) = words.split_at(first);
        let begun = begun.join(" ");
        let begun = begun.trim_matches(|sign: char| !sign.is_alphanumeric());
        code.contains(begun) && (rest.is_empty() || (parts > 1 && stand(rest, code, parts - 1)))
    })
}

#[test]
fn the_words_of_every_sentence_stand_in_the_code() {
    let mut text = String::new();
    sources(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut text,
    );
    let code = read(&text);
    let table: BTreeMap<String, BTreeMap<String, String>> = serde_json::from_str(TABLE).unwrap();
    let mut missing = Vec::new();
    for (key, row) in table
        .iter()
        .filter(|(key, _)| key.starts_with("daemon.") || key.starts_with("check."))
    {
        for part in row["en"].split('{') {
            let part = part.rsplit('}').next().unwrap().replace('_', " ");
            let words: Vec<_> = part.split_whitespace().collect();
            if !words.is_empty() && !stand(&words, &code, PARTS) {
                missing.push(format!("{key}: {part:?}"));
            }
        }
    }
    assert!(missing.is_empty(), "no code says\n{}", missing.join("\n"));
}
