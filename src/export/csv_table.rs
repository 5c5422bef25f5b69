//! Writes rows as CSV by RFC 4180: a line of headings, lines that end in CR LF, and quotes only where needed.
//!
//! - Numbers have a decimal point and no separators. Times are RFC 3339 in UTC. Unknown values are empty.
//! - Characters that could steer a terminal or change the reading direction become escapes, see [`safe`](crate::quantity::safe).
//! - A text that a spreadsheet could take for a formula gets an apostrophe in front, see [`guarded`].

use crate::quantity::safe_or_same;
use crate::row::{Cell, Column, Row};
use csv::{Terminator, Writer, WriterBuilder};
use std::borrow::Cow;
use std::io::{self, Write};

/// A CSV file that is being written.
#[derive(Debug)]
pub struct CsvTable<W: Write> {
    writer: Writer<W>,
    /// The current cell; kept so that no cell needs memory of its own.
    cell: Vec<u8>,
}

impl<W: Write> CsvTable<W> {
    /// Begins a file with its headings.
    pub fn new(target: W) -> io::Result<Self> {
        let mut writer = WriterBuilder::new()
            .terminator(Terminator::CRLF)
            .from_writer(target);
        writer.write_record(Column::of_text().map(|column| column.name))?;
        Ok(Self {
            writer,
            cell: Vec::new(),
        })
    }

    /// Adds a row.
    pub fn row(&mut self, row: &Row<'_>) -> io::Result<()> {
        for column in Column::of_text() {
            self.cell.clear();
            match (column.cell)(row) {
                None => {}
                Some(Cell::Text(text)) => {
                    self.writer.write_field(&*guarded(&safe_or_same(text)))?;
                    continue;
                }
                Some(Cell::Whole(number)) => write!(self.cell, "{number}")?,
                Some(Cell::Decimal(number)) => write!(self.cell, "{number}")?,
                Some(Cell::Time(at)) => write!(self.cell, "{at}")?,
            }
            self.writer.write_field(&self.cell)?;
        }
        Ok(self.writer.write_record(None::<&[u8]>)?)
    }

    /// Writes what is buffered, and returns the target.
    pub fn finish(self) -> io::Result<W> {
        self.writer
            .into_inner()
            .map_err(csv::IntoInnerError::into_error)
    }
}

/// Characters with which a formula of a spreadsheet may begin, and the apostrophe itself, so that it can be removed
/// again.
const SUSPICIOUS: [char; 8] = ['=', '+', '-', '@', '\t', '\r', '\n', '\''];

/// A text that no spreadsheet takes for a formula. It gets an apostrophe in front if it begins with `=`, `+`, `-`, `@`,
/// a tab, a line end or an apostrophe.
///
/// ```
/// use tallyjaw::export::{guarded, unguarded};
/// assert_eq!(guarded("=1+1"), "'=1+1");
/// assert_eq!(guarded("T-07"), "T-07");
/// assert_eq!(unguarded("'=1+1"), "=1+1");
/// ```
pub fn guarded(text: &str) -> Cow<'_, str> {
    if text.starts_with(SUSPICIOUS) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// The text before [`guarded`].
pub fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'')
        .filter(|text| text.starts_with(SUSPICIOUS))
        .unwrap_or(cell)
}
