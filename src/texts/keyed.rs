//! Finds the key of a sentence in the table of texts, and the values for its placeholders.
//!
//! In: a sentence in English, from the daemon or a journal. Out: its key and the values for its placeholders, if the
//! table has the sentence. If several rows fit, the one with the most words of its own is used.

use super::{Language, ROWS};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Beginning of the keys of sentences.
const SENTENCES: &str = "daemon.";
/// Sentences that begin with a name and contain other sentences, which have more words of their own.
const OUTERMOST: [&str; 3] = [
    "daemon.entry.refused",
    "daemon.entry.unread",
    "daemon.refusal.not_shown",
];
/// Beginnings of the keys of sentences that occur only within others.
const PARTS: [&str; 2] = ["daemon.part.", "daemon.tool."];
/// Beginnings of the keys of sentences by the check of a configuration. Some of them fit many texts, so they are used
/// for faults only, and faults use no others.
const CHECKED: [&str; 6] = [
    "check.",
    "daemon.unarmable.",
    "daemon.wire.",
    "daemon.pull.",
    "daemon.help.",
    "daemon.setup.",
];
/// Beginnings of the keys of single words within sentences.
const WORDS: [&str; 5] = ["axis.", "purpose.", "reservation.", "fault.", "look."];
/// The key that joins the last two items of a list.
const AND: &str = "list.and";
/// Maximum length of a sentence in bytes.
const LONGEST: usize = 2_000;
/// Maximum number of attempts to match one row, because names from outside can be made so that a sentence splits in
/// many ways.
const TRIES: u32 = 500;
/// Maximum depth of sentences within sentences.
const DEEPEST: u32 = 4;

/// The key of a text, and the values for its placeholders.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Keyed {
    /// The key, such as `daemon.refusal.no_plan`.
    pub key: String,
    /// The value for each placeholder, by its name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub with: BTreeMap<String, Part>,
}

/// The value for a placeholder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Part {
    /// A name, or another text that is the same in every language.
    Text(String),
    /// A number with its unit.
    Number {
        /// The number as written in English.
        number: String,
    },
    /// A day.
    Date {
        /// Year, month and day, as `2026-11-25`.
        date: String,
    },
    /// Several values, in order.
    List {
        /// The values.
        list: Vec<Part>,
    },
    /// A text with a key of its own.
    Keyed(Keyed),
}

/// Sentences with their keys.
pub type Texts = BTreeMap<String, Keyed>;

/// The rows of sentences, sorted by the number of their own words, largest first.
static SAYINGS: LazyLock<Vec<Saying>> = LazyLock::new(|| {
    sayings(|key| key.starts_with(SENTENCES) || WORDS.iter().any(|word| key.starts_with(word)))
});

/// The same for the sentences by the check of a configuration.
static CHECKS: LazyLock<Vec<Saying>> =
    LazyLock::new(|| sayings(|key| CHECKED.iter().any(|start| key.starts_with(start))));

fn sayings(is_said: impl Fn(&str) -> bool) -> Vec<Saying> {
    let rows = ROWS.iter().filter(|(key, _)| is_said(key));
    let mut sayings: Vec<_> = rows
        .filter_map(|(key, row)| Some(Saying::new(key, row.get("en")?)))
        .collect();
    sayings.sort_by_key(|saying| {
        let is_outermost = OUTERMOST.iter().any(|start| saying.key.starts_with(start));
        std::cmp::Reverse((is_outermost, saying.own))
    });
    sayings
}

struct Saying {
    key: &'static str,
    pieces: Vec<Piece>,
    /// Number of bytes outside placeholders.
    own: usize,
}

#[derive(Clone, Copy)]
enum Piece {
    Words(&'static str),
    Place(&'static str, Kind),
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Text,
    /// The name of a key or a thing: without blanks.
    Name,
    Number,
    Date,
    List,
    Keyed,
}

impl Kind {
    /// A placeholder with its name, from the text between the braces.
    fn of(place: &'static str) -> (&'static str, Self) {
        let marks = [
            ('!', Self::Name),
            ('#', Self::Number),
            ('@', Self::Date),
            ('*', Self::List),
            ('~', Self::Keyed),
        ];
        let marked = marks
            .into_iter()
            .find_map(|(mark, kind)| Some((place.strip_suffix(mark)?, kind)));
        marked.unwrap_or((place, Self::Text))
    }
}

impl Saying {
    fn new(key: &'static str, english: &'static str) -> Self {
        let mut pieces = Vec::new();
        let mut rest = english;
        while let Some((before, place)) = rest.split_once('{') {
            let (name, after) = place.split_once('}').unwrap_or((place, ""));
            if !before.is_empty() {
                pieces.push(Piece::Words(before));
            }
            let (name, kind) = Kind::of(name);
            pieces.push(Piece::Place(name, kind));
            rest = after;
        }
        if !rest.is_empty() {
            pieces.push(Piece::Words(rest));
        }
        let own = pieces.iter().map(|piece| match piece {
            Piece::Words(words) => words.len(),
            Piece::Place(..) => 0,
        });
        let own = own.sum();
        Self { key, pieces, own }
    }

    /// Whether this can be the text, by its length and its last words; for most rows it is not.
    fn may_be(&self, text: &str) -> bool {
        self.own <= text.len()
            && match self.pieces.last() {
                Some(Piece::Words(words)) => text.ends_with(words),
                Some(Piece::Place(..)) | None => true,
            }
    }
}

/// The key of an English sentence, and the values for its placeholders.
pub fn keyed(english: &str) -> Option<Keyed> {
    if english.is_empty() || english.len() > LONGEST {
        return None;
    }
    keyed_at(english, DEEPEST, &SAYINGS)
}

/// The key of a part of a fault, in the words of the check of configurations.
pub fn keyed_check(english: &str) -> Option<Keyed> {
    if english.is_empty() || english.len() > LONGEST {
        return None;
    }
    keyed_at(english, DEEPEST, &CHECKS)
}

fn keyed_at(english: &str, deep: u32, among: &'static [Saying]) -> Option<Keyed> {
    let whole = deep == DEEPEST;
    let sayings = among
        .iter()
        .filter(|saying| saying.may_be(english))
        .filter(|saying| !(whole && PARTS.iter().any(|part| saying.key.starts_with(part))));
    let mut fitting = sayings.filter_map(|saying| {
        let mut tries = TRIES;
        let mut found = Vec::new();
        fits(&saying.pieces, english, &mut tries, &mut found).then_some((saying, found))
    });
    let (saying, found) = fitting.next()?;
    let with = found
        .into_iter()
        .map(|(name, kind, text)| (name.to_owned(), part(kind, text, deep)));
    Some(Keyed {
        key: saying.key.to_owned(),
        with: with.collect(),
    })
}

fn part(kind: Kind, text: &str, deep: u32) -> Part {
    let own = || text.to_owned();
    match kind {
        Kind::Text | Kind::Name => Part::Text(own()),
        Kind::Number => Part::Number { number: own() },
        Kind::Date => Part::Date { date: own() },
        Kind::List => Part::List {
            list: text.split(", ").map(|one| listed(one, deep)).collect(),
        },
        Kind::Keyed => {
            let keyed = deep
                .checked_sub(1)
                .and_then(|deep| keyed_at(text, deep, &SAYINGS));
            let keyed = keyed.or_else(|| axis(text));
            keyed.map_or_else(|| Part::Text(own()), Part::Keyed)
        }
    }
}

/// The words for an axis that is given by its name in files.
fn axis(name: &str) -> Option<Keyed> {
    let key = format!("axis.{name}");
    ROWS.contains_key(&key).then(|| Keyed {
        key,
        with: BTreeMap::new(),
    })
}

/// An item of a list; the last may hold two, `a and b`.
fn listed(text: &str, deep: u32) -> Part {
    let found = part(Kind::Keyed, text, deep);
    match (found, text.split_once(" and ")) {
        (Part::Text(_), Some((one, other))) => {
            let with = [("one", one), ("other", other)];
            let with = with.map(|(name, text)| (name.to_owned(), part(Kind::Keyed, text, deep)));
            Part::Keyed(Keyed {
                key: AND.to_owned(),
                with: with.into(),
            })
        }
        (found, _) => found,
    }
}

/// Whether the text consists of these pieces in order; `found` then has the value for each placeholder.
fn fits<'t>(
    pieces: &[Piece],
    text: &'t str,
    tries: &mut u32,
    found: &mut Vec<(&'static str, Kind, &'t str)>,
) -> bool {
    match pieces {
        [] => text.is_empty(),
        [Piece::Words(words), rest @ ..] => text
            .strip_prefix(words)
            .is_some_and(|text| fits(rest, text, tries, found)),
        [Piece::Place(name, kind)] => {
            let is_one = !text.is_empty() && may_be(*kind, text);
            if is_one {
                found.push((name, *kind, text));
            }
            is_one
        }
        [Piece::Place(name, kind), rest @ ..] => {
            let next = match rest.first() {
                Some(Piece::Words(words)) => *words,
                Some(Piece::Place(..)) | None => return false, // nothing marks where one of two adjacent placeholders ends
            };
            for (at, _) in text.match_indices(next) {
                let (here, behind) = text.split_at(at);
                if here.is_empty() || !may_be(*kind, here) {
                    continue;
                }
                let Some(left) = tries.checked_sub(1) else {
                    return false;
                };
                *tries = left;
                let known = found.len();
                found.push((name, *kind, here));
                if fits(rest, behind, tries, found) {
                    return true;
                }
                found.truncate(known);
            }
            false
        }
    }
}

fn may_be(kind: Kind, text: &str) -> bool {
    match kind {
        Kind::Text | Kind::Keyed | Kind::List => true,
        Kind::Name => !text.contains(char::is_whitespace),
        Kind::Date => {
            let is_digit = |(at, sign): (usize, u8)| match at {
                4 | 7 => sign == b'-',
                _ => sign.is_ascii_digit(),
            };
            text.len() == 10 && text.bytes().enumerate().all(is_digit)
        }
        Kind::Number => {
            text.starts_with(|first: char| first.is_ascii_digit() || "+-±<>=≤≥(".contains(first))
                && text.contains(|digit: char| digit.is_ascii_digit())
        }
    }
}

impl Keyed {
    /// The sentence in a language; in English it is unchanged.
    pub fn text(&self, language: Language) -> String {
        let with = self
            .with
            .iter()
            .map(|(name, part)| (name.as_str(), part.text(language)));
        let with: Vec<_> = with.collect();
        let with = with.iter().map(|(name, said)| (*name, said.as_str()));
        super::text(language, &self.key, &with.collect::<Vec<_>>())
    }
}

impl Part {
    /// The value in a language.
    fn text(&self, language: Language) -> String {
        match self {
            Self::Text(text) | Self::Date { date: text } => text.clone(),
            Self::Number { number } => super::number(language, number),
            Self::Keyed(keyed) => keyed.text(language),
            Self::List { list } => {
                let all: Vec<_> = list.iter().map(|part| part.text(language)).collect();
                all.join(", ")
            }
        }
    }
}

/// Adds the keys of those `sentences` that the table has.
pub fn gather<'s>(texts: &mut Texts, sentences: impl IntoIterator<Item = &'s str>) {
    gather_by(keyed, texts, sentences);
}

/// The same for parts of faults of a configuration.
pub fn gather_checks<'s>(texts: &mut Texts, sentences: impl IntoIterator<Item = &'s str>) {
    gather_by(keyed_check, texts, sentences);
}

fn gather_by<'s>(
    keyed: impl Fn(&str) -> Option<Keyed>,
    texts: &mut Texts,
    sentences: impl IntoIterator<Item = &'s str>,
) {
    for sentence in sentences {
        if !texts.contains_key(sentence)
            && let Some(found) = keyed(sentence)
        {
            texts.insert(sentence.to_owned(), found);
        }
    }
}
