//! Draws a panel of a control chart as lines of text.

use super::reduced::{Reduced, Span, points_in_mark, sentence};
use super::ticks::{decimals_of, ticks};
use crate::quantity::Unit;
use crate::stats::chart::{CENTRE, LOWER, Panel, Rule, UPPER};
use crate::stats::figures::{in_ones, millionths};
use crate::stats::text::fixed;

/// Maximum number of labels on the value axis. A line without a label lies between two of them.
const NUMBERS: i64 = 9;
/// Number of points that fit on a line of 80 characters beside the labels.
const WIDE: usize = 40;

/// The last points of a panel (as many as fit), with centre line (`─`) and control limits (`┄`). A point is `•`, one
/// with a signal of `rules` `✕`. Values have `places` decimals, in `unit`; `each` names a point. A vertical line at every
/// tenth point marks its number. A long panel is shown as a whole: `•` is the mean of consecutive points, and a line (`┆`)
/// goes from the lowest to the highest of them.
pub fn chart_text(
    panel: &Panel<'_>,
    rules: &[&'static Rule],
    (places, unit): (usize, Unit),
    each: &str,
) -> Vec<String> {
    let together = points_in_mark(panel.len(), WIDE);
    let skipped = match together {
        1 => panel.len().saturating_sub(WIDE),
        _ => 0,
    };
    let Some(all) = Reduced::of(panel.points().skip(skipped), skipped, together) else {
        return Vec::new();
    };
    let (shown, last) = (&all.marks, all.last);
    let rows = Rows::of(all.span());
    let mut cells = vec![vec![' '; shown.len()]; rows.count()];
    let mut put = |row: usize, column: usize, mark: char| {
        if let Some(cell) = cells.get_mut(row).and_then(|row| row.get_mut(column)) {
            *cell = mark;
        }
    };
    for (column, mark) in shown.iter().enumerate() {
        let last = mark.last;
        if mark.count > 1 {
            for row in rows.at(mark.highest)..=rows.at(mark.lowest) {
                put(row, column, '┆');
            }
        }
        put(rows.at(last.center), column, '─');
        for limit in [last.upper, last.lower].into_iter().flatten() {
            put(rows.at(limit), column, '┄');
        }
        put(rows.at(mark.mean), column, '•');
    }
    for signal in panel.signals(rules) {
        if let Some(at) = signal.at.checked_sub(panel.first + skipped) {
            put(rows.at(signal.point.value), at / together, '✕');
        }
    }
    let label = |at: usize| {
        let lines = [
            (UPPER, last.upper),
            (CENTRE, Some(last.center)),
            (LOWER, last.lower),
        ];
        let here = lines.into_iter().find_map(|(name, value)| {
            let value = value.filter(|value| rows.at(*value) == at)?;
            Some(format!(" {name} {} {unit}", fixed(value, places)))
        });
        here.unwrap_or_default()
    };
    let numbers: Vec<String> = (0..rows.count()).map(|at| rows.number(at)).collect();
    let wide = numbers.iter().map(|number| number.chars().count()).max();
    let wide = wide.unwrap_or(0);
    let mut lines: Vec<String> = cells
        .iter()
        .zip(numbers)
        .enumerate()
        .map(|(at, (row, number))| {
            let row: String = row.iter().collect();
            let tick = if number.is_empty() { '│' } else { '┤' };
            format!("{number:>wide$} {tick}{row}{}", label(at))
        })
        .map(|line| line.trim_end().to_owned())
        .collect();
    let (mut marks, mut numbers) = (String::new(), String::new());
    for (column, mark) in shown.iter().enumerate() {
        let number = panel.first + mark.at;
        let is_tick = match together {
            1 => column == 0 || number.is_multiple_of(10),
            _ => column.is_multiple_of(10),
        };
        marks.push(if is_tick { '┴' } else { '─' });
        if is_tick && numbers.chars().count() <= column {
            let gap = column - numbers.chars().count();
            numbers.push_str(&" ".repeat(gap));
            numbers.push_str(&number.to_string());
            numbers.push(' ');
        }
    }
    lines.push(format!("{:>wide$} └{marks}", ""));
    lines.push(
        format!("{:>wide$}  {numbers} {each}", unit.name())
            .trim_end()
            .to_owned(),
    );
    lines.extend(sentence(together, 0).map(|text| format!("({text})")));
    if skipped > 0 {
        lines.push(format!("(the last {WIDE} of {} points)", panel.len()));
    }
    lines
}

/// Lines of text at regular values, in millionths, from the top.
#[derive(Clone, Copy)]
struct Rows {
    step: i64,
    /// Values of the first and last line, in steps from zero.
    top: i64,
    foot: i64,
}

impl Rows {
    /// Lines that cover all points and limits. Every second one has a label, in steps of 1, 2 or 5.
    fn of(Span { from, to }: Span) -> Self {
        let numbers = ticks(from, to, (10, 1), NUMBERS);
        let step = i64::try_from(numbers.step / 2).unwrap_or(i64::MAX);
        Self {
            step,
            top: nearest_step(to, step),
            foot: nearest_step(from, step),
        }
    }

    fn count(self) -> usize {
        usize::try_from(self.top - self.foot).map_or(1, |steps| steps + 1)
    }

    fn at(self, value: f64) -> usize {
        let step = nearest_step(millionths(value), self.step);
        usize::try_from(self.top - step).unwrap_or(0)
    }

    /// The label of a line; empty if it has none.
    fn number(self, at: usize) -> String {
        let step = i64::try_from(at).map_or(self.top, |at| self.top - at);
        if step % 2 != 0 {
            return String::new();
        }
        let places = decimals_of(i128::from(self.step) * 2);
        fixed(in_ones(step.saturating_mul(self.step)), places)
    }
}

fn nearest_step(millionths: i64, step: i64) -> i64 {
    millionths.saturating_add(step / 2).div_euclid(step)
}
