//! A table as text. Each column is as wide as its widest cell, with two blanks between columns.

use crate::quantity::safe;
use anstyle::Style;
use std::io::{self, Write};

/// A table with its headings.
pub(super) struct Columns {
    rows: Vec<Vec<(String, Style)>>,
}

impl Columns {
    pub(super) fn new(headings: &[&str]) -> Self {
        Self {
            rows: vec![
                headings
                    .iter()
                    .map(|heading| ((*heading).to_owned(), Style::new()))
                    .collect(),
            ],
        }
    }

    /// Adds a row; an empty cell is shown as a dash.
    pub(super) fn row(&mut self, cells: Vec<String>) {
        let plain = cells.into_iter().map(|text| (text, Style::new()));
        self.styled(plain.collect());
    }

    /// As [`Columns::row`], with a colour for each cell.
    pub(super) fn styled(&mut self, cells: Vec<(String, Style)>) {
        self.rows.push(shown(cells));
    }

    pub(super) fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let mut widths = Widths::default();
        self.rows.iter().for_each(|row| widths.take(row));
        self.rows.iter().try_for_each(|row| widths.write(row, out))
    }

    /// Writes a table of many rows without keeping them: `row` makes each of the `count` rows twice.
    pub(super) fn write_made(
        headings: &[&str],
        count: usize,
        row: impl Fn(usize) -> Vec<(String, Style)>,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let headings = Self::new(headings);
        let mut widths = Widths::default();
        headings.rows.iter().for_each(|row| widths.take(row));
        (0..count).for_each(|at| widths.take(&shown(row(at))));
        headings
            .rows
            .iter()
            .try_for_each(|row| widths.write(row, out))?;
        (0..count).try_for_each(|at| widths.write(&shown(row(at)), out))
    }
}

/// The cells as they are shown: an empty one as a dash.
fn shown(cells: Vec<(String, Style)>) -> Vec<(String, Style)> {
    let cell = |(text, style): (String, Style)| {
        if text.is_empty() {
            ("–".to_owned(), style)
        } else {
            (safe(&text), style)
        }
    };
    cells.into_iter().map(cell).collect()
}

/// Number of characters of the widest cell of each column.
#[derive(Default)]
struct Widths(Vec<usize>);

impl Widths {
    fn take(&mut self, row: &[(String, Style)]) {
        let Self(widths) = self;
        widths.resize(widths.len().max(row.len()), 0);
        for (width, (cell, _)) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }

    fn write(&self, row: &[(String, Style)], out: &mut dyn Write) -> io::Result<()> {
        let last = row.len().saturating_sub(1);
        for (at, ((cell, style), width)) in row.iter().zip(&self.0).enumerate() {
            write!(out, "{style}{cell}{style:#}")?;
            if at < last {
                let blanks = width.saturating_sub(cell.chars().count()) + 2;
                write!(out, "{:blanks$}", "")?;
            }
        }
        writeln!(out)
    }
}

/// A number with its noun: `1 plan`, `2 plans`.
pub(super) fn count(number: usize, one: &str) -> String {
    if number == 1 {
        format!("1 {one}")
    } else {
        format!("{number} {one}s")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_as_wide_as_their_widest_cell_in_characters() {
        let mut columns = Columns::new(&["wire", "limits"]);
        columns.row(vec!["2.0 mm²".to_owned(), "1.62 ±0.05 mm".to_owned()]);
        columns.row(vec![String::new(), "x".to_owned()]);
        let mut out = Vec::new();
        columns.write(&mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(
            text,
            "wire     limits\n2.0 mm²  1.62 ±0.05 mm\n–        x\n"
        );
    }
}
