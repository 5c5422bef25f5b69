//! A panel of a control chart as lines of text.

use crate::quantity::Unit;
use crate::stats::chart::{Panel, Signal};
use crate::stats::sample::{float_of, nearest};
use crate::stats::text::fixed;

/// Lines of the picture.
const HIGH: usize = 13;
/// Points that fit beside the labels on a line of 80 letters.
const WIDE: usize = 55;

/// The last points of a panel (as many as fit) between centre (`─`) and limits (`┄`); a point is `•`, one
/// with a signal `✕`. `places` digits after the point, in `unit`; `each` is what a point is. A line every tenth
/// point marks the number of the point below.
pub fn chart_text(
    panel: &Panel,
    signals: &[Signal],
    (places, unit): (usize, Unit),
    each: &str,
) -> Vec<String> {
    let skipped = panel.points.len().saturating_sub(WIDE);
    let shown = panel.points.get(skipped..).unwrap_or_default();
    let Some(last) = shown.last() else {
        return Vec::new();
    };
    let ends = || {
        let points = shown.iter();
        let of = |point: &crate::stats::chart::Point| {
            [
                Some(point.value),
                point.lower,
                Some(point.upper),
                Some(point.center),
            ]
        };
        points.flat_map(of).flatten()
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
    let number = |column: usize| panel.first + skipped + column;
    for (column, point) in shown.iter().enumerate() {
        put(row(point.center), column, '─');
        put(row(point.upper), column, '┄');
        if let Some(lower) = point.lower {
            put(row(lower), column, '┄');
        }
        let signalled = signals.iter().any(|signal| signal.at == number(column));
        put(row(point.value), column, if signalled { '✕' } else { '•' });
    }
    let label = |at: usize| {
        let words = |name: &str, value: f64| format!(" {name} {} {unit}", fixed(value, places));
        if row(last.upper) == at {
            words("upper", last.upper)
        } else if row(last.center) == at {
            words("centre", last.center)
        } else {
            let lower = last.lower.filter(|lower| row(*lower) == at);
            lower.map(|lower| words("lower", lower)).unwrap_or_default()
        }
    };
    let tick = |at: usize| match at {
        0 => fixed(most, places),
        at if at == HIGH - 1 => fixed(lowest, places),
        _ => String::new(),
    };
    let wide = tick(0).chars().count().max(tick(HIGH - 1).chars().count());
    let mut lines: Vec<String> = cells
        .iter()
        .enumerate()
        .map(|(at, row)| {
            let row: String = row.iter().collect();
            format!("{:>wide$} │{row}{}", tick(at), label(at))
        })
        .map(|line| line.trim_end().to_owned())
        .collect();
    let (mut marks, mut numbers) = (String::new(), String::new());
    for column in 0..shown.len() {
        let is_tick = column == 0 || number(column).is_multiple_of(10);
        marks.push(if is_tick { '┴' } else { '─' });
        if is_tick && numbers.chars().count() <= column {
            let gap = column - numbers.chars().count();
            numbers.push_str(&" ".repeat(gap));
            numbers.push_str(&number(column).to_string());
            numbers.push(' ');
        }
    }
    lines.push(format!("{:>wide$} └{marks}", ""));
    lines.push(
        format!("{:>wide$}  {numbers} {each}", unit.name())
            .trim_end()
            .to_owned(),
    );
    if skipped > 0 {
        lines.push(format!(
            "(the last {WIDE} of {} points)",
            panel.points.len()
        ));
    }
    lines
}
