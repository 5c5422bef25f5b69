//! A table as text: columns as wide as their widest cell, two blanks between.

use std::io::{self, Write};

/// A row of text under its headings.
pub(super) struct Columns {
    rows: Vec<Vec<String>>,
}

impl Columns {
    pub(super) fn new(headings: &[&str]) -> Self {
        Self {
            rows: vec![
                headings
                    .iter()
                    .map(|heading| (*heading).to_owned())
                    .collect(),
            ],
        }
    }

    /// A row; what is unknown is a dash.
    pub(super) fn row(&mut self, cells: Vec<String>) {
        let cell = |text: String| {
            if text.is_empty() {
                "–".to_owned()
            } else {
                text
            }
        };
        self.rows.push(cells.into_iter().map(cell).collect());
    }

    pub(super) fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        for row in &self.rows {
            let cells: Vec<String> = row
                .iter()
                .zip(&widths)
                .map(|(cell, width)| format!("{cell:<width$}"))
                .collect();
            writeln!(out, "{}", cells.join("  ").trim_end())?;
        }
        Ok(())
    }
}

/// `1 plan`, `2 plans`.
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
