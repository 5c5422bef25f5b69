//! The lane of an axis: its counted readings stacked over their values, between the limits.
//!
//! The shape of a mark shows the verdict of its reading. Where two pages are compared, a mark is named by its piece.

use crate::markup::{Element, el};
use crate::quantity::Quantity;
use crate::report::facts::{Facts, ReportReading};
use crate::report::picture::mark;
use crate::report::words;
use crate::spec::{ArmedAxis, Limits};
use crate::stats::picture::shapes::{Ruler, px, word};
use std::collections::BTreeMap;

/// All lengths are in tenths of a pixel, as in the other pictures.
const WIDTH: i64 = 3600;
const HEIGHT: i64 = 830;
/// The height of the line that marks stand on, and of the numbers below it.
const FLOOR: i64 = 560;
const FOOT: i64 = 780;
/// The room above the line.
const ROOM: i64 = 470;
const EDGE: i64 = 120;
/// A higher stack is drawn as a bar.
const MOST_MARKS: usize = 12;
/// Marks at their largest, half a step of a stack.
const HALF: i64 = 58;

/// Counted readings over their limits; `None` without a reading or a limit.
pub(super) fn lane(id: &str, facts: &Facts, axis: &ArmedAxis) -> Option<Element> {
    let rows: Vec<&ReportReading> = facts
        .on(axis)
        .filter(|row| row.verdict().is_some())
        .collect();
    let (from, to) = window(&rows, &axis.limits)?;
    let scale = Ruler {
        from,
        to,
        begin: EDGE,
        end: WIDTH - EDGE,
    };
    let words = axis.name.words();
    let title = format!("{} and its limits", super::document::capital(&words));
    let mut svg = el("svg")
        .class("lane")
        .with("viewBox", format!("0 0 {} {}", px(WIDTH), px(HEIGHT)))
        .with("role", "img")
        .with("aria-labelledby", format!("{id}-t"))
        .about(format!("the picture \"{title}\""))
        .child(el("title").with("id", format!("{id}-t")).text(format!(
            "{title}: {}; limits {}",
            words::count(rows.len(), "reading"),
            axis.limits
        )))
        .children(zones(axis, scale))
        .children(rules(&axis.limits, scale));
    let mut stacks: BTreeMap<i64, Vec<&ReportReading>> = BTreeMap::new();
    for row in rows {
        let at = scale.at(row.base().clamp(from, to));
        stacks.entry(at).or_default().push(row);
    }
    let highest = stacks.values().map(Vec::len).max().unwrap_or(1);
    let many = i64::try_from(highest).unwrap_or(i64::MAX).max(1);
    let half = (ROOM / many / 2).min(HALF);
    for (x, stack) in stacks {
        svg = if highest > MOST_MARKS {
            svg.children(bar(x, &stack, many, &title))
        } else {
            svg.children(marks(x, &stack, half, &title))
        };
    }
    Some(svg)
}

/// A mark for each reading, the first at the line.
fn marks<'m>(
    x: i64,
    stack: &'m [&ReportReading],
    half: i64,
    title: &'m str,
) -> impl Iterator<Item = Element> + use<'m> {
    let mut y = FLOOR + half;
    stack.iter().map(move |row| {
        y -= 2 * half;
        let piece = row.slot().map_or(0, |slot| slot.piece);
        let about = format!(
            "the mark of piece {piece} (entry {}) in \"{title}\"",
            row.seq
        );
        mark(row.verdict(), x, y, half * 3 / 4).about(about)
    })
}

/// A bar whose height is the number of readings, with the mark of their verdict on it.
fn bar(x: i64, stack: &[&ReportReading], many: i64, title: &str) -> Vec<Element> {
    let Some(first) = stack.first() else {
        return Vec::new();
    };
    let height = i64::try_from(stack.len()).unwrap_or(many) * (ROOM - HALF) / many;
    let about = format!(
        "the bar of {} at {} in \"{title}\"",
        words::count(stack.len(), "reading"),
        first.reading.value
    );
    let bar = el("rect")
        .class("bar")
        .with("x", px(x - HALF / 2))
        .with("y", px(FLOOR - height))
        .with("width", px(HALF))
        .with("height", px(height.max(1)))
        .about(about.as_str());
    let mark = mark(first.verdict(), x, FLOOR - height - HALF / 2, HALF / 2);
    vec![bar, mark.about(about)]
}

/// The range of the lane: the limits, and a third of the tolerance more at each side.
fn window(rows: &[&ReportReading], limits: &Limits) -> Option<(i64, i64)> {
    let base = |end: Option<Quantity>| end.map(Quantity::base);
    let (lower, upper) = (base(limits.lower()), base(limits.upper()));
    if let Some((lower, upper)) = lower.zip(upper) {
        let air = (upper.saturating_sub(lower) / 3).max(1);
        return Some((lower.saturating_sub(air), upper.saturating_add(air)));
    }
    let only = lower.or(upper)?;
    let values = || rows.iter().map(|row| row.base());
    let (least, most) = (
        values().min()?.min(only),
        values().max().map_or(only, |most| most.max(only)),
    );
    let air = (most.saturating_sub(least) / 5).max(1);
    Some((least.saturating_sub(air), most.saturating_add(air)))
}

/// The zones where a value is unsure; the widest guard band counts.
fn zones(axis: &ArmedAxis, scale: Ruler) -> Vec<Element> {
    let widths = axis.guards.iter().map(|guard| guard.width);
    let width = widths.max().unwrap_or(0);
    if width == 0 {
        return Vec::new();
    }
    let ends = [axis.limits.lower(), axis.limits.upper()];
    let zones = ends.into_iter().flatten().map(|limit| {
        let from = scale.at(limit.base().saturating_sub(width).max(scale.from));
        let to = scale.at(limit.base().saturating_add(width).min(scale.to));
        el("rect")
            .class("zone")
            .with("x", px(from))
            .with("y", px(FLOOR - ROOM - 60))
            .with("width", px((to - from).max(1)))
            .with("height", px(ROOM + 60))
    });
    zones.collect()
}

/// The line of values, and the limits across it with their numbers.
fn rules(limits: &Limits, scale: Ruler) -> Vec<Element> {
    let floor = format!("M{} {}H{}", px(EDGE), px(FLOOR), px(WIDTH - EDGE));
    let mut drawn = vec![el("path").class("axis").with("d", floor)];
    let ends = [
        ("lower limit", "limit", limits.lower()),
        ("nominal", "centre", limits.nominal()),
        ("upper limit", "limit", limits.upper()),
    ];
    for (name, class, value) in ends {
        let Some(value) = value else { continue };
        let x = scale.at(value.base());
        let text = words::shown(value, limits.unit(), 2);
        let about = format!("the line of {name} {text}");
        let top = FLOOR - ROOM - 60;
        let line = format!("M{} {}V{}", px(x), px(top), px(FLOOR + 50));
        drawn.push(
            el("path")
                .class(class)
                .with("d", line)
                .about(about.as_str()),
        );
        drawn.push(word("mid", x, FOOT, text).about(about));
    }
    drawn
}
