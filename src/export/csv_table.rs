//! Rows as CSV by RFC 4180: a heading line, lines that end with CR LF, quotes only where they are needed.
//!
//! - Numbers have a point and no separators; a time is RFC 3339 in UTC; what is unknown is empty.
//! - What could steer a terminal or turn the direction of reading stands as an escape, see [`safe`].
//! - A text that a spreadsheet could take for a formula gets an apostrophe before it, see [`guarded`].

use crate::quantity::safe;
use crate::row::{Cell, Column, Row};
use csv::{Terminator, Writer, WriterBuilder};
use std::borrow::Cow;
use std::io::{self, Write};

/// A CSV file that is being written.
#[derive(Debug)]
pub struct CsvTable<W: Write> {
    writer: Writer<W>,
}

impl<W: Write> CsvTable<W> {
    /// With its heading line.
    pub fn new(target: W) -> io::Result<Self> {
        let mut writer = WriterBuilder::new()
            .terminator(Terminator::CRLF)
            .from_writer(target);
        writer.write_record(Column::of_text().map(|column| column.name))?;
        Ok(Self { writer })
    }

    /// Adds a row.
    pub fn row(&mut self, row: &Row<'_>) -> io::Result<()> {
        for column in Column::of_text() {
            match (column.cell)(row) {
                None => self.writer.write_field("")?,
                Some(Cell::Text(text)) => self.writer.write_field(&*guarded(&safe(text)))?,
                Some(Cell::Whole(number)) => self.writer.write_field(number.to_string())?,
                Some(Cell::Decimal(number)) => self.writer.write_field(number.to_string())?,
                Some(Cell::Time(at)) => self.writer.write_field(at.to_string())?,
            }
        }
        Ok(self.writer.write_record(None::<&[u8]>)?)
    }

    /// Writes what is left; gives back what was written to.
    pub fn finish(self) -> io::Result<W> {
        self.writer
            .into_inner()
            .map_err(csv::IntoInnerError::into_error)
    }
}

/// What a spreadsheet takes for the beginning of a formula, and the guard itself, so that it can be taken
/// off again.
const SUSPICIOUS: [char; 8] = ['=', '+', '-', '@', '\t', '\r', '\n', '\''];

/// A text that no spreadsheet computes: with an apostrophe before it, if it begins with `=`, `+`, `-`,
/// `@`, a tab, a line's end or an apostrophe.
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

/// The text behind [`guarded`].
pub fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'')
        .filter(|text| text.starts_with(SUSPICIOUS))
        .unwrap_or(cell)
}
