//! Draws an operating characteristic: a probability against what is true, as SVG and as lines of text.

use super::chart::run;
use super::shapes::{
    EDGE, LEFT, Picture, RIGHT, Ruler, beside, level, px, upright, value_axis, word,
};
use super::ticks::{decimals_of, ticks};
use crate::markup::el;
use crate::stats::figures::{in_ones, millionths, whole};
use crate::stats::text::fixed;

const TOP: i64 = 490;
const FOOT: i64 = 1860;
const HEIGHT: i64 = 2060;
/// Maximum number of axis labels below the field, and beside it.
const ACROSS: i64 = 9;
const UP: i64 = 6;
/// A probability of 1, in millionths.
const ONE: i64 = 1_000_000;
/// Length of the longest bar in text form, in characters.
const BAR: f64 = 48.0;

/// A value on the axis of what is true, with its name.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// The value.
    pub at: f64,
    /// Its name.
    pub name: String,
}

/// A probability against what is true.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The name of the axis of what is true.
    pub across: String,
    /// The name of the probability.
    pub up: String,
    /// Values, ascending, with their probabilities.
    pub points: Vec<(f64, f64)>,
    /// What is required and supposed.
    pub marks: Vec<Mark>,
    /// The probability that is required; `None` if there is none.
    pub required: Option<f64>,
}

impl Curve {
    /// The picture as a file.
    pub fn svg(&self, title: &str) -> String {
        self.picture(title).document()
    }

    fn ends(&self) -> (f64, f64) {
        let truths = || self.points.iter().map(|(truth, _)| *truth);
        let from = truths().fold(f64::INFINITY, f64::min);
        let to = truths().fold(f64::NEG_INFINITY, f64::max);
        if from <= to { (from, to) } else { (0.0, 1.0) }
    }

    fn picture(&self, title: &str) -> Picture {
        let (from, to) = self.ends();
        let across = Ruler {
            from: millionths(from),
            to: millionths(to),
            begin: LEFT,
            end: RIGHT,
        };
        let up = Ruler {
            from: 0,
            to: ONE,
            begin: FOOT,
            end: TOP,
        };
        let mut picture = Picture::new(title, self.description(), HEIGHT);
        for mark in &self.marks {
            let x = across.at(millionths(mark.at));
            let line = upright("limit", x, TOP - 160, FOOT);
            picture.add([
                line.about(format!("the line of {} in \"{title}\"", mark.name)),
                word("mid", x, TOP - 200, mark.name.clone()),
            ]);
        }
        if let Some(required) = self.required {
            let y = up.at(millionths(required));
            let name = format!("{} %", fixed(100.0 * required, 0));
            picture.add([level("centre", y).about(format!("the line of {name} in \"{title}\""))]);
            picture.add(beside([(y, vec!["required".to_owned(), name])], FOOT + 70));
        }
        let points = self.points.iter();
        let places = points.map(|(truth, probability)| {
            (
                across.at(millionths(*truth)),
                up.at(millionths(*probability)),
            )
        });
        picture.add([run("run", places).about(format!("the curve of \"{title}\""))]);
        let axis = |d: String| el("path").class("axis").with("d", d);
        picture.add([axis(format!("M{} {}H{}", px(LEFT), px(FOOT), px(RIGHT)))]);
        let below = ticks(across.from, across.to, (1, 1), ACROSS);
        let digits = decimals_of(below.step);
        for tick in below {
            let x = across.at(tick);
            picture.add([
                axis(format!("M{} {}v5", px(x), px(FOOT))),
                word("mid", x, FOOT + 170, fixed(in_ones(tick), digits)),
            ]);
        }
        let percents = ticks(0, ONE, (10_000, 1), UP);
        let percent = |tick: i64| format!("{} %", fixed(100.0 * in_ones(tick), 0));
        picture.add(value_axis(up, percents.map(|tick| (tick, percent(tick)))));
        picture.add([
            word("", RIGHT + 80, FOOT + 170, self.across.clone()),
            word("", EDGE, TOP - 370, self.up.clone()),
        ]);
        picture
    }

    /// A line for each point, with a bar for its probability.
    pub fn text(&self) -> Vec<String> {
        let (from, to) = self.ends();
        let places = places(to - from);
        let values = self.points.iter().map(|(truth, _)| fixed(*truth, places));
        let values: Vec<String> = values.collect();
        let names = values.iter().chain([&self.across]);
        let width = names.map(|name| name.chars().count()).max().unwrap_or(0);
        let mut lines = vec![format!("{:>width$} │ {}", self.across, self.up)];
        for (value, (_, probability)) in values.iter().zip(&self.points) {
            let bar = "█".repeat(usize::try_from(whole(probability * BAR)).unwrap_or(0));
            lines.push(format!(
                "{value:>width$} │{bar} {} %",
                fixed(100.0 * probability, 1)
            ));
        }
        lines
    }

    fn description(&self) -> String {
        let (from, to) = self.ends();
        let places = places(to - from);
        // As many points as a person would listen to.
        let every = (self.points.len() / 8).max(1);
        let points = self.points.iter().step_by(every);
        let words = points.map(|(truth, probability)| {
            format!(
                "{}: {} %",
                fixed(*truth, places),
                fixed(100.0 * probability, 1)
            )
        });
        let words = words.collect::<Vec<_>>().join("; ");
        format!("{} against {}. {words}", self.up, self.across)
    }
}

/// Decimals with which values over this range differ.
fn places(range: f64) -> usize {
    (0..8_u8)
        .find(|places| range * 10.0_f64.powi(i32::from(*places)) >= 20.0)
        .map_or(8, usize::from)
}
