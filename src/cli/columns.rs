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
        let cell = |(text, style): (String, Style)| {
            if text.is_empty() {
                ("–".to_owned(), style)
            } else {
                (safe(&text), style)
            }
        };
        self.rows.push(cells.into_iter().map(cell).collect());
    }

    pub(super) fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells
                .map(|(cell, _)| cell.chars().count())
                .max()
                .unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        for row in &self.rows {
            let last = row.len().saturating_sub(1);
            for (at, ((cell, style), width)) in row.iter().zip(&widths).enumerate() {
                write!(out, "{style}{cell}{style:#}")?;
                if at < last {
                    let blanks = width.saturating_sub(cell.chars().count()) + 2;
                    write!(out, "{:blanks$}", "")?;
                }
            }
            writeln!(out)?;
        }
        Ok(())
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
