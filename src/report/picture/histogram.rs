//! How often each value was read, against the limits.

use super::{LEFT, RIGHT, Scale, picture, px, upright, word};
use crate::quantity::{Quantity, Unit};
use crate::report::node::{Element, el};
use crate::report::words;
use crate::stats::picture::{Bin, Histogram};
use crate::stats::{Limits, Summary};

const TOP: i64 = 330;
const FOOT: i64 = 1700;
const HEIGHT: i64 = 1900;
/// The width of a value with its unit.
const NAME: i64 = 700;

/// Bars of counted readings; `None` without readings.
pub(in crate::report) fn histogram(
    id: &str,
    title: &str,
    all: &Summary,
    limits: &Limits,
) -> Option<Element> {
    let histogram = Histogram::new(all, limits)?;
    let bins = histogram.bins();
    let (first, last) = bins.first().zip(bins.last())?;
    let step = bins
        .get(1)
        .map_or(first.high - first.low + 1, |next| next.low - first.low);
    let step = step.max(1);
    let base = |end: Option<Quantity>| end.map(Quantity::base);
    let (lower, upper) = (base(limits.lower), base(limits.upper));
    let ends = |other: i64, end: Option<i64>| end.unwrap_or(other);
    let scale = Scale {
        from: first.low.min(ends(first.low, lower)).saturating_sub(step),
        to: last.low.max(ends(last.low, upper)).saturating_add(step),
        begin: LEFT,
        end: RIGHT,
    };
    let most = bins.iter().map(|bin| bin.count).max().unwrap_or(1).max(1);
    let up = Scale {
        from: 0,
        to: i64::try_from(most).unwrap_or(i64::MAX),
        begin: FOOT,
        end: TOP,
    };
    let unit = all.unit();
    let mut svg = picture(id, title, &description(bins, unit), HEIGHT);
    for bin in bins.iter().filter(|bin| bin.count > 0) {
        let is_out = lower.is_some_and(|limit| bin.low < limit)
            || upper.is_some_and(|limit| bin.high > limit);
        svg = svg.children(bar(bin, step, scale, up, is_out, unit));
    }
    for (name, limit) in [("lower", limits.lower), ("upper", limits.upper)] {
        let Some(limit) = limit else { continue };
        let x = scale.at(limit.base());
        let text = format!("{name} {}", words::shown(limit, unit, 2));
        svg = svg
            .child(upright("limit", x, TOP - 160, FOOT).about(format!("the line of {text}")))
            .child(word("mid", x, TOP - 200, text));
    }
    svg = svg.child(
        el("path")
            .class("axis")
            .with("d", format!("M{} {}H{}", px(LEFT), px(FOOT), px(RIGHT))),
    );
    // two names side by side, or one where they would hide each other
    let mut ends = vec![first];
    if scale.at(last.low) - scale.at(first.low) > NAME {
        ends.push(last);
    }
    for bin in ends {
        let value = Quantity::from_base(unit.dimension(), bin.low);
        svg = svg.child(word(
            "mid",
            scale.at(bin.low),
            FOOT + 150,
            words::shown(value, unit, 2),
        ));
    }
    Some(svg)
}

fn bar(bin: &Bin, step: i64, scale: Scale, up: Scale, is_out: bool, unit: Unit) -> [Element; 2] {
    let wide = (scale.at(bin.low.saturating_add(step)) - scale.at(bin.low)).max(10);
    let middle = bin.low + (bin.high - bin.low) / 2;
    let (x, y) = (
        scale.at(middle),
        up.at(i64::try_from(bin.count).unwrap_or(i64::MAX)),
    );
    let value = Quantity::from_base(unit.dimension(), bin.low);
    let about = format!("the bar of {}", words::shown(value, unit, 2));
    let rect = el("rect")
        .class(if is_out { "bar beyond" } else { "bar" })
        .with("x", px(x - wide * 45 / 100))
        .with("y", px(y))
        .with("width", px(wide * 9 / 10))
        .with("height", px(FOOT - y));
    [
        rect.about(about.clone()),
        word("mid", x, y - 40, bin.count.to_string()).about(about),
    ]
}

fn description(bins: &[Bin], unit: Unit) -> String {
    let shown = |base: i64| words::shown(Quantity::from_base(unit.dimension(), base), unit, 2);
    let told: Vec<String> = bins
        .iter()
        .filter(|bin| bin.count > 0)
        .map(|bin| {
            if bin.low == bin.high {
                return format!("{}: {}", shown(bin.low), bin.count);
            }
            format!("{} to {}: {}", shown(bin.low), shown(bin.high), bin.count)
        })
        .collect();
    format!("How many readings had which value. {}", told.join("; "))
}
