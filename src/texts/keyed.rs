//! A sentence of the daemon as its key in the table and what stands at its places.
//!
//! In: the sentence in English, as the daemon or a journal has it. Out: its key with what stands at each place, if the
//! table has the sentence. A sentence that fits several rows is that with the most words of its own.

use super::{Language, ROWS};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What every key of a sentence begins with.
const SENTENCES: &str = "daemon.";
/// Sentences that begin with a name and hold others, which have more words of their own.
const OUTERMOST: [&str; 3] = [
    "daemon.entry.refused",
    "daemon.entry.unread",
    "daemon.refusal.not_shown",
];
/// What the keys of sentences begin with that stand in others only.
const PARTS: [&str; 2] = ["daemon.part.", "daemon.tool."];
/// What the keys begin with of sentences that a check of the configuration says. Some of them fit much, so they are looked
/// for in faults alone; and in faults nothing else is.
const CHECKED: [&str; 6] = [
    "check.",
    "daemon.unarmable.",
    "daemon.wire.",
    "daemon.pull.",
    "daemon.help.",
    "daemon.setup.",
];
/// Keys of single words that stand in sentences.
const WORDS: [&str; 5] = ["axis.", "purpose.", "reservation.", "fault.", "look."];
/// The last two of a list.
const AND: &str = "list.and";
/// Nothing of ours is longer, in bytes.
const LONGEST: usize = 2_000;
/// Tries at one row: names from outside can be made so that a sentence falls apart in many ways.
const TRIES: u32 = 500;
/// Sentences in a sentence.
const DEEPEST: u32 = 4;

/// The key of a text in the page's table, and what stands at its places.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Keyed {
    /// Such as `daemon.refusal.no_plan`.
    pub key: String,
    /// What stands at each place, by its name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub with: BTreeMap<String, Part>,
}

/// What stands at a place of a text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Part {
    /// A name, or another text that is the same in every language.
    Text(String),
    /// A number with its unit.
    Number {
        /// As it is written in English.
        number: String,
    },
    /// A day.
    Date {
        /// Year, month and day, as `2026-11-25`.
        date: String,
    },
    /// Several, as they follow each other.
    List {
        /// Each of them.
        list: Vec<Part>,
    },
    /// What has a key of its own.
    Keyed(Keyed),
}

/// Sentences with their keys.
pub type Texts = BTreeMap<String, Keyed>;

/// The rows of sentences, those with the most words of their own first.
static SAYINGS: LazyLock<Vec<Saying>> = LazyLock::new(|| {
    sayings(|key| key.starts_with(SENTENCES) || WORDS.iter().any(|word| key.starts_with(word)))
});

/// The same of the checker's sentences.
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
    /// Bytes that are not at a place.
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
    /// Of a key or a thing: without blanks.
    Name,
    Number,
    Date,
    List,
    Keyed,
}

impl Kind {
    /// A place with its name, from what stands between the braces.
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

    /// Whether its length and its last words let it be this text; of most rows this is the end.
    fn may_be(&self, text: &str) -> bool {
        self.own <= text.len()
            && match self.pieces.last() {
                Some(Piece::Words(words)) => text.ends_with(words),
                Some(Piece::Place(..)) | None => true,
            }
    }
}

/// The key of an English sentence, and what stands at its places.
pub fn keyed(english: &str) -> Option<Keyed> {
    if english.is_empty() || english.len() > LONGEST {
        return None;
    }
    keyed_at(english, DEEPEST, &SAYINGS)
}

/// The key of a part of a fault, as the checker of configurations words it.
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

/// The words of an axis that is named as in files.
fn axis(name: &str) -> Option<Keyed> {
    let key = format!("axis.{name}");
    ROWS.contains_key(&key).then(|| Keyed {
        key,
        with: BTreeMap::new(),
    })
}

/// One of a list; the last may be two, `a and b`.
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

/// Whether the text is these pieces one after the other; `found` then has what stands at each place.
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
                Some(Piece::Place(..)) | None => return false, // nothing says where one ends
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
    /// The sentence in a language; in English it is what it was.
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
    /// In a language.
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

/// Adds those of `sentences` that the table has.
pub fn gather<'s>(texts: &mut Texts, sentences: impl IntoIterator<Item = &'s str>) {
    gather_by(keyed, texts, sentences);
}

/// The same of parts of the checker's faults.
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
