//! Draws a control chart as SVG: a field for each panel, with points, centre line and control limits.

use super::reduced::{MARKS, Mark, Reduced, Span, points_in_mark, sentence};
use super::shapes::{EDGE, LEFT, Picture, RIGHT, Ruler, beside, level, px, value_axis, word};
use super::ticks::{decimals_of, ticks};
use crate::markup::{Element, el};
use crate::quantity::Unit;
use crate::stats::chart::{
    CENTRE, Chart, LOWER, Panel, Point, Rule, SIGNALS_SHOWN, Signal, UPPER, rule,
};
use crate::stats::figures::{in_ones, millionths};
use crate::stats::text::fixed;
use std::collections::BTreeMap;
use std::fmt::Write as _;

const TOP: i64 = 300;
const FIELD: i64 = 1300;
const GAP: i64 = 800;
/// Maximum number of axis labels beside a field.
const UP: i64 = 7;
/// Height of a line of text, and a generous width of its letters.
const LINE: i64 = 140;
const LETTER: i64 = 74;
/// From this number on points are drawn smaller.
const CROWDED: usize = 150;

/// All panels with the signals of `rules`, as a file. Values have `places` decimals, in `unit`.
pub fn chart_svg(
    title: &str,
    chart: &Chart<'_>,
    rules: &[&'static Rule],
    digits: (usize, Unit),
) -> String {
    self::chart(title, chart, rules, digits).document()
}

/// As [`chart_svg`], as a picture for a page.
pub(crate) fn chart(
    title: &str,
    chart: &Chart<'_>,
    rules: &[&'static Rule],
    (places, unit): (usize, Unit),
) -> Picture {
    let panels = i64::try_from(chart.panels.len()).unwrap_or(1);
    let height = TOP + panels * FIELD + (panels - 1) * GAP + 400;
    let signals = chart.panels.iter().map(|panel| Signals::of(panel, rules));
    let signals: Vec<Signals> = signals.collect();
    let mut picture = Picture::new(title, description(chart, &signals), height);
    let mut top = TOP;
    for (panel, signals) in chart.panels.iter().zip(&signals) {
        picture.add(fields(panel, signals, top, (places, unit)));
        top += FIELD + GAP;
        let middle = i64::midpoint(LEFT, RIGHT);
        picture.add([word("mid", middle, top - GAP + 320, chart.each())]);
        let reduced = reduced(panel, signals);
        picture.add(reduced.map(|text| word("mid", middle, top - GAP + 320 + LINE, text)));
    }
    picture
}

/// The signals of a panel.
struct Signals {
    /// The first, which are shown.
    shown: Vec<Signal>,
    count: usize,
}

impl Signals {
    fn of(panel: &Panel<'_>, rules: &[&'static Rule]) -> Self {
        let mut signals = panel.signals(rules);
        let shown: Vec<Signal> = signals.by_ref().take(SIGNALS_SHOWN).collect();
        let count = shown.len() + signals.count();
        Self { shown, count }
    }
}

/// How the picture of a panel is reduced, in words.
fn reduced(panel: &Panel<'_>, signals: &Signals) -> Option<String> {
    sentence(points_in_mark(panel.len(), MARKS), signals.count)
}

/// The value of a line at a point.
type Level = fn(&Point) -> Option<f64>;

fn fields(
    panel: &Panel<'_>,
    signals: &Signals,
    top: i64,
    (places, unit): (usize, Unit),
) -> Vec<Element> {
    let mut drawn = vec![word(
        "",
        EDGE,
        top - 110,
        format!("{} in {unit}", panel.words),
    )];
    let each = points_in_mark(panel.len(), MARKS);
    let Some(all) = Reduced::of(panel.points(), 0, each) else {
        return drawn;
    };
    let span = all.span();
    let scale = Ruler {
        from: span.from,
        to: span.to,
        begin: top + FIELD,
        end: top,
    };
    let across = Columns(panel.len());
    drawn.extend(strokes(panel, &all, (across, scale)));
    let mut names = Vec::new();
    let (lowest, highest) = all.ends;
    let ends = [("min", lowest), ("max", highest)].map(|(name, value)| {
        let text = vec![format!("{name} {} {unit}", fixed(value, places))];
        (scale.at(millionths(value)), text)
    });
    let lines: [(&str, &str, Level, Option<Span>); 3] = [
        (UPPER, "limit", |point| point.upper, all.upper),
        (
            CENTRE,
            "centre",
            |point| Some(point.center),
            Some(all.center),
        ),
        (LOWER, "limit", |point| point.lower, all.lower),
    ];
    for (name, class, of, span) in lines {
        let Some((last, span)) = of(&all.last).zip(span) else {
            continue;
        };
        let y = scale.at(millionths(last));
        let value = format!("{} {unit}", fixed(last, places));
        let line = if span.is_level() {
            level(class, y)
        } else {
            let places = all.marks.iter().filter_map(|mark| {
                Some((across.middle(mark), scale.at(millionths(of(&mark.last)?))))
            });
            run(class, places)
        };
        drawn.push(line.about(format!("the line of {name} {value}")));
        names.push((y, vec![name.to_owned(), value]));
    }
    drawn.extend(beside(names.into_iter().chain(ends), top + FIELD + 70));
    drawn.extend(numbers(scale));
    let size = if panel.len() > CROWDED { 16 } else { 30 };
    let points = points(panel, &all, signals, size, (across, scale));
    let marks = all.marks.iter();
    let values = marks.map(|mark| (across.middle(mark), scale.at(millionths(mark.mean))));
    drawn.push(run("run", values).about(format!("the line through \"{}\"", panel.words)));
    let signalled = signals.shown.iter().filter_map(|signal| {
        let at = signal.at.checked_sub(panel.first)?;
        let point = signal.point;
        let y = scale.at(millionths(point.value));
        // A signal of several points belongs to none of them alone.
        let is_run = rule(signal.rule).is_some_and(|rule| rule.length > 1);
        let y = match point.value > point.center {
            _ if !is_run => y,
            true => y - LINE,
            false => y + LINE,
        };
        Some(((across.nth(at), y), signal.brief()))
    });
    let why = reasons(signalled, size, top + FIELD);
    drawn.into_iter().chain(points).chain(why).collect()
}

/// The points, as squares where a rule fired, with their numbers below. Where a mark stands for several, it is a dot at
/// the mean of them, and the squares stand in front.
fn points(
    panel: &Panel<'_>,
    all: &Reduced,
    signals: &Signals,
    size: i64,
    (across, scale): (Columns, Ruler),
) -> Vec<Element> {
    // By number; a point at which several rules fired has one square.
    let signals: BTreeMap<usize, Point> = signals
        .shown
        .iter()
        .map(|signal| (signal.at, signal.point))
        .collect();
    let square = |number: usize, point: &Point| {
        let at = number.checked_sub(panel.first)?;
        let place = (across.nth(at), scale.at(millionths(point.value)));
        Some(square(place, size).about(name(panel, number)))
    };
    let step = step(panel.len());
    let mut drawn = Vec::new();
    for mark in &all.marks {
        let (x, y) = (across.middle(mark), scale.at(millionths(mark.mean)));
        let first = panel.first + mark.at;
        match signals.get(&first) {
            _ if mark.count > 1 => drawn.push(dot(x, y, size / 2).about(names(panel, mark))),
            Some(point) => drawn.extend(square(first, point)),
            None => drawn.push(dot(x, y, size).about(name(panel, first))),
        }
        let numbered = (first..first + mark.count).find(|number| number.is_multiple_of(step));
        if let Some(number) = numbered {
            let x = across.nth(number - panel.first);
            drawn.push(word("mid", x, scale.begin + 170, number.to_string()));
        }
    }
    if all.marks.len() < panel.len() {
        let squares = signals.iter();
        drawn.extend(squares.filter_map(|(number, point)| square(*number, point)));
    }
    drawn
}

/// A stroke from the lowest to the highest point of each mark that stands for several; they are drawn first.
fn strokes(panel: &Panel<'_>, all: &Reduced, (across, scale): (Columns, Ruler)) -> Vec<Element> {
    let several = all.marks.iter().filter(|mark| mark.count > 1);
    let strokes = several.map(|mark| {
        let x = across.middle(mark);
        let ends = [mark.lowest, mark.highest].map(|end| (x, scale.at(millionths(end))));
        run("run spread", ends.into_iter()).about(names(panel, mark))
    });
    strokes.collect()
}

fn names(panel: &Panel<'_>, mark: &Mark) -> String {
    let first = panel.first + mark.at;
    let last = first + mark.count - 1;
    format!("points {first} to {last} of \"{}\"", panel.words)
}

fn name(panel: &Panel<'_>, number: usize) -> String {
    format!("point {number} of \"{}\"", panel.words)
}

fn dot(x: i64, y: i64, size: i64) -> Element {
    let circle = el("circle").class("point");
    let circle = circle.with("cx", px(x)).with("cy", px(y));
    circle.with("r", px(size))
}

/// The mark of a point with a signal.
fn square((x, y): (i64, i64), size: i64) -> Element {
    let two = px(2 * size + 40);
    let square = el("rect").class("signal");
    let square = square
        .with("x", px(x - size - 20))
        .with("y", px(y - size - 20));
    square.with("width", two.clone()).with("height", two)
}

/// The value axis of a panel.
fn numbers(scale: Ruler) -> Vec<Element> {
    let ticks = ticks(scale.from, scale.to, (1, 1), UP);
    let places = decimals_of(ticks.step);
    value_axis(
        scale,
        ticks.map(|value| (value, fixed(in_ones(value), places))),
    )
}

/// The reason at each marked point. A reason that would hide an equal one is left out, because that one is close by.
fn reasons(
    marks: impl Iterator<Item = ((i64, i64), String)>,
    size: i64,
    foot: i64,
) -> Vec<Element> {
    let mut placed: Vec<(i64, i64, i64, String)> = Vec::new();
    let mut drawn = Vec::new();
    for ((x, y), text) in marks {
        let wide = LETTER * i64::try_from(text.chars().count()).unwrap_or(0);
        let is_left = x > i64::midpoint(LEFT, RIGHT);
        let off = size + 60;
        let (class, anchor) = if is_left {
            ("why end", x - off)
        } else {
            ("why", x + off)
        };
        let (from, to) = if is_left {
            (anchor - wide, anchor)
        } else {
            (anchor, anchor + wide)
        };
        let mut baseline = y + 45;
        let hides = |baseline: i64, placed: &[(i64, i64, i64, String)]| {
            let hidden = placed.iter().find(|(other, left, right, _)| {
                (baseline - other).abs() < LINE && from < *right && *left < to
            });
            hidden.cloned()
        };
        let is_said = loop {
            match hides(baseline, &placed) {
                Some((_, _, _, same)) if same == text => break true,
                Some((other, ..)) if other + LINE <= foot => baseline = other + LINE,
                Some(_) => break true,
                None => break false,
            }
        };
        if !is_said {
            drawn.push(word(class, anchor, baseline, text.clone()));
            placed.push((baseline, from, to, text));
        }
    }
    drawn
}

/// Horizontal positions of this number of points.
#[derive(Clone, Copy)]
struct Columns(usize);

impl Columns {
    fn nth(self, at: usize) -> i64 {
        let whole = |count: usize| i64::try_from(count).unwrap_or(i64::MAX / 4);
        let ruler = Ruler {
            from: 0,
            to: 2 * whole(self.0),
            begin: LEFT,
            end: RIGHT,
        };
        ruler.at(2 * whole(at) + 1)
    }

    /// The middle of a mark.
    fn middle(self, mark: &Mark) -> i64 {
        i64::midpoint(self.nth(mark.at), self.nth(mark.at + mark.count - 1))
    }
}

/// A line through places.
pub(super) fn run(class: &str, places: impl Iterator<Item = (i64, i64)>) -> Element {
    let mut d = String::new();
    for (x, y) in places {
        let letter = if d.is_empty() { 'M' } else { 'L' };
        let _ = write!(d, "{letter}{} {}", px(x), px(y));
    }
    el("path").class(class).with("d", d)
}

/// Interval of the numbers below the points, so that at most ten are shown.
fn step(points: usize) -> usize {
    let decades = std::iter::successors(Some(1_usize), |decade| decade.checked_mul(10));
    let mut steps = decades.flat_map(|decade| [1, 2, 5].map(|times| decade.saturating_mul(times)));
    steps.find(|step| points / step <= 10).unwrap_or(usize::MAX)
}

fn description(chart: &Chart<'_>, signals: &[Signals]) -> String {
    let panels = chart.panels.iter().zip(signals).map(|(panel, signals)| {
        let mut shown: Vec<String> = signals
            .shown
            .iter()
            .filter_map(|signal| Some(format!("point {}: {}", signal.at, rule(signal.rule)?.words)))
            .collect();
        let more = signals.count - signals.shown.len();
        if more > 0 {
            shown.push(format!("{more} more signals"));
        }
        let shown = if shown.is_empty() {
            "no signal".to_owned()
        } else {
            shown.join("; ")
        };
        let reduced = reduced(panel, signals);
        let reduced = reduced.map_or_else(String::new, |text| format!(" ({text})"));
        let count = panel.len();
        format!("{}, {count} points{reduced}: {shown}", panel.words)
    });
    panels.collect::<Vec<_>>().join(". ")
}
