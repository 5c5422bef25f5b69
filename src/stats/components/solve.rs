//! Fits the sources one after the other: one triangular factor of the table of counts gives every sum of squares, its
//! degrees of freedom, and what it is expected to be.
//!
//! With `Z'Z = L L'`, the columns of `Z` in the order of the sources, the part of `Zj` that source `i` explains is the
//! block of `L` with the rows of `j` and the columns of `i`. So `tr(Zj' (Pi - Pi-1) Zj)` is the sum of its squares, and
//! the sum of squares of source `i` is that of the same columns in the row of the readings.

use super::Cell;
use super::model::Term;
use crate::stats::Undefined;
use crate::stats::sample::{float, float_of};

/// More columns take too long.
const MOST_COLUMNS: usize = 1500;
/// A column is one of those before it if less than this share of it is left.
const NOTHING: f64 = 1e-9;

/// What was fitted; squares are in squared base units.
#[derive(Debug)]
pub(super) struct Fitted {
    pub(super) sources: Vec<FittedSource>,
    pub(super) rest: f64,
    pub(super) rest_freedom: f64,
}

#[derive(Debug, Clone)]
pub(super) struct FittedSource {
    pub(super) squares: f64,
    pub(super) freedom: f64,
    /// The factor of each source's variance in the expected sum of squares.
    pub(super) expected: Vec<f64>,
}

/// The numbers of readings and their sums, relative to a whole number near the mean.
struct Sums {
    counts: Vec<f64>,
    totals: Vec<f64>,
    within: f64,
}

fn sums(cells: &[Cell]) -> Result<Sums, Undefined> {
    let total = |cell: &Cell| cell.readings.moments().total();
    let count: u64 = cells.iter().map(|cell| cell.readings.count()).sum();
    let pivot = cells.iter().map(total).sum::<i128>() / i128::from(count.max(1));
    let mut within = 0.0;
    for cell in cells {
        within += cell.readings.moments().squared_deviations()?;
    }
    let own = |cell: &Cell| float(total(cell) - pivot * i128::from(cell.readings.count()));
    Ok(Sums {
        counts: cells
            .iter()
            .map(|cell| float(cell.readings.count().into()))
            .collect(),
        totals: cells.iter().map(own).collect(),
        within,
    })
}

/// The lower half of the table of counts; the last row is that of the readings.
fn table(cells: &[Cell], terms: &[Term], sums: &Sums) -> Vec<Vec<f64>> {
    let starts: Vec<usize> = terms
        .iter()
        .scan(1, |next, term| {
            let start = *next;
            *next += term.levels;
            Some(start)
        })
        .collect();
    let columns = 1 + terms.iter().map(|term| term.levels).sum::<usize>();
    let mut rows: Vec<Vec<f64>> = (0..=columns).map(|at| vec![0.0; at + 1]).collect();
    let mut add = |row: usize, column: usize, value: f64| {
        if let Some(into) = rows.get_mut(row).and_then(|row| row.get_mut(column)) {
            *into += value;
        }
    };
    for at in 0..cells.len() {
        let of = |list: &[f64]| list.get(at).copied().unwrap_or(0.0);
        let (count, total) = (of(&sums.counts), of(&sums.totals));
        let places = terms.iter().zip(&starts);
        let places =
            places.map(|(term, start)| start + term.of_cells.get(at).copied().unwrap_or(0));
        let places: Vec<usize> = std::iter::once(0).chain(places).collect();
        for (nth, column) in places.iter().enumerate() {
            for before in places.iter().take(nth + 1) {
                add(*column, *before, count);
            }
            add(columns, *column, total);
        }
        add(columns, columns, total * total / count);
    }
    rows
}

/// Fits the sources in their order.
pub(super) fn fit(cells: &[Cell], terms: &[Term]) -> Result<Fitted, Undefined> {
    let columns = 1 + terms.iter().map(|term| term.levels).sum::<usize>();
    if columns > MOST_COLUMNS {
        return Err(Undefined::NotApplicable {
            why: "the factors have more than 1,500 levels and combinations together",
        });
    }
    let sums = sums(cells)?;
    let table = table(cells, terms, &sums);
    // Source 0 is the mean; the others are counted from 1.
    let blocks = terms.iter().enumerate();
    let blocks = blocks.flat_map(|(nth, term)| std::iter::repeat_n(nth + 1, term.levels));
    let blocks: Vec<usize> = std::iter::once(0).chain(blocks).collect();
    let (factor, basis) = triangular(&table, &blocks);
    let readings = factor.last().cloned().unwrap_or_default();
    let squares = |row: &[f64], block: usize| {
        let own = row.iter().zip(&basis).filter(|(_, of)| **of == block);
        own.map(|(value, _)| value * value).sum::<f64>()
    };
    let sources = (1..=terms.len()).map(|block| {
        let expected = (1..=terms.len()).map(|other| {
            let rows = factor.iter().zip(&blocks).filter(|(_, of)| **of == other);
            rows.map(|(row, _)| squares(row, block)).sum()
        });
        FittedSource {
            squares: squares(&readings, block),
            freedom: float_of(basis.iter().filter(|of| **of == block).count()),
            expected: expected.collect(),
        }
    });
    let between = table
        .last()
        .and_then(|row| row.last())
        .copied()
        .unwrap_or(0.0);
    let fitted: f64 = readings.iter().map(|value| value * value).sum();
    let count: f64 = sums.counts.iter().sum();
    Ok(Fitted {
        sources: sources.collect(),
        rest: sums.within + rounded_away(between - fitted, between),
        rest_freedom: count - float_of(basis.len()),
    })
}

/// A difference that is only dust is nothing.
fn rounded_away(left: f64, of: f64) -> f64 {
    if left <= 1e-12 * of { 0.0 } else { left }
}

/// The triangular factor row by row, without the columns that follow from those before them, and the block of each
/// column that is left.
fn triangular(table: &[Vec<f64>], blocks: &[usize]) -> (Vec<Vec<f64>>, Vec<usize>) {
    let mut rows: Vec<Vec<f64>> = vec![Vec::new(); table.len()];
    let mut basis = Vec::new();
    for (column, block) in blocks.iter().enumerate() {
        let own = rows.get(column).cloned().unwrap_or_default();
        let entry = |row: usize| {
            let row = table.get(row).and_then(|row| row.get(column));
            row.copied().unwrap_or(0.0)
        };
        let whole = entry(column);
        let left = whole - own.iter().map(|value| value * value).sum::<f64>();
        if left <= NOTHING * whole {
            continue;
        }
        let root = left.sqrt();
        for (at, row) in rows.iter_mut().enumerate().skip(column) {
            let known = row.iter().zip(&own).map(|(a, b)| a * b).sum::<f64>();
            let value = if at == column {
                root
            } else {
                (entry(at) - known) / root
            };
            row.push(value);
        }
        basis.push(*block);
    }
    (rows, basis)
}
