//! Finds the place of an entry in its file, with the spans that the parser reports.

use super::{EditError, List, Which};
use std::ops::Range;
use toml_edit::{Array, ArrayOfTables, Document, Item, Table, TableLike, Value};

/// The tables of one kind in a text.
pub(super) struct Entries<'t> {
    text: &'t str,
    document: Document<&'t str>,
    list: List,
}

pub(super) fn parsed(text: &str) -> Result<Document<&str>, EditError> {
    Document::parse(text).map_err(|error| EditError::NotToml {
        message: error.message().to_owned(),
    })
}

impl<'t> Entries<'t> {
    pub(super) fn of(text: &'t str, list: List) -> Result<Self, EditError> {
        let document = parsed(text)?;
        Ok(Self {
            text,
            document,
            list,
        })
    }

    /// The tables with headers; `None` if there are none, which is an empty list.
    fn tables(&self) -> Result<Option<&ArrayOfTables>, EditError> {
        headed(self.document.as_table(), self.list.key(), self.list)
    }

    fn table(&self, at: usize) -> Result<&Table, EditError> {
        let found = self.tables()?.and_then(|tables| tables.get(at));
        found.ok_or(EditError::NoSuch {
            list: self.list,
            at,
        })
    }

    fn rows(&self, which: Which) -> Result<Option<&ArrayOfTables>, EditError> {
        headed(self.table(which.terminal)?, "row", self.list)
    }

    fn find(&self, which: Which) -> Result<&Table, EditError> {
        if self.list != List::Row {
            return self.table(which.at);
        }
        let row = self.rows(which)?.and_then(|rows| rows.get(which.at));
        row.ok_or(EditError::NoSuch {
            list: self.list,
            at: which.at,
        })
    }

    /// The range from its header to the end of the line of its last value.
    pub(super) fn range(&self, which: Which) -> Result<Range<usize>, EditError> {
        let table = self.find(which)?;
        let scattered = || EditError::Scattered { list: self.list };
        let extent = extent(table).ok_or_else(scattered)?;
        let range = whole_lines(self.text, &extent);
        let own = headers_below(table, &range) + 1;
        if own == headers_below(self.document.as_table(), &range) {
            Ok(range)
        } else {
            Err(scattered())
        }
    }

    /// The place for a new entry: the end of the file, or for a row after the other rows of its terminal.
    pub(super) fn end_of(&self, which: Which) -> Result<usize, EditError> {
        if self.list != List::Row {
            self.tables()?;
            return Ok(self.text.len());
        }
        self.rows(which)?;
        let terminal = Which {
            list: List::Terminal,
            at: which.terminal,
            ..which
        };
        let terminals = Entries::of(self.text, List::Terminal)?;
        Ok(terminals.range(terminal)?.end)
    }
}

/// The tables under a key, each with a header of its own.
fn headed<'d>(
    table: &'d Table,
    key: &str,
    list: List,
) -> Result<Option<&'d ArrayOfTables>, EditError> {
    match table.get(key) {
        None => Ok(None),
        Some(Item::ArrayOfTables(tables)) => Ok(Some(tables)),
        Some(Item::None | Item::Value(_) | Item::Table(_)) => Err(EditError::Inline { list }),
    }
}

/// The range of the table `[key]`, if there is one.
pub(super) fn table(text: &str, key: &str) -> Result<Option<Range<usize>>, EditError> {
    let document = parsed(text)?;
    match document.as_table().get(key) {
        Some(Item::Table(table)) if !table.is_implicit() && !table.is_dotted() => {
            Ok(extent(table).map(|extent| whole_lines(text, &extent)))
        }
        Some(_) => Err(EditError::Scattered { list: List::Tool }),
        None => Ok(None),
    }
}

/// The range from the first byte of a header to the last byte of a value, including the tables below it.
fn extent(table: &Table) -> Option<Range<usize>> {
    let mut extent = table.span()?;
    let mut widen = |span: Option<Range<usize>>| {
        if let Some(span) = span {
            extent.start = extent.start.min(span.start);
            extent.end = extent.end.max(span.end);
        }
    };
    for (_, item) in table {
        match item {
            Item::Value(value) => widen(value.span()),
            Item::Table(below) => widen(self::extent(below)),
            Item::ArrayOfTables(list) => list.iter().for_each(|below| widen(self::extent(below))),
            Item::None => {}
        }
    }
    Some(extent)
}

/// Number of headers within a range that belong to tables below `table`.
fn headers_below(table: &Table, range: &Range<usize>) -> usize {
    let with_below =
        |below: &Table| headers_below(below, range) + usize::from(is_headed_in(below, range));
    let below = table.iter().map(|(_, item)| match item {
        Item::Table(below) => with_below(below),
        Item::ArrayOfTables(list) => list.iter().map(with_below).sum(),
        Item::None | Item::Value(_) => 0,
    });
    below.sum()
}

fn is_headed_in(table: &Table, range: &Range<usize>) -> bool {
    let has_header = !table.is_implicit() && !table.is_dotted();
    has_header && table.span().is_some_and(|span| range.contains(&span.start))
}

/// Extends a range to the ends of its first and last line.
fn whole_lines(text: &str, range: &Range<usize>) -> Range<usize> {
    let before = text.get(..range.start).unwrap_or("");
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    let after = text.get(range.end..).unwrap_or("");
    let end = after.find('\n').map_or(text.len(), |at| range.end + at + 1);
    start..end
}

/// The lines of a range, each with its end.
pub(super) fn lines_of(text: &str, range: Range<usize>) -> Vec<Range<usize>> {
    let mut at = range.start;
    let lines = text.get(range).unwrap_or("").split_inclusive('\n');
    lines
        .map(|line| {
            let start = at;
            at += line.len();
            start..at
        })
        .collect()
}

pub(super) fn pointer_at(text: &str, which: Which, at: usize) -> Option<String> {
    let entries = Entries::of(text, which.list).ok()?;
    let range = entries.range(which).ok()?;
    if !range.contains(&at) {
        return None;
    }
    Some(in_table(entries.find(which).ok()?, at))
}

fn in_table(table: &dyn TableLike, at: usize) -> String {
    for (key, item) in table.iter() {
        let key_span = table.key(key).and_then(toml_edit::Key::span);
        let escaped = key.replace('~', "~0").replace('/', "~1");
        if key_span.is_some_and(|span| span.contains(&at)) {
            return format!("/{escaped}");
        }
        let below = match item {
            Item::Value(value) => holds(value.span(), at).then(|| in_value(value, at)),
            Item::Table(below) => extent(below)
                .is_some_and(|extent| extent.contains(&at))
                .then(|| in_table(below, at)),
            Item::ArrayOfTables(list) => list.iter().enumerate().find_map(|(number, below)| {
                let is_in = extent(below).is_some_and(|extent| extent.contains(&at));
                is_in.then(|| format!("/{number}{}", in_table(below, at)))
            }),
            Item::None => None,
        };
        if let Some(below) = below {
            return format!("/{escaped}{below}");
        }
    }
    String::new()
}

fn holds(span: Option<Range<usize>>, at: usize) -> bool {
    span.is_some_and(|span| span.contains(&at))
}

fn in_value(value: &Value, at: usize) -> String {
    match value {
        Value::Array(items) => in_array(items, at),
        Value::InlineTable(table) => in_table(table, at),
        Value::String(_)
        | Value::Integer(_)
        | Value::Float(_)
        | Value::Boolean(_)
        | Value::Datetime(_) => String::new(),
    }
}

fn in_array(items: &Array, at: usize) -> String {
    let mut items = items.iter().enumerate();
    let found = items.find(|(_, item)| holds(item.span(), at));
    found.map_or_else(String::new, |(number, item)| {
        format!("/{number}{}", in_value(item, at))
    })
}
