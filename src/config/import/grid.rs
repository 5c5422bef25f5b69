//! Splits text into rows of cells with their places, for one separator.

use crate::config::faults::{At, FileId};
use crate::quantity::named;
use csv::{ReaderBuilder, StringRecord, Trim};
use std::fmt;
use std::ops::Range;

named! {
    /// The character between two cells.
    pub enum Separator {
        /// `;`, which spreadsheets write where the decimal mark is a comma.
        Semicolon = "semicolon",
        /// U+0009, which a copied range of a spreadsheet has.
        Tab = "tab",
        /// `,`, as in RFC 4180.
        Comma = "comma",
    }
}

impl Separator {
    /// The character as a byte.
    pub(in crate::config) const fn byte(self) -> u8 {
        match self {
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Comma => b',',
        }
    }
}

impl fmt::Display for Separator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One row of the file.
#[derive(Debug, Clone)]
pub(in crate::config) struct GridRow {
    /// Trimmed texts of the cells, with their places.
    pub(in crate::config) cells: Vec<At<String>>,
}

impl GridRow {
    /// The text of this column; empty if the row is shorter.
    pub(in crate::config) fn text(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", |cell| &cell.value)
    }
}

/// Every row that is not empty, split by `separator`.
pub(in crate::config) fn rows(text: &str, file: FileId, separator: Separator) -> Vec<GridRow> {
    let rows = plain_rows(text, separator).into_iter();
    let in_file = rows.map(|row| GridRow {
        cells: row
            .cells
            .into_iter()
            .map(|(value, span)| At {
                value,
                place: file.place(span),
            })
            .collect(),
    });
    in_file.collect()
}

/// A row by its bytes.
#[derive(Debug)]
pub(in crate::config) struct PlainRow {
    /// Trimmed texts of the cells, and where each stands, with its quotes.
    pub(in crate::config) cells: Vec<(String, Range<usize>)>,
    /// The whole row with the end of its line.
    pub(in crate::config) range: Range<usize>,
}

/// As [`rows`], for a text that is not a file.
pub(in crate::config) fn plain_rows(text: &str, separator: Separator) -> Vec<PlainRow> {
    let mut reader = ReaderBuilder::new()
        .delimiter(separator.byte())
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    let mut record = StringRecord::new();
    // Reading from memory cannot fail, and rows may differ in length.
    while reader.read_record(&mut record).unwrap_or(false) {
        let start = record.position().map_or(0, csv::Position::byte);
        let start = usize::try_from(start).unwrap_or(usize::MAX);
        if record.iter().all(str::is_empty) {
            continue;
        }
        let (spans, range) = spans(text, start, separator.byte());
        let cells = record.iter().enumerate().map(|(column, cell)| {
            let span = spans.get(column).cloned().unwrap_or(start..start);
            (cell.to_owned(), span)
        });
        rows.push(PlainRow {
            cells: cells.collect(),
            range,
        });
    }
    rows
}

/// The ranges of the cells of the row at `start`, and the range of the row including its line end. As in the reader, a
/// cell that begins with a quotation mark is quoted, and a doubled mark does not end it.
fn spans(text: &str, start: usize, separator: u8) -> (Vec<Range<usize>>, Range<usize>) {
    let bytes = text.as_bytes();
    let at = |index: usize| bytes.get(index).copied();
    let mut index = start;
    while matches!(at(index), Some(b'\n' | b'\r')) {
        index += 1; // Blank lines before the row.
    }
    let first = index;
    let mut spans = Vec::new();
    loop {
        let begin = index;
        if at(index) == Some(b'"') {
            index += 1;
            loop {
                match (at(index), at(index + 1)) {
                    (Some(b'"'), Some(b'"')) => index += 2,
                    (Some(b'"') | None, _) => break,
                    (Some(_), _) => index += 1,
                }
            }
        }
        while at(index).is_some_and(|byte| byte != separator && byte != b'\n' && byte != b'\r') {
            index += 1;
        }
        let cell = text.get(begin..index).unwrap_or("");
        let lead = cell.len() - cell.trim_start().len();
        let end = begin + cell.trim_end().len();
        spans.push((begin + lead).min(end)..end);
        if at(index) != Some(separator) {
            let end = match (at(index), at(index + 1)) {
                (Some(b'\r'), Some(b'\n')) => index + 2,
                (Some(_), _) => index + 1,
                (None, _) => index,
            };
            return (spans, first..end);
        }
        index += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::diagnostic::Source;
    use crate::config::faults::{Fault, Faults, Role};
    use proptest::prelude::*;

    /// Each cell with its line and column, as a diagnostic would give them.
    fn words(text: &str, separator: Separator) -> Vec<(String, usize, usize)> {
        let source = Source {
            path: "t.csv".into(),
            text: text.to_owned(),
        };
        let mut faults = Faults::default();
        let file = faults.add_file(Role::Csv, &source);
        for row in rows(text, file, separator) {
            for cell in row.cells {
                faults.add(&cell.place, Fault::new(cell.value, ""));
            }
        }
        let (found, _) = faults.finish();
        let words = found
            .into_iter()
            .map(|found| (found.message, found.line, found.column));
        words.collect()
    }

    #[test]
    fn every_cell_has_its_line_and_column_also_behind_blank_lines_and_quotes() {
        let text = "a;\"b;\"\"c\"\r\n\r\n\n  d ;e\n";
        let cell = |text: &str, line, column| (text.to_owned(), line, column);
        assert_eq!(
            words(text, Separator::Semicolon),
            [
                cell("a", 1, 1),
                cell("b;\"c", 1, 3),
                cell("d", 4, 3),
                cell("e", 4, 6),
            ]
        );
    }

    proptest! {
        #[test]
        fn any_text_gives_cells_with_places_in_it(text in "[a;\"\n\r é]{0,40}") {
            for (_, line, column) in words(&text, Separator::Semicolon) {
                prop_assert!(line <= text.lines().count().max(1) + 1);
                prop_assert!(column <= text.chars().count() + 1);
            }
        }
    }
}
