//! The glossary's words in German and Spanish, wherever a text has the term.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use tallyjaw::texts::TABLE;

/// Texts in which the word is a key of a plan.
const KEYS_OF_PLANS: [&str; 2] = [
    "daemon.unarmable.verifies_crimps",
    "daemon.unarmable.pieces",
];
/// A zero by its role, which is the word itself.
const BY_ROLE: &str = "daemon.entry.zeroed.good";

/// Term, German, Spanish.
fn terms() -> Vec<[String; 3]> {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/glossary.md");
    let page = fs::read_to_string(page).unwrap();
    let table = page.split_once("## In German and Spanish").unwrap().1;
    let table = table.split_once("\n## ").unwrap().0;
    let rows = table.lines().filter(|line| line.starts_with("| ")).skip(1);
    rows.map(|row| {
        let cells: Vec<_> = row
            .trim_matches('|')
            .split('|')
            .map(|cell| cell.trim().to_owned())
            .collect();
        cells.try_into().unwrap()
    })
    .collect()
}

/// Small letters without accents: umlauts come and go with the number of a word.
fn folded(text: &str) -> String {
    let plain = |letter: char| match letter {
        'ä' | 'á' => 'a',
        'ö' | 'ó' => 'o',
        'ü' | 'ú' => 'u',
        'é' => 'e',
        'í' => 'i',
        other => other,
    };
    text.to_lowercase().chars().map(plain).collect()
}

/// The words of a text, without places, names of keys and what is written in capitals on an instrument or in a command.
fn words(english: &str) -> String {
    let mut said = String::new();
    let mut rest = english;
    while let Some((before, place)) = rest.split_once('{') {
        said.push_str(before);
        rest = place.split_once('}').unwrap().1;
    }
    said.push_str(rest);
    let outside =
        |quoted: String, quote: char| quoted.split(quote).step_by(2).collect::<Vec<_>>().join(" ");
    let said = outside(outside(said, '`'), '"');
    let is_word = |word: &str| {
        let is_key = word.starts_with('-') || word.contains(['_', '[', '/']);
        !is_key && (word.len() == 1 || word.to_uppercase() != word)
    };
    let all: Vec<_> = said.split_whitespace().collect();
    let mut words = Vec::new();
    for (at, word) in all.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|at| all.get(at));
        // `tallyjaw zero` is a command, `wire = ` a key.
        let is_command = before.is_some_and(|before| before.ends_with("tallyjaw"));
        if !is_command && all.get(at + 1) != Some(&"=") && is_word(word) {
            words.push(word.trim_matches(|sign: char| !sign.is_alphanumeric()));
        }
    }
    format!(" {} ", words.join(" ").to_lowercase())
}

#[test]
fn a_term_is_said_by_its_word_of_the_glossary() {
    let table: BTreeMap<String, BTreeMap<String, String>> = serde_json::from_str(TABLE).unwrap();
    let (mut found, mut faults) = (0, Vec::new());
    for [term, german, spanish] in terms() {
        for (key, row) in &table {
            let english = words(&row["en"]);
            let has =
                english.contains(&format!(" {term} ")) || english.contains(&format!(" {term}s "));
            if !has || KEYS_OF_PLANS.contains(&key.as_str()) || key == BY_ROLE {
                continue;
            }
            found += 1;
            for (language, word) in [("de", &german), ("es", &spanish)] {
                let word = word.split('·').next().unwrap();
                if !folded(&row[language]).contains(&folded(word)) {
                    faults.push(format!(
                        "{key}: {term} is {word:?} in {language}, got {:?}",
                        row[language]
                    ));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert!(found > 300, "{found}");
}
