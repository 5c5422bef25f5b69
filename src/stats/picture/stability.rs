//! Draws the mean errors of verification series over time as SVG, with the line through them, its confidence band and the
//! limits of an error.

use super::chart::run;
use super::scatter::{dot, grid};
use super::shapes::{EDGE, LEFT, Picture, RIGHT, Ruler, beside, level, px, value_axis, word};
use super::ticks::ticks;
use crate::markup::el;
use crate::stats::CONFIDENCE;
use crate::stats::sample::float;
use crate::stats::stability::Stability;
use crate::stats::text::fixed;

const TOP: i64 = 300;
const FOOT: i64 = 1860;
const HEIGHT: i64 = 2200;
/// Maximum number of months below the field, and of numbers beside it.
const ACROSS: usize = 8;
const UP: i64 = 9;
/// Number of straight pieces that a band is drawn with.
const PIECES: i64 = 32;

/// Errors over time, as a file.
pub fn stability_svg(title: &str, of: &Stability) -> String {
    picture(title, of).document()
}

/// A line of the picture: class, and its value at times.
struct Drawn(&'static str, Vec<(i64, f64)>);

fn picture(title: &str, of: &Stability) -> Picture {
    let points: Vec<(i64, i64)> = of.points().collect();
    let (from, to) = ends(points.iter().map(|(at, _)| *at));
    let pad = ((to - from) / 20).max(1);
    let across = Ruler {
        from: from - pad,
        to: to + pad,
        begin: LEFT,
        end: RIGHT,
    };
    let (lines, scale) = (lines(of, from, to), of.errors().scale());
    let all = of.errors().summary();
    let limits = [
        ("upper limit", of.limits().upper_of(all)),
        ("lower limit", of.limits().lower_of(all)),
    ];
    let limits = limits.map(|(name, limit)| Some((name, limit.ok()?)));
    let limits: Vec<(&str, f64)> = limits.into_iter().flatten().collect();
    let drawn = lines.iter().flat_map(|line| line.1.iter().map(|(_, y)| *y));
    let drawn = drawn
        .chain(limits.iter().map(|(_, limit)| *limit))
        .chain([0.0]);
    let drawn = drawn.map(|y| scale.nearest(y));
    let (low, high) = ends(drawn.chain(points.iter().map(|(_, error)| *error)));
    let pad = ((high - low) / 20).max(1);
    let up = Ruler {
        from: low - pad,
        to: high + pad,
        begin: FOOT,
        end: TOP,
    };
    let mut picture = Picture::new(title, description(of), HEIGHT);
    let mut names = vec![(up.at(0), vec!["no error".to_owned()])];
    picture.add([level("axis", up.at(0))]);
    for (name, limit) in limits {
        let at = up.at(scale.nearest(limit));
        picture.add([level("limit", at)]);
        names.push((at, vec![format!("{name} {limit} {}", of.errors().unit())]));
    }
    for Drawn(class, places) in &lines {
        let places = places.iter();
        let places = places.map(|(at, y)| (across.at(*at), up.at(scale.nearest(*y))));
        picture.add([run(class, places)]);
    }
    for (at, error) in points {
        picture.add([dot(across.at(at), up.at(error))]);
    }
    picture.add(beside(names, FOOT));
    add_axes(&mut picture, of, (across, up));
    picture
}

fn ends(values: impl Iterator<Item = i64>) -> (i64, i64) {
    let values: Vec<i64> = values.collect();
    let (low, high) = (values.iter().min(), values.iter().max());
    (low.copied().unwrap_or(0), high.copied().unwrap_or(0))
}

/// The line and its band; none where there is no drift to compute.
fn lines(of: &Stability, from: i64, to: i64) -> Vec<Drawn> {
    let Ok(trend) = of.trend() else {
        return Vec::new();
    };
    let times = || (0..=PIECES).map(move |nth| from + (to - from) / PIECES * nth);
    let bounds = |at: i64| trend.line_bounds(float(at.into()), CONFIDENCE).ok();
    let line = times().map(|at| (at, trend.at(float(at.into()))));
    vec![
        Drawn("fitted", line.collect()),
        Drawn(
            "run",
            times().filter_map(|at| Some((at, bounds(at)?.0))).collect(),
        ),
        Drawn(
            "run",
            times().filter_map(|at| Some((at, bounds(at)?.1))).collect(),
        ),
    ]
}

fn add_axes(picture: &mut Picture, of: &Stability, (across, up): (Ruler, Ruler)) {
    let errors = of.errors();
    let (step, first, places) = grid(errors);
    let numbers = ticks(up.from, up.to, (step, first), UP);
    let number = |base: i64| fixed(errors.scale().in_unit(base), places);
    picture.add(value_axis(up, numbers.map(|base| (base, number(base)))));
    picture.add([level("axis", FOOT)]);
    let months = of.months();
    for month in months.iter().step_by(months.len().div_ceil(ACROSS).max(1)) {
        let at = across.at(month.at);
        let d = format!("M{} {}v5", px(at), px(FOOT));
        picture.add([
            el("path").class("axis").with("d", d),
            word("mid", at, FOOT + 170, month.name.as_str()),
        ]);
    }
    let unit = errors.unit();
    picture.add([word(
        "",
        EDGE,
        TOP - 110,
        format!("mean error of each verification series in {unit}"),
    )]);
}

fn description(of: &Stability) -> String {
    let months = of.months();
    let named = months.iter().filter_map(|month| {
        let mean = month.mean.ok()?;
        Some(format!(
            "{}: {} {}",
            month.name,
            fixed(mean, 4),
            of.errors().unit()
        ))
    });
    format!(
        "mean errors of {} verification series over time, with the line through them and its 95 % confidence band. {}",
        of.points().count(),
        named.collect::<Vec<_>>().join("; ")
    )
}
