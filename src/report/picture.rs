//! The picture of a series: readings against their limits, in the order of the pieces.

use crate::entry::words as entry_words;
use crate::markup::{Element, el};
use crate::quantity::Quantity;
use crate::report::facts::{Facts, ReportReading};
use crate::report::words;
use crate::spec::{ArmedAxis, Verdict};
use crate::stats::figures::decimals;
use crate::stats::picture::shapes::{
    EDGE, LEFT, Picture, RIGHT, Ruler, beside, level, px, value_axis, word,
};
use crate::stats::picture::ticks::{lead, ticks};
use crate::stats::sample::Scale;
use crate::stats::text::fixed;
use std::collections::BTreeSet;

const TOP: i64 = 280;
const FOOT: i64 = 2160;
const HEIGHT: i64 = 2400;
/// Number of labels beside the field.
const UP: i64 = 9;
/// Marks are smaller where there are more readings than this.
const CROWDED: usize = 150;
/// A value further from the middle than this many halves of the tolerance is drawn at the edge.
const WINDOW: i64 = 3;

/// The sign of a reading that does not count.
pub(super) const DOES_NOT_COUNT: &str = "×";

/// The readings of an axis in order, with those that do not count.
pub(super) fn readings(id: &str, title: &str, facts: &Facts, axis: &ArmedAxis) -> Element {
    let rows: Vec<&ReportReading> = facts.on(axis).collect();
    let (from, to) = window(&rows, axis);
    let scale = Ruler {
        from,
        to,
        begin: FOOT,
        end: TOP,
    };
    let pieces = rows.iter().filter_map(|row| Some(row.slot()?.piece)).max();
    let pieces = i64::from(pieces.unwrap_or(1).max(facts.record.series.spec.pieces));
    let across = Ruler {
        from: 0,
        to: 2 * pieces,
        begin: LEFT,
        end: RIGHT,
    };
    let mut picture = Picture::new(title, description(&rows, facts, axis), HEIGHT);
    picture.add(guards(axis, scale));
    picture.add(values(facts, axis, scale));
    picture.add(lines(axis, scale));
    let size = if rows.len() > CROWDED { 22 } else { 42 };
    for row in rows {
        let Some(slot) = row.slot() else { continue };
        let x = across.at(2 * i64::from(slot.piece) - 1);
        let base = row.base().clamp(from, to);
        let about = format!(
            "the mark of piece {} (entry {}) in \"{title}\"",
            slot.piece, row.seq
        );
        let y = scale.at(base);
        if base != row.base() {
            let value = row.reading.value.to_string();
            let y = if base == from { y - 60 } else { y + 130 };
            picture.add([word("mid", x, y, value).about(about.clone())]);
        }
        picture.add([mark(row.verdict(), x, y, size).about(about)]);
    }
    let step = ((pieces + 9) / 10).max(1);
    let counted = if facts.is_of_blocks() {
        "time"
    } else {
        "piece"
    };
    picture.add([word("", RIGHT + 80, FOOT + 170, counted)]);
    let mut number = 1;
    while number <= pieces {
        let x = across.at(2 * number - 1);
        picture.add([word("mid", x, FOOT + 170, number.to_string())]);
        number = if number == 1 && step > 1 {
            step
        } else {
            number + step
        };
    }
    picture.element(id)
}

/// The shapes that stand in the picture, in words.
pub(super) fn legend(facts: &Facts, axis: &ArmedAxis) -> Element {
    let seen: BTreeSet<Option<Verdict>> = facts.on(axis).map(ReportReading::verdict).collect();
    let mut shown: Vec<String> = Vec::new();
    for verdict in Verdict::ALL {
        if seen.contains(&Some(verdict)) {
            let said = format!(
                "{} {}",
                words::shape(verdict),
                entry_words::verdict(verdict, &axis.name, &axis.limits)
            );
            shown.push(said);
        }
    }
    if seen.contains(&None) {
        shown.push(format!("{DOES_NOT_COUNT} does not count"));
    }
    if axis.guards.iter().any(|guard| guard.width > 0) {
        shown.push("grey: unsure within".to_owned());
    }
    el("figcaption").text(shown.join("   "))
}

/// The minimum and the maximum of the values that are not drawn at the edge.
fn window(rows: &[&ReportReading], axis: &ArmedAxis) -> (i64, i64) {
    let base = |end: Option<Quantity>| end.map(Quantity::base);
    let (lower, upper) = (base(axis.limits.lower()), base(axis.limits.upper()));
    let values = || rows.iter().map(|row| row.base());
    let ends = || values().chain(lower).chain(upper);
    let (mut least, mut most) = (ends().min().unwrap_or(0), ends().max().unwrap_or(0));
    if let Some((lower, upper)) = lower.zip(upper) {
        let middle = lower + (upper - lower) / 2;
        let reach = ((upper - lower) / 2).max(1).saturating_mul(WINDOW);
        least = least.max(middle.saturating_sub(reach));
        most = most.min(middle.saturating_add(reach));
    }
    let air = (most.saturating_sub(least) / 10).max(1);
    (least.saturating_sub(air), most.saturating_add(air))
}

/// The value axis, with its unit; its numbers are values that the instruments can show.
fn values(facts: &Facts, axis: &ArmedAxis, scale: Ruler) -> Vec<Element> {
    let unit = Scale::from(facts.unit(axis));
    let spec = &facts.record.series.spec;
    let instruments = axis
        .guards
        .iter()
        .filter_map(|guard| spec.instrument(&guard.instrument));
    let grid = instruments
        .map(|instrument| instrument.resolution.base())
        .max();
    let grid = grid.unwrap_or(1).max(1);
    let resolution = unit.in_unit(grid);
    let places = decimals(resolution);
    let ticks = ticks(scale.from, scale.to, (grid, lead(resolution)), UP);
    let numbers = ticks.map(|value| (value, fixed(unit.in_unit(value), places)));
    let title = format!("value in {}", unit.unit());
    let title = word("", EDGE, TOP - 110, title);
    std::iter::once(title)
        .chain(value_axis(scale, numbers))
        .collect()
}

/// The zones where a value is unsure; the widest guard band counts.
fn guards(axis: &ArmedAxis, scale: Ruler) -> Vec<Element> {
    let width = axis
        .guards
        .iter()
        .map(|guard| guard.width)
        .max()
        .unwrap_or(0);
    if width == 0 {
        return Vec::new();
    }
    let limits = [axis.limits.lower(), axis.limits.upper()]
        .into_iter()
        .flatten();
    limits
        .map(|limit| {
            let top = scale.at(limit.base().saturating_add(width).min(scale.to));
            let foot = scale.at(limit.base().saturating_sub(width).max(scale.from));
            el("rect")
                .class("zone")
                .with("x", px(LEFT))
                .with("y", px(top))
                .with("width", px(RIGHT - LEFT))
                .with("height", px((foot - top).max(1)))
        })
        .collect()
}

fn lines(axis: &ArmedAxis, scale: Ruler) -> Vec<Element> {
    let limits = &axis.limits;
    let mut drawn = Vec::new();
    let mut names = Vec::new();
    let ends = [
        ("upper limit", "limit", limits.upper()),
        ("nominal", "centre", limits.nominal()),
        ("lower limit", "limit", limits.lower()),
    ];
    for (name, class, value) in ends {
        let Some(value) = value else { continue };
        let y = scale.at(value.base());
        let text = format!("{name} {}", words::shown(value, limits.unit(), 2));
        drawn.push(level(class, y).about(format!("the line of {text}")));
        names.push((y, vec![text]));
    }
    drawn.into_iter().chain(beside(names, FOOT + 70)).collect()
}

/// The mark of a verdict; a cross without one.
pub(super) fn mark(verdict: Option<Verdict>, x: i64, y: i64, size: i64) -> Element {
    let path = |class: &str, d: String| el("path").class(class).with("d", d);
    let (wide, high) = (px(size + 14), px(2 * size + 10));
    match verdict {
        Some(verdict @ (Verdict::Pass | Verdict::Measured)) => el("circle")
            .class(crate::report::words::class(verdict))
            .with("cx", px(x))
            .with("cy", px(y))
            .with("r", px(size)),
        Some(Verdict::FailHigh) => path(
            "fail",
            format!(
                "M{} {}l{wide} {high}h-{}z",
                px(x),
                px(y - size - 5),
                px(2 * size + 28)
            ),
        ),
        Some(Verdict::FailLow) => path(
            "fail",
            format!(
                "M{} {}l{wide} -{high}h-{}z",
                px(x),
                px(y + size + 5),
                px(2 * size + 28)
            ),
        ),
        Some(Verdict::UnsureLow | Verdict::UnsureHigh) => {
            let r = px(size + 12);
            path(
                "unsure",
                format!(
                    "M{} {}l{r} {r}l-{r} {r}l-{r} -{r}z",
                    px(x),
                    px(y - size - 12)
                ),
            )
        }
        None => {
            let (r, two) = (size, px(2 * size));
            path(
                "out",
                format!(
                    "M{} {}l{two} {two}m0 -{two}l-{two} {two}",
                    px(x - r),
                    px(y - r)
                ),
            )
        }
    }
}

fn description(rows: &[&ReportReading], facts: &Facts, axis: &ArmedAxis) -> String {
    let counted: Vec<_> = rows.iter().filter(|row| row.verdict().is_some()).collect();
    let ends = (
        counted.iter().min_by_key(|row| row.base()),
        counted.iter().max_by_key(|row| row.base()),
    );
    let spread = match ends {
        (Some(least), Some(most)) => format!(
            " between {} and {}",
            least.reading.value, most.reading.value
        ),
        _ => String::new(),
    };
    let failed = |wanted: &[Verdict]| {
        let found = counted.iter().filter_map(|row| row.verdict());
        found.filter(|verdict| wanted.contains(verdict)).count()
    };
    let what = if facts.is_of_blocks() {
        "times"
    } else {
        "pieces"
    };
    format!(
        "{} that count{spread}, over {} {what}; limits {}; {} pass, {} fail, {} unsure; {} that do not count",
        crate::report::words::count(counted.len(), "reading"),
        facts.record.series.spec.pieces,
        axis.limits,
        failed(&[Verdict::Pass]),
        failed(&[Verdict::FailLow, Verdict::FailHigh]),
        failed(&[Verdict::UnsureLow, Verdict::UnsureHigh]),
        rows.len() - counted.len()
    )
}
