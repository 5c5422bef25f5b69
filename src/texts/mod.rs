//! The one table of texts in every language, for the page and for printed cards.
//!
//! `texts.json` has a key for each text, with the text in English, German and Spanish and named placeholders in braces.
//! Texts of the page and cards are written there only. A sentence of the daemon (its key begins with `daemon.`) is
//! written in the code that decides it, in English, and once more in the table with its translations; a test compares
//! the two for every variant. [`keyed`] finds the key of such a sentence and the values for its placeholders, even if
//! the sentence is from an old journal.
//!
//! A placeholder is `{name}`. In the English text of a sentence `{name#}` is a number with its unit, `{name@}` a day,
//! `{name~}` a text with a key of its own, and `{name*}` several of those.

mod keyed;

pub use keyed::{Keyed, Part, Texts, gather, gather_checks, keyed, keyed_check};

use crate::quantity::named;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// The table as text.
pub const TABLE: &str = include_str!("texts.json");

named! {
    /// A language of the table.
    pub enum Language {
        /// English, the language of the daemon itself.
        English = "en",
        /// German.
        German = "de",
        /// Spanish.
        Spanish = "es",
    }
}

type Row = BTreeMap<String, String>;

/// The table by key, then by language. A test ensures that it can be read.
static ROWS: LazyLock<BTreeMap<String, Row>> =
    LazyLock::new(|| serde_json::from_str(TABLE).unwrap_or_default());

/// The text of a key with these values for its placeholders; the key itself, if the table does not have it.
pub fn text(language: Language, key: &str, with: &[(&str, &str)]) -> String {
    let row = ROWS.get(key).and_then(|row| row.get(language.name()));
    let Some(template) = row else {
        return key.to_owned();
    };
    let mut said = String::new();
    let mut rest = template.as_str();
    while let Some((before, place)) = rest.split_once('{') {
        let (name, after) = place.split_once('}').unwrap_or((place, ""));
        let name = name.trim_end_matches(['#', '@', '*', '~', '!']);
        said.push_str(before);
        let value = with.iter().find(|(known, _)| *known == name);
        said.push_str(value.map_or("", |(_, value)| value));
        rest = after;
    }
    said.push_str(rest);
    said
}

/// A number with its unit in the language's form: German and Spanish have a decimal comma.
pub fn number(language: Language, number: &str) -> String {
    match language {
        Language::English => number.to_owned(),
        Language::German | Language::Spanish => {
            let bytes = number.as_bytes();
            let is_digit = |at: Option<usize>| {
                at.and_then(|at| bytes.get(at))
                    .is_some_and(u8::is_ascii_digit)
            };
            let signs = number.char_indices().map(|(at, sign)| {
                let between = is_digit(at.checked_sub(1)) && is_digit(Some(at + 1));
                if sign == '.' && between { ',' } else { sign }
            });
            signs.collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_has_the_decimal_sign_of_its_language() {
        let written = |language| number(language, "1.62 ±0.05 mm, 4 mm. 2");
        assert_eq!(written(Language::English), "1.62 ±0.05 mm, 4 mm. 2");
        assert_eq!(written(Language::German), "1,62 ±0,05 mm, 4 mm. 2");
        assert_eq!(number(Language::Spanish, ">= 180 N"), ">= 180 N");
    }

    #[test]
    fn a_text_takes_its_values_in_any_order() {
        let with = [("n", "3"), ("by", "0.05 mm")];
        let said = text(Language::English, "plan.pieces", &with);
        assert_eq!(said, "3 pieces");
        assert_eq!(text(Language::German, "no such key", &with), "no such key");
    }
}
