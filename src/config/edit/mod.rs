//! One entry of a configuration file added, changed or taken out, as a person would do it by hand.
//!
//! In: the text of a file and a [`Change`]. Out: the new text, in which every byte outside the entry is as it was. Whether
//! the new text is right is for [`super::assemble`] to say.
//!
//! - Nothing in here opens a file, and nothing in here judges a value.
//! - What is not mentioned stays: keys that no form knows, comments, order, the way a value is written.
//! - A value is written by the library that reads it, so no text of a request can become a key or a table.
//! - A list of jobs is no TOML but cells (`cells`); all else is the same for it.

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
    /// What a change is about.
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
    /// The key of its tables.
    const fn key(self) -> &'static str {
        match self {
            Self::Terminal | Self::Row => "terminal",
            Self::Plan => "plan",
            Self::Tool => "tool",
            Self::Operator => "operator",
            Self::Job => "job",
        }
    }

    /// The key that names one of them; a row has none.
    pub const fn name_key(self) -> &'static str {
        match self {
            Self::Terminal | Self::Plan | Self::Tool => "id",
            Self::Row => "wire",
            Self::Operator => "name",
            Self::Job => "job",
        }
    }

    /// How one is headed in a file.
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

/// Which entry of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Which {
    /// Of which kind.
    pub list: List,
    /// For a row: the number of its terminal in the file, from 0.
    pub terminal: usize,
    /// Its number in the file, of a row in its terminal, from 0.
    pub at: usize,
}

/// What is done to it.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A new one behind the others; its number is not looked at.
    Add(Map<String, Value>),
    /// These keys get these values, and lose them by null; every other key stays as it is.
    Set(Map<String, Value>),
    /// It is taken out, with the comment that stands directly above it.
    Remove,
}

/// Why a text cannot be edited; nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// It is no TOML.
    #[error("the file is not TOML: {message}")]
    NotToml {
        /// What the parser says.
        message: String,
    },
    /// There is none of this number.
    #[error("there is no {} number {at} in the file", list.header())]
    NoSuch {
        /// Of which kind.
        list: List,
        /// Its number from 0.
        at: usize,
    },
    /// It is written in another form than a table with a header.
    #[error("{} is written as a list of inline tables, want a header for each", list.header())]
    Inline {
        /// Of which kind.
        list: List,
    },
    /// Tables of others stand between its own.
    #[error("other tables stand between those of this {}", list.header())]
    Scattered {
        /// Of which kind.
        list: List,
    },
    /// A list of jobs lacks the column of a value.
    #[error("the list has no column {key}")]
    NoColumn {
        /// The heading that it lacks.
        key: String,
    },
    /// A new row of a list has no cell.
    #[error("nothing is said of the new job")]
    Nothing,
    /// With the change, other rows of a list would read otherwise.
    #[error(
        "another row would read otherwise: the list has a quote that does not end, or cells outside its columns"
    )]
    Unclear,
    /// A value of a form that no key has.
    #[error("{key} is {got}, want a text, a number, true or false, a list or a table")]
    Value {
        /// Under which key.
        key: String,
        /// What was got.
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
/// Where the text is no TOML, has no such entry, or has it in a form that cannot be edited without touching others;
/// where a list of jobs lacks a column.
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

/// The text in which the table `[key]` has these values too.
///
/// # Errors
///
/// Where the text is no TOML, or has the table in another form.
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

/// One entry as a form shows it.
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
/// Where the text is no TOML, or a list of jobs without their column.
pub fn listed(text: &str, list: List) -> Result<Vec<Listed>, EditError> {
    match list {
        List::Job => cells::listed(text),
        List::Terminal | List::Row | List::Plan | List::Tool | List::Operator => {
            values::listed(text, list)
        }
    }
}

/// The value of the entry in which the byte `at` of the text stands, as a JSON pointer from the entry: `/wire`,
/// `/nest/0/wires/1`, or nothing for the entry itself. `None` where the byte is of no part of it.
pub fn pointer_at(text: &str, which: Which, at: usize) -> Option<String> {
    match which.list {
        List::Job => cells::pointer_at(text, which, at),
        List::Terminal | List::Row | List::Plan | List::Tool | List::Operator => {
            place::pointer_at(text, which, at)
        }
    }
}

/// The text with `block` at a place between two lines, a blank line above it.
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

/// Lines end as those of the file do.
fn as_ends(text: &str, own: &str) -> String {
    if text.contains("\r\n") {
        own.replace("\r\n", "\n").replace('\n', "\r\n")
    } else {
        own.to_owned()
    }
}

/// What goes with an entry that is taken out: the comment directly above it, and one blank line.
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
        // The last line of the file ends without an end of line, and so it does afterwards.
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
