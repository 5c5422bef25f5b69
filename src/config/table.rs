//! Reads values from a TOML table, remembers which keys were read, and reports the others.
//!
//! In: a parsed table with the place of every key and value. Out: values of the requested type. A value of another type
//! is reported and left out.

use super::faults::{At, Fault, Faults, FileId, Place, quoted};
use crate::quantity::{did_you_mean, meant, nearest, unsafe_in};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Maximum length of a text, in characters; longer ones were pasted by mistake.
const LONGEST_TEXT: usize = 500;

/// Name of the top level in messages.
const ROOT: &str = "this file";

/// Places of a table's values by key. The texts of a list also have a place each.
pub(super) type Places = Vec<(String, Option<String>, Place)>;

/// A table that is being read.
pub(super) struct Table<'t> {
    keys: &'t DeTable<'t>,
    file: FileId,
    place: Place,
    /// Header of the table in messages: `[[plan]]`.
    what: &'static str,
    known: Vec<&'static str>,
}

impl<'t> Table<'t> {
    /// The top level of a file.
    pub(super) fn root(table: &'t Spanned<DeTable<'t>>, file: FileId) -> Self {
        Self {
            keys: table.get_ref(),
            file,
            place: file.place(0..0),
            what: ROOT,
            known: Vec::new(),
        }
    }

    /// A whole request, read as a table of the kind `what`.
    pub(super) fn request(
        table: &'t Spanned<DeTable<'t>>,
        file: FileId,
        what: &'static str,
        beside: &[&'static str],
    ) -> Self {
        let known = beside.to_vec();
        let root = Self::root(table, file);
        Self {
            what,
            known,
            ..root
        }
    }

    /// The place of each value in the table.
    pub(super) fn places(&self) -> Places {
        let mut places = Places::new();
        for (key, value) in self.keys {
            let key = key.get_ref();
            for item in value
                .get_ref()
                .as_array()
                .into_iter()
                .flat_map(|list| list.iter())
            {
                let text = item.get_ref().as_str().map(str::to_owned);
                places.push((key.to_string(), text, self.file.place(item.span())));
            }
            places.push((key.to_string(), None, self.file.place(value.span())));
        }
        places
    }

    /// The place of the table's header.
    pub(super) fn place(&self) -> &Place {
        &self.place
    }

    fn find(&mut self, key: &'static str) -> Option<(Place, &'t DeValue<'t>)> {
        if !self.known.contains(&key) {
            self.known.push(key);
        }
        let value = self.keys.get(key)?;
        Some((self.file.place(value.span()), value.get_ref()))
    }

    /// The place of the value under `key`. The key counts as read.
    pub(super) fn taken(&mut self, key: &'static str) -> Option<Place> {
        self.find(key).map(|(place, _)| place)
    }

    /// A fault for a value that is not of the expected type.
    fn wrong_kind(key: &str, got: &DeValue<'_>, want: &str) -> Fault {
        Fault::new(format!("{key} is {}", kind(got)), format!("want {want}"))
    }

    /// Reports that a key is missing, unless the file has broken lines where it may be.
    pub(super) fn missing(&self, faults: &mut Faults, key: &'static str, want: &str) {
        if !faults.is_broken(self.file) {
            let want = if key.starts_with('[') {
                format!("want {want}") // a header, and no key
            } else {
                format!("want {key} = {want}")
            };
            let fault = Fault::new(self.lacks(key), want);
            faults.add(&self.place, fault.without(key));
        }
    }

    pub(super) fn text(&mut self, faults: &mut Faults, key: &'static str) -> Option<At<String>> {
        let (place, value) = self.find(key)?;
        checked_text(faults, key, place, value)
    }

    /// Reads bytes for an instrument: a text in which control characters are allowed.
    pub(super) fn bytes(&mut self, faults: &mut Faults, key: &'static str) -> Option<At<Vec<u8>>> {
        let (place, value) = self.find(key)?;
        if let Some(text) = value.as_str() {
            let value = text.as_bytes().to_vec();
            return Some(At { value, place });
        }
        faults.add(&place, Self::wrong_kind(key, value, "a text in quotes"));
        None
    }

    /// Reads `true` or `false`.
    pub(super) fn boolean(&mut self, faults: &mut Faults, key: &'static str) -> Option<At<bool>> {
        let (place, value) = self.find(key)?;
        let boolean = value.as_bool();
        if boolean.is_none() {
            faults.add(&place, Self::wrong_kind(key, value, "true or false"));
        }
        boolean.map(|value| At { value, place })
    }

    /// Reads a whole number within `range`.
    pub(super) fn whole(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        range: std::ops::RangeInclusive<u32>,
    ) -> Option<At<u32>> {
        let (place, value) = self.find(key)?;
        let want = format!("a whole number from {} to {}", range.start(), range.end());
        let Some(integer) = value.as_integer() else {
            faults.add(&place, Self::wrong_kind(key, value, &want));
            return None;
        };
        let number = u32::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            .filter(|number| range.contains(number));
        if number.is_none() {
            faults.add(&place, Self::wrong_kind(key, value, &want));
        }
        number.map(|value| At { value, place })
    }

    /// Reads a number as written, or a text with a number: `1.645`, `2`, `"1.645"`.
    pub(super) fn number_text(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
    ) -> Option<At<String>> {
        let (place, value) = self.find(key)?;
        let value = match value {
            DeValue::Float(float) => float.as_str().to_owned(),
            DeValue::Integer(integer) => integer.to_string(),
            DeValue::String(text) => text.clone().into_owned(),
            DeValue::Boolean(_) | DeValue::Datetime(_) | DeValue::Array(_) | DeValue::Table(_) => {
                faults.add(&place, Self::wrong_kind(key, value, "a number"));
                return None;
            }
        };
        Some(At { value, place })
    }

    /// Reads an integer as written, with its radix, or a text with one.
    pub(super) fn octal(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
    ) -> Option<At<(String, u32)>> {
        let (place, value) = self.find(key)?;
        match value {
            DeValue::Integer(integer) => Some(At {
                value: (integer.as_str().to_owned(), integer.radix()),
                place,
            }),
            DeValue::String(text) => Some(At {
                value: (text.clone().into_owned(), 8),
                place,
            }),
            DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Array(_)
            | DeValue::Table(_) => {
                faults.add(
                    &place,
                    Self::wrong_kind(key, value, "a mode such as \"0660\""),
                );
                None
            }
        }
    }

    /// Reads one of the given names.
    pub(super) fn one_of<T>(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        names: &[&str],
        from_name: impl Fn(&str) -> Option<T>,
    ) -> Option<At<T>> {
        faults.knows(self.what, key, names);
        let text = self.text(faults, key)?;
        if let Some(value) = from_name(&text.value) {
            return Some(At {
                value,
                place: text.place,
            });
        }
        let fault = Fault::new(
            format!("{key} is {}", quoted(&text.value)),
            format!("want {}", alternatives(names)),
        );
        let help = meant(&text.value, names.iter().copied());
        faults.add(&text.place, fault.help_of(help));
        None
    }

    /// Reads a list of texts. A single text counts as a list of one.
    pub(super) fn texts(&mut self, faults: &mut Faults, key: &'static str) -> Vec<At<String>> {
        let Some((place, value)) = self.find(key) else {
            return Vec::new();
        };
        match value {
            DeValue::String(_) => checked_text(faults, key, place, value)
                .into_iter()
                .collect(),
            DeValue::Array(items) => items
                .iter()
                .filter_map(|item| {
                    checked_text(faults, key, self.file.place(item.span()), item.get_ref())
                })
                .collect(),
            DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Table(_) => {
                faults.add(&place, Self::wrong_kind(key, value, "a list of texts"));
                Vec::new()
            }
        }
    }

    /// Whether the key is there, with any value.
    pub(super) fn has(&self, key: &str) -> bool {
        self.keys.contains_key(key)
    }

    /// Whether the value is a text.
    pub(super) fn is_text(&self, key: &str) -> bool {
        self.keys
            .get(key)
            .is_some_and(|value| value.get_ref().is_str())
    }

    /// The place of the value, if it is an empty list.
    pub(super) fn empty_list(&self, key: &str) -> Option<Place> {
        let value = self.keys.get(key)?;
        let items = value.get_ref().as_array()?;
        items.is_empty().then(|| self.file.place(value.span()))
    }

    /// Whether the value is a table.
    pub(super) fn is_table(&self, key: &str) -> bool {
        self.keys
            .get(key)
            .is_some_and(|value| value.get_ref().is_table())
    }

    /// Reports that the value is of no type that the key allows.
    pub(super) fn wrong(&mut self, faults: &mut Faults, key: &'static str, want: &str) {
        if let Some((place, value)) = self.find(key) {
            faults.add(&place, Self::wrong_kind(key, value, want));
        }
    }

    /// Reads a table under `key`; `what` is its header.
    pub(super) fn table(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        what: &'static str,
    ) -> Option<Table<'t>> {
        let (place, value) = self.find(key)?;
        match value {
            DeValue::Table(keys) => Some(Table {
                keys,
                file: self.file,
                place,
                what,
                known: Vec::new(),
            }),
            DeValue::String(_)
            | DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Array(_) => {
                faults.add(
                    &place,
                    Self::wrong_kind(key, value, &format!("a table {what}")),
                );
                None
            }
        }
    }

    /// Reads a list of tables; `what` is the header of each.
    pub(super) fn tables(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        what: &'static str,
    ) -> Vec<Table<'t>> {
        let Some((place, value)) = self.find(key) else {
            return Vec::new();
        };
        let file = self.file;
        let Some(items) = value.as_array() else {
            let fault = Self::wrong_kind(key, value, &format!("a list of tables, each {what}"));
            faults.add(
                &place,
                fault.help(format!("write {what} with two brackets on either side")),
            );
            return Vec::new();
        };
        let mut tables = Vec::new();
        for item in items {
            let place = file.place(item.span());
            match item.get_ref().as_table() {
                Some(keys) => tables.push(Table {
                    keys,
                    file,
                    place,
                    what,
                    known: Vec::new(),
                }),
                None => faults.add(&place, Self::wrong_kind(key, item.get_ref(), what)),
            }
        }
        tables
    }

    /// The keys that were not read, in the order of the file.
    pub(super) fn others(&self) -> Vec<At<&'t str>> {
        let mut others: Vec<_> = self
            .keys
            .keys()
            .filter(|key| !self.known.iter().any(|known| known == key.get_ref()))
            .collect();
        others.sort_by_key(|key| key.span().start);
        others
            .into_iter()
            .map(|key| At {
                value: key.get_ref().as_ref(),
                place: self.file.place(key.span()),
            })
            .collect()
    }

    /// Reads a text under a key that is not known in advance.
    pub(super) fn other_text(&self, faults: &mut Faults, key: &str) -> Option<At<String>> {
        let value = self.keys.get(key)?;
        let place = self.file.place(value.span());
        checked_text(faults, key, place, value.get_ref())
    }

    /// Reports an unknown key; `more` adds keys that are known but were not read.
    pub(super) fn unknown_key(&self, faults: &mut Faults, key: &At<&str>, more: &[&str]) {
        let known: Vec<&str> = self.known.iter().chain(more).copied().collect();
        let got = format!("unknown key {} in {}", quoted(key.value), self.what);
        let fault = Fault::new(got, "no such key").help(did_you_mean(key.value, &known));
        if let Some(meant) = nearest(key.value, known.iter().copied()) {
            faults.withdraw(&self.place, &self.lacks(meant)); // one mistake, one error
        }
        faults.add(&key.place, fault);
    }

    fn lacks(&self, key: &str) -> String {
        format!("{} has no {key}", self.what)
    }

    /// Adds the keys that were read to the vocabulary.
    pub(super) fn record_known_keys(&self, faults: &mut Faults) {
        for key in &self.known {
            faults.knows(self.what, key, &[]);
        }
    }

    /// Reports every key that was not read.
    pub(super) fn finish(self, faults: &mut Faults) {
        self.record_known_keys(faults);
        if self.what == ROOT && faults.is_broken(self.file) {
            return; // After a broken header its keys seem to belong to the file.
        }
        for key in self.others() {
            self.unknown_key(faults, &key, &[]);
        }
    }
}

fn checked_text(
    faults: &mut Faults,
    key: &str,
    place: Place,
    value: &DeValue<'_>,
) -> Option<At<String>> {
    let Some(text) = value.as_str() else {
        let fault = Table::wrong_kind(key, value, "a text in quotes");
        faults.add(&place, fault);
        return None;
    };
    let fault = if text.len() > LONGEST_TEXT {
        Some(Fault::new(
            format!("{key} has {} characters", text.chars().count()),
            format!("want at most {LONGEST_TEXT}"),
        ))
    } else if let Some(unseen) = unsafe_in(text) {
        Some(Fault::new(
            format!("{key} has {unseen} in it: {}", quoted(text)),
            "want characters that can be seen, and none that turns the direction of the text",
        ))
    } else if text.trim().is_empty() {
        Some(Fault::new(format!("{key} is empty"), "want a text"))
    } else {
        None
    };
    match fault {
        Some(fault) => {
            faults.add(&place, fault);
            None
        }
        None => Some(At {
            value: text.to_owned(),
            place,
        }),
    }
}

fn kind(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text {}", quoted(text)),
        DeValue::Integer(number) => cut(&number.to_string()),
        DeValue::Float(number) => cut(number.as_str()),
        DeValue::Boolean(value) => value.to_string(),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// A number as written, cut if it is very long.
fn cut(number: &str) -> String {
    const LONGEST: usize = 40;
    match number.get(..LONGEST) {
        Some(start) if number.len() > LONGEST => format!("{start}…"),
        Some(_) | None => number.to_owned(),
    }
}

/// Help for a decimal comma, which is the most common mistake.
pub(super) fn comma_help(text: &str) -> Option<String> {
    let comma = text.contains(',');
    comma.then(|| "write a decimal point and no comma".to_owned())
}

/// The names as `"a", "b" or "c"`.
pub(super) fn alternatives(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("{name:?}")).collect();
    match quoted.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
    }
}
