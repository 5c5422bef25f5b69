//! Adds, changes or removes one entry of a configuration file, as a person would by hand.
//!
//! In: the text of a file and a [`Change`]. Out: the new text, in which every byte outside the entry is as before.
//! Whether the new text is valid is checked by [`super::assemble`].
//!
//! - No file is opened here, and no value is judged.
//! - Everything else stays: keys that no form knows, comments, order, the way in which a value is written.
//! - A value is written by the library that reads it, so no text of a request can become a key or a table.
//! - A list of jobs is not TOML but a table of cells (`cells`); otherwise it is edited in the same way.

mod cells;
mod place;
#[cfg(test)]
mod tests;
mod values;

use crate::quantity::named;
use place::{Entries, lines_of};
use serde_json::{Map, Value};
use std::ops::Range;

named! {
    /// The kind of entry that is changed.
    pub enum List {
        /// `[[terminal]]`
        Terminal = "terminal",
        /// `[[terminal.row]]`
        Row = "row",
        /// `[[plan]]`
        Plan = "plan",
        /// `[[tool]]`
        Tool = "tool",
        /// `[[operator]]`
        Operator = "operator",
        /// A row of a list of jobs.
        Job = "job",
    }
}

impl List {
    /// The key of its tables in a file.
    const fn key(self) -> &'static str {
        match self {
            Self::Terminal | Self::Row => "terminal",
            Self::Plan => "plan",
            Self::Tool => "tool",
            Self::Operator => "operator",
            Self::Job => "job",
        }
    }

    /// The key with the name of an entry; a row has none.
    pub const fn name_key(self) -> &'static str {
        match self {
            Self::Terminal | Self::Plan | Self::Tool => "id",
            Self::Row => "wire",
            Self::Operator => "name",
            Self::Job => "job",
        }
    }

    /// The header of its tables in a file.
    pub const fn header(self) -> &'static str {
        match self {
            Self::Terminal => "[[terminal]]",
            Self::Row => "[[terminal.row]]",
            Self::Plan => "[[plan]]",
            Self::Tool => "[[tool]]",
            Self::Operator => "[[operator]]",
            Self::Job => "job",
        }
    }
}

/// The entry of a file that is changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Which {
    /// Its kind.
    pub list: List,
    /// For a row: the index of its terminal in the file, from 0.
    pub terminal: usize,
    /// Its index among the entries of its kind in the file; for a row, in its terminal. From 0.
    pub at: usize,
}

/// The change of an entry.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A new entry after the others; its index is ignored.
    Add(Map<String, Value>),
    /// New values for these keys; null removes a key. Other keys stay as they are.
    Set(Map<String, Value>),
    /// Removes the entry, with the comment directly above it.
    Remove,
}

/// Why a text cannot be edited; nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// It is not valid TOML.
    #[error("the file is not TOML: {message}")]
    NotToml {
        /// Message of the parser.
        message: String,
    },
    /// It has no entry with this index.
    #[error("there is no {} number {at} in the file", list.header())]
    NoSuch {
        /// The kind of entry.
        list: List,
        /// The index, from 0.
        at: usize,
    },
    /// The entry is not written as a table with a header.
    #[error("{} is written as a list of inline tables, want a header for each", list.header())]
    Inline {
        /// The kind of entry.
        list: List,
    },
    /// The tables of the entry are not together: others are between them.
    #[error("other tables stand between those of this {}", list.header())]
    Scattered {
        /// The kind of entry.
        list: List,
    },
    /// A list of jobs has no column for a value.
    #[error("the list has no column {key}")]
    NoColumn {
        /// The heading that is missing.
        key: String,
    },
    /// The new row of a list has no cell with a value.
    #[error("the new job has no value")]
    Nothing,
    /// With the change, other rows of a list would have other values.
    #[error(
        "another row would change: the list has a quotation mark that is not closed, or cells outside its columns"
    )]
    Unclear,
    /// The value has a type that no key accepts.
    #[error("{key} is {got}, want a text, a number, true or false, a list or a table")]
    Value {
        /// The key.
        key: String,
        /// The type of the value.
        got: &'static str,
    },
}

impl EditError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::NotToml { .. } => "correct the file in an editor: tallyjaw check marks the place",
            Self::NoSuch { .. } => "read the configuration again, then repeat the change",
            Self::Inline { .. } | Self::Scattered { .. } => {
                "make this change in the file, in an editor; then: tallyjaw reload"
            }
            Self::NoColumn { .. } => {
                "add the heading to the first row in a spreadsheet, or leave this field empty"
            }
            Self::Nothing => "give the number of the job",
            Self::Unclear => "correct the list in a spreadsheet, then repeat the change",
            Self::Value { .. } => "give the value as the file would have it",
        }
    }
}

/// The text after the change.
///
/// # Errors
///
/// If the text is not valid TOML, has no such entry, or has it in a form that cannot be edited without changing others;
/// if a list of jobs has no column for a value.
pub fn apply(text: &str, which: Which, change: &Change) -> Result<String, EditError> {
    if which.list == List::Job {
        return cells::apply(text, which, change);
    }
    let entries = Entries::of(text, which.list)?;
    match change {
        Change::Add(values) => {
            let block = values::block(which.list, values)?;
            Ok(insert(text, entries.end_of(which)?, &block))
        }
        Change::Set(values) => {
            let range = entries.range(which)?;
            let own = values::set(text.get(range.clone()).unwrap_or(""), which.list, values)?;
            Ok(splice(text, range, &own))
        }
        Change::Remove => Ok(splice(
            text,
            with_surroundings(text, &entries.range(which)?),
            "",
        )),
    }
}

/// The text after setting these values in the table `[key]`.
///
/// # Errors
///
/// If the text is not valid TOML, or has the table in another form.
pub fn set_in_table(
    text: &str,
    key: &'static str,
    values: &Map<String, Value>,
) -> Result<String, EditError> {
    match place::table(text, key)? {
        Some(range) => {
            let own = text.get(range.clone()).unwrap_or("");
            let own = values::set_table(own, key, values)?;
            Ok(splice(text, range, &own))
        }
        None => Ok(insert(text, text.len(), &values::table_block(key, values)?)),
    }
}

/// An entry as a form shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// Its keys and values, without those of its rows.
    pub values: Map<String, Value>,
    /// The rows of a terminal.
    pub rows: Vec<Map<String, Value>>,
}

/// Every entry of a kind, in the order of the file.
///
/// # Errors
///
/// If the text is not valid TOML, or is a list of jobs without their column.
pub fn listed(text: &str, list: List) -> Result<Vec<Listed>, EditError> {
    match list {
        List::Job => cells::listed(text),
        List::Terminal | List::Row | List::Plan | List::Tool | List::Operator => {
            values::listed(text, list)
        }
    }
}

/// The value of the entry that contains the byte `at` of the text, as a JSON pointer relative to the entry: `/wire`,
/// `/nest/0/wires/1`, or an empty text for the entry itself. `None` if the byte is not part of the entry.
pub fn pointer_at(text: &str, which: Which, at: usize) -> Option<String> {
    match which.list {
        List::Job => cells::pointer_at(text, which, at),
        List::Terminal | List::Row | List::Plan | List::Tool | List::Operator => {
            place::pointer_at(text, which, at)
        }
    }
}

/// Inserts `block` between two lines, after a blank line.
fn insert(text: &str, at: usize, block: &str) -> String {
    let before = text.get(..at).unwrap_or(text);
    let after = text.get(at..).unwrap_or("");
    let ends_in_line = !before.is_empty() && !before.ends_with('\n');
    let block = if ends_in_line {
        format!("\n\n{}", block.trim_end_matches('\n'))
    } else if before.is_empty() {
        block.to_owned()
    } else {
        format!("\n{block}")
    };
    format!("{before}{}{after}", as_ends(text, &block))
}

fn splice(text: &str, range: Range<usize>, own: &str) -> String {
    let before = text.get(..range.start).unwrap_or("");
    let after = text.get(range.end..).unwrap_or("");
    format!("{before}{}{after}", as_ends(text, own))
}

/// The text with the line ends of the file.
fn as_ends(text: &str, own: &str) -> String {
    if text.contains("\r\n") {
        own.replace("\r\n", "\n").replace('\n', "\r\n")
    } else {
        own.to_owned()
    }
}

/// The range that is removed with an entry: the comment directly above it, and one blank line.
fn with_surroundings(text: &str, range: &Range<usize>) -> Range<usize> {
    let mut start = range.start;
    let mut end = range.end;
    let above = lines_of(text, 0..start);
    let mut above = above.into_iter().rev().peekable();
    let line_text = |line: &Range<usize>| text.get(line.clone()).unwrap_or("").trim();
    while let Some(line) = above.next_if(|line| line_text(line).starts_with('#')) {
        start = line.start;
    }
    let is_blank_above = above.next_if(|line| line_text(line).is_empty());
    if let Some(blank) = is_blank_above {
        start = blank.start;
        // If the last line of the file has no line end, it has none after the edit either.
        let is_unended = end == text.len() && !text.ends_with('\n');
        if is_unended {
            let before = text.get(..start).unwrap_or("");
            let before = before.strip_suffix('\n').unwrap_or(before);
            start = before.strip_suffix('\r').unwrap_or(before).len();
        }
    } else if let Some(below) = lines_of(text, end..text.len()).first()
        && line_text(below).is_empty()
    {
        end = below.end;
    }
    start..end
}
