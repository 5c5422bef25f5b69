//! How often each value was read, against the limits.

use super::{LEFT, RIGHT, Scale, picture, px, upright, word};
use crate::quantity::{Quantity, Unit};
use crate::report::node::{Element, el};
use crate::report::words;
use crate::stats::Limits;
use crate::stats::picture::{Bin, Histogram};

const TOP: i64 = 330;
const FOOT: i64 = 1700;
const HEIGHT: i64 = 1900;
/// The width of a value with its unit.
const NAME: i64 = 700;

/// Bars of a histogram.
pub(in crate::report) fn histogram(
    id: &str,
    title: &str,
    histogram: &Histogram,
    (limits, unit): (&Limits, Unit),
) -> Element {
    let bins = histogram.bins();
    let (from, to) = histogram.span();
    let scale = Scale {
        from,
        to,
        begin: LEFT,
        end: RIGHT,
    };
    let most = histogram.most();
    let up = Scale {
        from: 0,
        to: i64::try_from(most).unwrap_or(i64::MAX),
        begin: FOOT,
        end: TOP,
    };
    let mut svg = picture(id, title, &description(bins, unit), HEIGHT);
    for bin in bins.iter().filter(|bin| bin.count > 0) {
        svg = svg.children(bar(bin, histogram.step(), scale, up, unit));
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
    // the ends of the bars, as many as do not hide each other
    let mut free_from = LEFT - NAME;
    for bin in bins.iter().filter(|bin| bin.count > 0) {
        let x = scale.at(bin.low);
        if x - free_from < NAME {
            continue;
        }
        free_from = x;
        let value = Quantity::from_base(unit.dimension(), bin.low);
        let tick = format!("M{} {}v5", px(x), px(FOOT));
        svg = svg
            .child(el("path").class("axis").with("d", tick))
            .child(word("mid", x, FOOT + 170, words::shown(value, unit, 2)));
    }
    svg.child(word("", RIGHT + 80, FOOT + 170, format!("value in {unit}")))
        .child(word("", RIGHT + 80, TOP + 40, "number of readings"))
}

fn bar(bin: &Bin, step: i64, scale: Scale, up: Scale, unit: Unit) -> [Element; 2] {
    // as wide as the values it holds, with half a step beside them
    let wide = (scale.at(bin.high.saturating_add(step)) - scale.at(bin.low)).max(10);
    let middle = bin.low + (bin.high - bin.low) / 2;
    let (x, y) = (
        scale.at(middle),
        up.at(i64::try_from(bin.count).unwrap_or(i64::MAX)),
    );
    let value = Quantity::from_base(unit.dimension(), bin.low);
    let about = format!("the bar of {}", words::shown(value, unit, 2));
    let rect = el("rect")
        .class(if bin.outside { "bar beyond" } else { "bar" })
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
