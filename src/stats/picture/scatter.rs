//! Draws pairs with the line through them as SVG: confidence and prediction bands, the lower limit, and the range of x
//! that keeps it.

use super::shapes::{EDGE, LEFT, Picture, RIGHT, Ruler, beside, level, px, value_axis, word};
use super::ticks::{lead, ticks};
use crate::markup::{Element, el};
use crate::stats::Sample;
use crate::stats::figures::decimals;
use crate::stats::regression::Regression;
use crate::stats::text::fixed;
use std::fmt::Write as _;

const TOP: i64 = 300;
const FOOT: i64 = 2500;
const HEIGHT: i64 = 2900;
/// Maximum number of axis labels below the field, and beside it.
const ACROSS: i64 = 8;
const UP: i64 = 9;
/// Number of straight pieces that a band is drawn with.
const PIECES: u32 = 48;
/// Half the width of a pair's mark.
const DOT: i64 = 26;

/// The pairs with line and bands, as a file.
pub fn regression_svg(title: &str, of: &Regression) -> String {
    picture(title, of).document()
}

/// A line of the picture: class, name, and its value at x.
struct Drawn {
    class: &'static str,
    name: &'static str,
    points: Vec<(f64, f64)>,
}

fn picture(title: &str, of: &Regression) -> Picture {
    let lines = lines(of);
    let (x, y) = (of.x(), of.y());
    let (from, to) = of.ends();
    let pad = ((to - from) / 20).max(1);
    let across = Ruler {
        from: from - pad,
        to: to + pad,
        begin: LEFT,
        end: RIGHT,
    };
    let up = upward(of, &lines);
    let mut picture = Picture::new(title, description(of), HEIGHT);
    if let Ok(range) = of.shown_range() {
        let (begin, end) = (across.at(range.from), across.at(range.to));
        let zone = el("rect")
            .class("zone")
            .with("x", px(begin))
            .with("y", px(TOP))
            .with("width", px((end - begin).max(10)))
            .with("height", px(FOOT - TOP));
        picture.add([zone]);
    }
    let mut names = Vec::new();
    for line in &lines {
        let places = line.points.iter().map(|(a, b)| {
            (
                across.at(x.scale().nearest(*a)),
                up.at(y.scale().nearest(*b)),
            )
        });
        picture.add([path(line.class, places)]);
        if let (Some((_, last)), false) = (line.points.last(), line.name.is_empty()) {
            names.push((up.at(y.scale().nearest(*last)), vec![line.name.to_owned()]));
        }
    }
    if let Ok(minimum) = of.minimum() {
        let at = up.at(y.scale().nearest(minimum));
        picture.add([level("limit", at)]);
        names.push((at, vec![format!("lower limit {minimum} {}", y.unit())]));
    }
    for (a, b) in x.bases().iter().zip(y.bases()) {
        picture.add([dot(across.at(*a), up.at(*b))]);
    }
    picture.add(beside(names, FOOT));
    picture.add(axes(of, across, up));
    picture
}

fn lines(of: &Regression) -> Vec<Drawn> {
    let scale = of.x().scale();
    let (from, to) = of.ends();
    let (from, to) = (scale.in_unit(from), scale.in_unit(to));
    let part = (to - from) / f64::from(PIECES);
    let places = || (0..=PIECES).map(move |nth| from + f64::from(nth) * part);
    let drawn = |class, name, value: &dyn Fn(f64) -> Option<f64>| Drawn {
        class,
        name,
        points: places().filter_map(|x| Some((x, value(x)?))).collect(),
    };
    vec![
        drawn("fitted", "line", &|x| Some(of.at(x))),
        drawn("run", "95 % confidence band", &|x| {
            Some(of.line_bounds(x).ok()?.1)
        }),
        drawn("run", "", &|x| Some(of.line_bounds(x).ok()?.0)),
        drawn("centre", "95 % prediction band", &|x| {
            Some(of.single_bounds(x).ok()?.1)
        }),
        drawn("centre", "", &|x| Some(of.single_bounds(x).ok()?.0)),
    ]
}

/// The ruler of y: all pairs, bands and the limit are within it.
fn upward(of: &Regression, lines: &[Drawn]) -> Ruler {
    let scale = of.y().scale();
    let drawn = lines
        .iter()
        .flat_map(|line| line.points.iter().map(|(_, y)| *y));
    let all = drawn.chain(of.minimum().ok()).map(|y| scale.nearest(y));
    let all: Vec<i64> = all.chain(of.y().bases().iter().copied()).collect();
    let (low, high) = (all.iter().min(), all.iter().max());
    let (low, high) = (low.copied().unwrap_or(0), high.copied().unwrap_or(0));
    let pad = ((high - low) / 20).max(1);
    Ruler {
        from: low - pad,
        to: high + pad,
        begin: FOOT,
        end: TOP,
    }
}

fn path(class: &str, mut places: impl Iterator<Item = (i64, i64)>) -> Element {
    let mut d = String::new();
    if let Some((x, y)) = places.next() {
        let _ = write!(d, "M{} {}", px(x), px(y));
    }
    for (x, y) in places {
        let _ = write!(d, "L{} {}", px(x), px(y));
    }
    el("path").class(class).with("d", d)
}

pub(super) fn dot(x: i64, y: i64) -> Element {
    el("rect")
        .class("point")
        .with("x", px(x - DOT))
        .with("y", px(y - DOT))
        .with("width", px(2 * DOT))
        .with("height", px(2 * DOT))
}

/// The resolution of a quantity in base units, its first digit, and the decimals of its ticks.
pub(super) fn grid(of: &Sample) -> (i64, u8, usize) {
    let all = of.summary();
    let step = all.step_base().unwrap_or(1);
    let value = all.scale().in_unit(step);
    (step, lead(value), decimals(value))
}

fn axes(of: &Regression, across: Ruler, up: Ruler) -> Vec<Element> {
    let (x, y) = (of.x(), of.y());
    let [x_name, y_name] = of.names();
    let (step, first, places) = grid(y);
    let numbers = ticks(up.from, up.to, (step, first), UP);
    let mut drawn = value_axis(
        up,
        numbers.map(|base| (base, fixed(y.scale().in_unit(base), places))),
    );
    drawn.push(level("axis", FOOT));
    let (step, first, places) = grid(x);
    for base in ticks(across.from, across.to, (step, first), ACROSS) {
        let at = across.at(base);
        let d = format!("M{} {}v5", px(at), px(FOOT));
        drawn.push(el("path").class("axis").with("d", d));
        let number = fixed(x.scale().in_unit(base), places);
        drawn.push(word("mid", at, FOOT + 170, number));
    }
    let middle = i64::midpoint(LEFT, RIGHT);
    drawn.push(word(
        "mid",
        middle,
        FOOT + 340,
        format!("{x_name} in {}", x.unit()),
    ));
    drawn.push(word(
        "",
        EDGE,
        TOP - 110,
        format!("{y_name} in {}", y.unit()),
    ));
    drawn
}

fn description(of: &Regression) -> String {
    let [x, y] = of.names();
    let (from, to) = of.ends();
    let scale = of.x().scale();
    format!(
        "{} pairs of {x} from {} to {} {} and {y}, with the line through them and its bands",
        of.x().count(),
        scale.in_unit(from),
        scale.in_unit(to),
        of.x().unit()
    )
}
