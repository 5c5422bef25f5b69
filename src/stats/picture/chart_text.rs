//! A panel of a control chart as lines of text.

use crate::stats::chart::{Panel, Signal};
use crate::stats::sample::{float_of, nearest};

/// Lines of the picture.
const HIGH: usize = 13;
/// Points that fit beside the labels on a line of 80 letters.
const WIDE: usize = 60;

/// The last points of a panel (as many as fit) between centre (`─`) and limits (`┄`); a point is `•`, one
/// with a signal `✕`. `places` digits after the point.
pub fn chart_text(panel: &Panel, signals: &[Signal], places: usize) -> Vec<String> {
    let skipped = panel.points.len().saturating_sub(WIDE);
    let shown = panel.points.get(skipped..).unwrap_or_default();
    let Some(last) = shown.last() else {
        return Vec::new();
    };
    let ends = || {
        shown
            .iter()
            .flat_map(|point| {
                [
                    Some(point.value),
                    point.lower,
                    Some(point.upper),
                    Some(point.center),
                ]
            })
            .flatten()
    };
    let most = ends().fold(f64::NEG_INFINITY, f64::max);
    let lowest = ends().fold(f64::INFINITY, f64::min);
    let span = if most > lowest { most - lowest } else { 1.0 };
    let row = |value: f64| {
        let share = (most - value) / span * float_of(HIGH - 1);
        usize::try_from(nearest(share)).unwrap_or(0).min(HIGH - 1)
    };
    let mut cells = vec![vec![' '; shown.len()]; HIGH];
    let mut put = |row: usize, column: usize, mark: char| {
        if let Some(cell) = cells.get_mut(row).and_then(|row| row.get_mut(column)) {
            *cell = mark;
        }
    };
    for (column, point) in shown.iter().enumerate() {
        put(row(point.center), column, '─');
        put(row(point.upper), column, '┄');
        if let Some(lower) = point.lower {
            put(row(lower), column, '┄');
        }
        let number = panel.first + skipped + column;
        let signalled = signals.iter().any(|signal| signal.at == number);
        put(row(point.value), column, if signalled { '✕' } else { '•' });
    }
    let label = |at: usize| {
        if row(last.upper) == at {
            format!(" upper {:.places$}", last.upper)
        } else if row(last.center) == at {
            format!(" centre {:.places$}", last.center)
        } else if last.lower.is_some_and(|lower| row(lower) == at) {
            format!(" lower {:.places$}", last.lower.unwrap_or_default())
        } else {
            String::new()
        }
    };
    let mut lines: Vec<String> = cells
        .iter()
        .enumerate()
        .map(|(at, row)| format!("{}{}", row.iter().collect::<String>(), label(at)))
        .map(|line| line.trim_end().to_owned())
        .collect();
    if skipped > 0 {
        lines.push(format!(
            "(the last {WIDE} of {} points)",
            panel.points.len()
        ));
    }
    lines
}
