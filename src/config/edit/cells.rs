//! Adds, changes or removes one row of a list of jobs; every other byte stays as it was.
//!
//! In: the text of the list as a spreadsheet saved it, and a change. Out: the new text, with the separator and the line
//! ends of the old one.
//!
//! - A value is quoted if it would otherwise end its cell, so no text of a request can become a second cell or row.
//! - The new text is read again. If another row has changed, the edit is refused.

use super::{Change, EditError, Listed, Which};
use crate::config::import::grid::Separator;
use crate::config::jobs::{HEADINGS, JobList, end_of_line, is_plan_separator};
use serde_json::{Map, Value};
use std::ops::Range;

#[cfg(test)]
mod tests;

/// The column of plans, whose cells may hold several names.
const PLANS: &str = "plans";

/// The separator of a list that we make.
const OURS: Separator = Separator::Semicolon;

/// Every row of the list, in order.
pub(super) fn listed(text: &str) -> Result<Vec<Listed>, EditError> {
    let list = JobList::of(text);
    if list.head.is_some() && list.column("job").is_none() {
        return Err(EditError::NoColumn {
            key: "job".to_owned(),
        });
    }
    let values = |row: usize| {
        let values = HEADINGS.iter().filter_map(|heading| {
            let cell = list.cell(row, heading).filter(|cell| !cell.is_empty())?;
            Some(((*heading).to_owned(), value_of(heading, cell)))
        });
        Listed {
            values: values.collect(),
            rows: Vec::new(),
        }
    };
    Ok((0..list.rows.len()).map(values).collect())
}

fn value_of(heading: &str, cell: &str) -> Value {
    if heading != PLANS {
        return Value::from(cell);
    }
    let plans = cell.split(is_plan_separator).map(str::trim);
    let plans = plans.filter(|plan| !plan.is_empty());
    plans.map(Value::from).collect()
}

/// The text after the change.
pub(super) fn apply(text: &str, which: Which, change: &Change) -> Result<String, EditError> {
    let list = JobList::of(text);
    let mut wanted = listed(text)?;
    let no_such = || EditError::NoSuch {
        list: which.list,
        at: which.at,
    };
    let new = match change {
        Change::Add(values) => {
            let said = without_null(values);
            if said.is_empty() {
                return Err(EditError::Nothing);
            }
            wanted.push(Listed {
                values: said,
                rows: Vec::new(),
            });
            added(text, &list, values)?
        }
        Change::Set(values) => {
            let row = wanted.get_mut(which.at).ok_or_else(no_such)?;
            row.values.extend(values.clone());
            row.values = without_null(&row.values);
            set(text, &list, which.at, values)?
        }
        Change::Remove => {
            wanted.get(which.at).ok_or_else(no_such)?;
            wanted.remove(which.at);
            let range = list.rows.get(which.at).map(|row| row.range.clone());
            let range = range.ok_or_else(no_such)?;
            let (before, after) = around(text, &range);
            // If the last line of the file has no line end, it has none after the edit either.
            let is_unended = after.is_empty() && !ends_in_end(text.get(range).unwrap_or(""));
            let before = if is_unended {
                without_end(before)
            } else {
                before
            };
            format!("{before}{after}")
        }
    };
    let is_as_wanted = listed(&new).is_ok_and(|read| same(&read, &wanted));
    if is_as_wanted {
        Ok(new)
    } else {
        Err(EditError::Unclear)
    }
}

fn without_null(values: &Map<String, Value>) -> Map<String, Value> {
    let is_said = |value: &Value| match value {
        Value::Null => false,
        Value::Array(items) => !items.is_empty(),
        Value::String(text) => !text.trim().is_empty(),
        Value::Bool(_) | Value::Number(_) | Value::Object(_) => true,
    };
    let pairs = values.iter().filter(|(_, value)| is_said(value));
    pairs
        .map(|(key, value)| (key.clone(), value.clone()))
        .collect()
}

/// Whether two lists hold the same values; blanks around a cell do not count.
fn same(read: &[Listed], wanted: &[Listed]) -> bool {
    let texts = |listed: &Listed| -> Vec<(String, String)> {
        let pairs = listed.values.iter();
        let pairs = pairs.filter_map(|(key, value)| Some((key.clone(), cell_of(key, value).ok()?)));
        pairs.collect()
    };
    let both = || read.iter().zip(wanted);
    read.len() == wanted.len() && both().all(|(read, wanted)| texts(read) == texts(wanted))
}

/// Adds a row at the end, and the headings if there are none yet.
fn added(text: &str, list: &JobList, values: &Map<String, Value>) -> Result<String, EditError> {
    let end = end_of_line(text);
    let (head, separator) = match &list.head {
        Some(head) => (head.iter().map(String::as_str).collect(), list.separator),
        None => (HEADINGS.to_vec(), OURS),
    };
    let mut cells = vec![String::new(); head.len()];
    for (key, value) in values {
        let cell = cell_of(key, value)?;
        if cell.is_empty() {
            continue;
        }
        let column = match &list.head {
            Some(_) => list.column(key),
            None => HEADINGS.iter().position(|heading| heading == key),
        };
        let place = column.and_then(|column| cells.get_mut(column));
        *place.ok_or_else(|| EditError::NoColumn { key: key.clone() })? = quoted(&cell, separator);
    }
    let mark = char::from(separator.byte()).to_string();
    let row = cells.join(&mark);
    if list.head.is_none() {
        return Ok(format!("{}{end}{row}{end}", head.join(&mark)));
    }
    if text.is_empty() || ends_in_end(text) {
        Ok(format!("{text}{row}{end}"))
    } else {
        Ok(format!("{text}{end}{row}"))
    }
}

/// Replaces the values of these cells of a row.
fn set(
    text: &str,
    list: &JobList,
    at: usize,
    values: &Map<String, Value>,
) -> Result<String, EditError> {
    let mut places: Vec<(Range<usize>, String)> = Vec::new();
    let mut missing: Vec<(usize, String)> = Vec::new();
    let row = list
        .rows
        .get(at)
        .map_or(&[][..], |row| row.cells.as_slice());
    for (key, value) in values {
        let wanted = cell_of(key, value)?;
        let has = list.cell(at, key).unwrap_or("");
        let is_same = has == wanted || (key == PLANS && Some(value) == Some(&value_of(key, has)));
        if is_same {
            continue;
        }
        let no_column = || EditError::NoColumn { key: key.clone() };
        let column = list.column(key).ok_or_else(no_column)?;
        let new = quoted(&wanted, list.separator);
        match row.get(column) {
            Some((_, span)) => {
                // After a blank, a quotation mark would not start a quoted cell.
                let blanks = if new.starts_with('"') {
                    blanks_before(text, list, at, span.start)
                } else {
                    0
                };
                places.push((span.start - blanks..span.end, new));
            }
            None => missing.push((column, new)),
        }
    }
    // A row that is too short gets cells up to the last one that has a value.
    missing.sort_by_key(|(column, _)| *column);
    if let Some((last, _)) = missing.last() {
        let end = row.last().map_or(0, |(_, span)| span.end);
        let mark = char::from(list.separator.byte());
        let mut more = String::new();
        for column in row.len()..=*last {
            more.push(mark);
            let found = missing.iter().find(|(known, _)| *known == column);
            more.push_str(found.map_or("", |(_, new)| new));
        }
        places.push((end..end, more));
    }
    // From the last to the first, so that the other places stay valid. At equal places an added cell comes after the
    // existing one.
    places.sort_by_key(|(span, _)| (span.start, span.end));
    let mut new = text.to_owned();
    for (span, value) in places.into_iter().rev() {
        let (before, after) = around(&new, &span);
        new = format!("{before}{value}{after}");
    }
    Ok(new)
}

/// Number of blanks before the text of a cell.
fn blanks_before(text: &str, list: &JobList, row: usize, start: usize) -> usize {
    let from = list.rows.get(row).map_or(start, |row| row.range.start);
    let before = text.get(from..start).unwrap_or("");
    let mark = char::from(list.separator.byte());
    let blank = |sign: char| sign.is_whitespace() && sign != mark;
    before.len() - before.trim_end_matches(blank).len()
}

/// The cell that contains the byte `at` of the text, as a JSON pointer relative to the row.
pub(super) fn pointer_at(text: &str, which: Which, at: usize) -> Option<String> {
    let list = JobList::of(text);
    let row = list.rows.get(which.at)?;
    if !row.range.contains(&at) {
        return None;
    }
    let is_here = |(_, span): &(String, Range<usize>)| span.start <= at && at <= span.end;
    let column = row.cells.iter().position(is_here);
    let heading = HEADINGS
        .iter()
        .find(|heading| column.is_some() && list.column(heading) == column);
    Some(heading.map_or_else(String::new, |heading| format!("/{heading}")))
}

/// A value as the text of its cell.
fn cell_of(key: &str, value: &Value) -> Result<String, EditError> {
    let wrong = |got| EditError::Value {
        key: key.to_owned(),
        got,
    };
    let text_of = |value: &Value| match value {
        Value::String(text) => Ok(text.trim().to_owned()),
        Value::Number(number) => Ok(number.to_string()),
        Value::Null => Ok(String::new()),
        Value::Bool(_) => Err(wrong("true or false")),
        Value::Array(_) => Err(wrong("a list")),
        Value::Object(_) => Err(wrong("a table")),
    };
    match value {
        Value::Array(items) if key == PLANS => {
            let items: Result<Vec<String>, EditError> = items.iter().map(text_of).collect();
            Ok(items?.join(" "))
        }
        Value::Array(_)
        | Value::Null
        | Value::Bool(_)
        | Value::Number(_)
        | Value::String(_)
        | Value::Object(_) => text_of(value),
    }
}

fn quoted(cell: &str, separator: Separator) -> String {
    let ends_cell = [char::from(separator.byte()), '"', '\n', '\r'];
    if cell.contains(ends_cell) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

fn around<'t>(text: &'t str, range: &Range<usize>) -> (&'t str, &'t str) {
    (
        text.get(..range.start).unwrap_or(""),
        text.get(range.end..).unwrap_or(""),
    )
}

fn ends_in_end(text: &str) -> bool {
    text.ends_with(['\n', '\r'])
}

fn without_end(text: &str) -> &str {
    let text = text.strip_suffix('\n').unwrap_or(text);
    text.strip_suffix('\r').unwrap_or(text)
}
