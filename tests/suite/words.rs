//! The words that docs/glossary.md rules out stand nowhere that a person reads: not in help, messages, schema and comments
//! (the text of `src`), not on the page, in golden output or in documentation.

use regex::Regex;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What is searched, from the root of the repository.
const SEARCHED: &[&str] = &[
    "README.md",
    "DEVELOPERS.md",
    "benches",
    "check",
    "config",
    "docs",
    "examples",
    "hardware-notes",
    "src",
    "tests/golden",
];

/// One row of the last table of the glossary.
struct Banned {
    word: Regex,
    say: String,
    right_in: Vec<String>,
}

/// The rows under "Words that are not used at all".
fn banned() -> Vec<Banned> {
    let glossary = fs::read_to_string(root().join("docs/glossary.md")).unwrap();
    let (_, table) = glossary
        .split_once("## Words that are not used at all")
        .unwrap();
    let rows = table.lines().filter(|line| line.starts_with('|')).skip(2);
    let banned: Vec<_> = rows.map(banned_by).collect();
    assert!(banned.len() > 20, "{} rows in the table", banned.len());
    banned
}

fn banned_by(row: &str) -> Banned {
    let cells: Vec<_> = row.trim_matches('|').split('|').map(str::trim).collect();
    let [words, say, right_in] = cells[..] else {
        panic!("three columns wanted, got {row}");
    };
    let words = words.replace(", ", "|");
    let phrases = right_in.split(", ").filter(|phrase| !phrase.is_empty());
    Banned {
        word: Regex::new(&format!(r"(?i)\b(?:{words})\b")).unwrap(),
        say: say.to_owned(),
        right_in: phrases.map(str::to_owned).collect(),
    }
}

impl Banned {
    /// The places in `text` where the word stands outside of the phrases in which it is right.
    fn found_in<'t>(&self, text: &'t str) -> Vec<&'t str> {
        let found = self.word.find_iter(text);
        found
            .filter(|found| !self.is_right(text, found.start(), found.end()))
            .map(|found| found.as_str())
            .collect()
    }

    fn is_right(&self, text: &str, start: usize, end: usize) -> bool {
        let text = text.to_lowercase();
        self.right_in.iter().any(|phrase| {
            text.match_indices(phrase.as_str())
                .any(|(at, _)| at <= start && end <= at + phrase.len())
        })
    }
}

/// Names of fields and kinds, which are for ever: a text of one word in quotes.
fn names() -> Regex {
    Regex::new(r#"\\?"[^"\s]+\\?""#).unwrap()
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file under `path`, but the glossary itself.
fn files(path: &Path, found: &mut Vec<PathBuf>) {
    if path.is_dir() {
        for entry in fs::read_dir(path).unwrap() {
            files(&entry.unwrap().path(), found);
        }
    } else if !path.ends_with("docs/glossary.md") {
        found.push(path.to_owned());
    }
}

/// What of a source file a person reads: comments and texts, each with its line. Identifiers are left out.
fn read_by_persons(source: &str) -> Vec<(usize, String)> {
    let token = Regex::new(
        r#"(?sx)
        (?P<comment> //[^\n]* )
        | b?r(?P<hashes>\#*)"
        | (?P<text> b?" (?: \\. | [^"\\] )* " )
        | '(?: \\[^']+ | [^\\'] )'
        "#,
    )
    .unwrap();
    let mut texts = Vec::new();
    let mut at = 0;
    while let Some(found) = token.captures_at(source, at) {
        let whole = found.get(0).unwrap();
        let line = source[..whole.start()].matches('\n').count() + 1;
        at = whole.end();
        if let Some(hashes) = found.name("hashes") {
            let end = source[at..]
                .find(&format!("\"{}", hashes.as_str()))
                .unwrap();
            texts.push((line, source[at..at + end].to_owned()));
            at += end + 1 + hashes.len();
        } else if found.name("comment").is_some() || found.name("text").is_some() {
            texts.push((line, whole.as_str().to_owned()));
        }
    }
    texts
}

/// A phrase may be broken over lines: comments that follow each other are one text, with its first line, and a text in
/// quotes continues after a line that ends with `\`.
fn joined(texts: Vec<(usize, String)>) -> Vec<(usize, String)> {
    let mut paragraphs: Vec<(usize, usize, String)> = Vec::new();
    for (line, text) in texts {
        let text_on = text.replace("\\\n", "");
        let words = text_on.trim_start_matches(['/', '!']).split_whitespace();
        let words = words.collect::<Vec<_>>().join(" ");
        match paragraphs.last_mut() {
            Some((_, last, paragraph)) if *last + 1 == line && text.starts_with("//") => {
                paragraph.push(' ');
                paragraph.push_str(&words);
                *last = line;
            }
            _ => paragraphs.push((line, line, words)),
        }
    }
    let kept = paragraphs.into_iter();
    kept.map(|(line, _, paragraph)| (line, paragraph)).collect()
}

fn texts_of(path: &Path, text: &str) -> Vec<(usize, String)> {
    if path.extension().is_some_and(|end| end == "rs") {
        return joined(read_by_persons(text));
    }
    let lines = text.lines().map(str::trim).enumerate();
    let lines = lines.map(|(at, line)| (at + 1, line.to_owned()));
    if path.extension().is_some_and(|end| end == "md") {
        return paragraphs(lines);
    }
    lines.collect()
}

/// The paragraphs of a page of documentation, each with its first line. A row of a table and a heading are paragraphs of
/// their own.
fn paragraphs(lines: impl Iterator<Item = (usize, String)>) -> Vec<(usize, String)> {
    let mut found: Vec<(usize, String)> = Vec::new();
    let mut continues = false;
    for (at, line) in lines {
        match found.last_mut() {
            Some((_, paragraph)) if continues && !line.starts_with(['|', '#']) => {
                paragraph.push(' ');
                paragraph.push_str(&line);
            }
            _ => found.push((at, line.clone())),
        }
        continues = !line.is_empty() && !line.starts_with(['|', '#']);
    }
    found
}

#[test]
fn no_word_that_the_glossary_rules_out_stands_where_a_person_reads() {
    let banned = banned();
    let mut paths = Vec::new();
    for searched in SEARCHED {
        files(&root().join(searched), &mut paths);
    }
    paths.sort();
    let names = names();
    let mut faults = Vec::new();
    for path in paths {
        let Ok(text) = fs::read_to_string(&path) else {
            continue; // a picture
        };
        let shown = path.strip_prefix(root()).unwrap().display().to_string();
        for (line, text) in texts_of(&path, &text) {
            let text = names.replace_all(&text, "");
            for row in &banned {
                for word in row.found_in(&text) {
                    faults.push(format!("{shown}:{line}: “{word}”, say: {}", row.say));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn a_phrase_is_found_across_lines() {
    let row = banned_by("| amounts to, what came of | the state | |");
    let source = "// What\n// came of it.\ncall(\"what it amounts \\\n    to\");";
    let page = "# Head\nWhat it amounts\nto.\n\n- what\n  came of it\n\n| what |\n| came of |";
    for (path, text, lines) in [("a.rs", source, [1, 3]), ("a.md", page, [2, 5])] {
        let texts = texts_of(Path::new(path), text);
        let found = texts
            .iter()
            .filter(|(_, text)| !row.found_in(text).is_empty());
        let found: Vec<_> = found.map(|(line, _)| *line).collect();
        assert_eq!(found, lines, "{texts:?}");
    }
}

#[test]
fn nor_in_the_schema_that_is_printed() {
    for of in ["entry", "feed", "control", "config"] {
        let mut command = Command::new(crate::harness::program());
        let printed = command.args(["schema", of]).output().unwrap();
        let text = String::from_utf8(printed.stdout).unwrap();
        assert!(text.len() > 1_000, "{text}");
        let text = names().replace_all(&text, "");
        for row in banned() {
            let found = row.found_in(&text);
            assert!(found.is_empty(), "{of}: {found:?}, say: {}", row.say);
        }
    }
}

#[test]
fn the_search_sees_a_word_in_a_comment_and_in_a_text_and_not_in_a_name() {
    let source = "/// Is told\n/// anew.\nlet told = ['\"', 'x']; call(\"at least: the\\\" least\", r#\"kin\"#);";
    let texts = joined(read_by_persons(source));
    let mut found = Vec::new();
    for row in banned() {
        for (line, text) in &texts {
            let words = row.found_in(text).into_iter();
            found.extend(words.map(|word| (*line, word.to_owned())));
        }
    }
    found.sort();
    let found: Vec<_> = found
        .iter()
        .map(|(line, word)| (*line, word.as_str()))
        .collect();
    assert_eq!(found, [(1, "anew"), (1, "told"), (3, "kin"), (3, "least")]);
}
