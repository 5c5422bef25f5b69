//! Draws readings by factors as SVG: box plots of the levels, and a multi-vari chart of their combinations.

use super::shapes::{EDGE, LEFT, Picture, RIGHT, Ruler, level, px, upright, value_axis, word};
use super::ticks::{lead, ticks};
use crate::markup::{Element, el};
use crate::stats::components::Cell;
use crate::stats::figures::decimals;
use crate::stats::text::fixed;
use crate::stats::{Summary, describe};
use std::fmt::Write as _;

const TOP: i64 = 300;
const FOOT: i64 = 2200;
/// Maximum number of axis labels beside a field.
const UP: i64 = 9;
/// Height of a line of labels below the field.
const LINE: i64 = 150;
/// A multi-vari chart with more marks is not readable: then the last factors are put together.
const MOST_MARKS: usize = 60;
/// Width of a letter, generous.
const LETTER: i64 = 70;

/// The readings of each level of a factor.
#[derive(Debug, Clone)]
pub struct Boxes {
    /// The factor.
    pub factor: String,
    /// The name of each level with its readings.
    pub levels: Vec<(String, Summary)>,
}

/// A box plot for each level of each factor, as a file. A box goes from the lower to the upper quartile, with the median
/// as a line and the mean as a square; its whiskers go to minimum and maximum.
pub fn boxes_svg(title: &str, factors: &[Boxes]) -> String {
    let levels = || factors.iter().flat_map(|factor| &factor.levels);
    let Some(up) = upward(levels().map(|(_, of)| of)) else {
        return String::new();
    };
    let mut picture = Picture::new(title, boxes_description(factors), FOOT + 3 * LINE);
    let slots = levels().count() + factors.len();
    let across = Slots(slots);
    let mut at = 0;
    for factor in factors {
        let begin = at;
        for (name, of) in &factor.levels {
            picture.add(one_box(of, up, across.middle(at), across.width() / 4));
            picture.add(label(name, across.middle(at), FOOT + LINE, across.width()));
            at += 1;
        }
        let middle = i64::midpoint(across.middle(begin), across.middle(at.saturating_sub(1)));
        picture.add([word("mid", middle, FOOT + 2 * LINE, factor.factor.clone())]);
        at += 1;
    }
    picture.add(values(levels().map(|(_, of)| of).next(), up));
    picture.document()
}

/// The readings of each combination of levels from lowest to highest with their mean, as a file. Means of the
/// combinations that differ in the last factor only are joined.
pub fn multi_vari_svg(title: &str, factors: &[(String, Vec<String>)], cells: &[Cell]) -> String {
    let Some(up) = upward(cells.iter().map(|cell| &cell.readings)) else {
        return String::new();
    };
    let (depth, marks) = marks(factors.len(), cells);
    let mut picture = Picture::new(
        title,
        format!(
            "Readings from lowest to highest, with their means, of {} combinations of levels",
            marks.len()
        ),
        FOOT + LINE * (2 + i64::try_from(depth).unwrap_or(1)),
    );
    let across = Slots(marks.len());
    let mut joined = String::new();
    let mut last: Option<&[usize]> = None;
    for (at, mark) in marks.iter().enumerate() {
        let x = across.middle(at);
        let mean = up.at(mark.mean());
        picture.add([
            upright("run", x, up.at(mark.high), up.at(mark.low)),
            dot(x, mean),
        ]);
        let outer = mark
            .levels
            .get(..depth.saturating_sub(1))
            .unwrap_or_default();
        let step = if last == Some(outer) { 'L' } else { 'M' };
        let _ = write!(joined, "{step}{} {}", px(x), px(mean));
        last = Some(outer);
    }
    picture.add([el("path").with("d", joined)]);
    for nth in 0..depth {
        let row = i64::try_from(depth - nth).unwrap_or(1);
        picture.add(names(factors, nth, &marks, across, FOOT + LINE * row));
    }
    picture.add(values(cells.first().map(|cell| &cell.readings), up));
    picture.document()
}

/// The readings of cells that are one mark.
struct Mark {
    levels: Vec<usize>,
    count: i128,
    total: i128,
    low: i64,
    high: i64,
}

impl Mark {
    fn mean(&self) -> i64 {
        i64::try_from(self.total / self.count.max(1)).unwrap_or(self.low)
    }
}

/// The marks for as many of the first factors as are readable, and the number of these.
fn marks(factors: usize, cells: &[Cell]) -> (usize, Vec<Mark>) {
    let mut depth = factors;
    loop {
        let mut marks: Vec<Mark> = Vec::new();
        let mut sorted: Vec<&Cell> = cells.iter().collect();
        sorted.sort_by(|a, b| a.levels.cmp(&b.levels));
        for cell in sorted {
            let levels = cell.levels.get(..depth).unwrap_or_default().to_vec();
            let (count, total) = (
                cell.readings.count().into(),
                cell.readings.moments().total(),
            );
            let grid = cell.readings.grid();
            let (Some(low), Some(high)) = (grid.least(), grid.greatest()) else {
                continue;
            };
            match marks.last_mut().filter(|mark| mark.levels == levels) {
                Some(mark) => {
                    mark.count += count;
                    mark.total += total;
                    mark.low = mark.low.min(low);
                    mark.high = mark.high.max(high);
                }
                None => marks.push(Mark {
                    levels,
                    count,
                    total,
                    low,
                    high,
                }),
            }
        }
        if marks.len() <= MOST_MARKS || depth <= 1 {
            return (depth, marks);
        }
        depth -= 1;
    }
}

/// Places side by side.
#[derive(Clone, Copy)]
struct Slots(usize);

impl Slots {
    fn width(self) -> i64 {
        (RIGHT - LEFT) / i64::try_from(self.0).unwrap_or(1).max(1)
    }

    fn middle(self, at: usize) -> i64 {
        LEFT + self.width() * i64::try_from(at).unwrap_or(0) + self.width() / 2
    }
}

fn upward<'s>(all: impl Iterator<Item = &'s Summary>) -> Option<Ruler> {
    let (mut low, mut high) = (i64::MAX, i64::MIN);
    for of in all {
        low = low.min(of.grid().least()?);
        high = high.max(of.grid().greatest()?);
    }
    if low > high {
        return None;
    }
    let pad = ((high - low) / 20).max(1);
    Some(Ruler {
        from: low - pad,
        to: high + pad,
        begin: FOOT,
        end: TOP,
    })
}

fn values(of: Option<&Summary>, up: Ruler) -> Vec<Element> {
    let Some(of) = of else {
        return Vec::new();
    };
    let step = of.step_base().unwrap_or(1);
    let one = of.in_unit(step);
    let numbers = ticks(up.from, up.to, (step, lead(one)), UP);
    let numbers = numbers.map(|base| (base, fixed(of.in_unit(base), decimals(one))));
    let mut drawn = value_axis(up, numbers);
    drawn.push(level("axis", FOOT));
    drawn.push(word("", EDGE, TOP - 110, format!("value in {}", of.unit())));
    drawn
}

fn one_box(of: &Summary, up: Ruler, x: i64, half: i64) -> Vec<Element> {
    let y = |value: f64| up.at(of.scale().nearest(value));
    let (Ok(low), Ok(q1), Ok(median), Ok(q3), Ok(high), Ok(mean)) = (
        describe::min(of),
        describe::quartile(of, 1),
        describe::quartile(of, 2),
        describe::quartile(of, 3),
        describe::max(of),
        describe::mean(of),
    ) else {
        return Vec::new();
    };
    let (top, foot) = (y(q3), y(q1));
    let line = format!("M{} {}H{}", px(x - half), px(y(median)), px(x + half));
    vec![
        upright("run", x, y(high), y(low)),
        el("rect")
            .class("bar")
            .with("x", px(x - half))
            .with("y", px(top))
            .with("width", px(2 * half))
            .with("height", px((foot - top).max(5))),
        el("path").with("d", line),
        dot(x, y(mean)),
    ]
}

fn dot(x: i64, y: i64) -> Element {
    const HALF: i64 = 26;
    el("rect")
        .class("point")
        .with("x", px(x - HALF))
        .with("y", px(y - HALF))
        .with("width", px(2 * HALF))
        .with("height", px(2 * HALF))
}

/// A label below its place, if there is room for it.
fn label(name: &str, x: i64, y: i64, room: i64) -> Option<Element> {
    let letters = i64::try_from(name.chars().count()).unwrap_or(i64::MAX);
    (letters.saturating_mul(LETTER) <= room).then(|| word("mid", x, y, name))
}

/// The level names of one factor, each once below the marks that share it with the factors before.
fn names(
    factors: &[(String, Vec<String>)],
    nth: usize,
    marks: &[Mark],
    across: Slots,
    y: i64,
) -> Vec<Element> {
    let Some((factor, levels)) = factors.get(nth) else {
        return Vec::new();
    };
    let mut drawn = vec![word("", RIGHT + 80, y, factor.clone())];
    let mut begin = 0;
    for (at, mark) in marks.iter().enumerate() {
        let key = mark.levels.get(..=nth);
        let next = marks.get(at + 1).and_then(|mark| mark.levels.get(..=nth));
        if key == next {
            continue;
        }
        let middle = i64::midpoint(across.middle(begin), across.middle(at));
        let room = across.width() * i64::try_from(at + 1 - begin).unwrap_or(1);
        let name = mark.levels.get(nth).and_then(|level| levels.get(*level));
        let own = name.map_or("", |name| name.rsplit('/').next().unwrap_or(name));
        drawn.extend(label(own, middle, y, room));
        begin = at + 1;
    }
    drawn
}

fn boxes_description(factors: &[Boxes]) -> String {
    let words = factors.iter().map(|factor| {
        let levels = factor.levels.iter().map(|(name, of)| {
            let median = describe::quartile(of, 2)
                .map_or_else(|_| "–".to_owned(), |median| fixed(median, 4));
            format!("{name} {median}")
        });
        format!(
            "{}: {}",
            factor.factor,
            levels.collect::<Vec<_>>().join(", ")
        )
    });
    format!(
        "Box plots; medians. {}",
        words.collect::<Vec<_>>().join("; ")
    )
}
