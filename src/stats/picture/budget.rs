//! Draws an uncertainty budget: a bar for each contribution, and one for all together.

use super::shapes::{EDGE, LEFT, Picture, RIGHT, px, word};
use crate::markup::el;
use crate::stats::sample::nearest;

const TOP: i64 = 240;
/// From one bar to the next.
const ROW: i64 = 400;
const HIGH: i64 = 160;
/// Length of the longest bar in text form, in characters.
const BAR: f64 = 40.0;

/// A bar of the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetBar {
    /// What it is of.
    pub words: String,
    /// Its standard uncertainty, in any unit that all bars share.
    pub u: f64,
    /// The same as text.
    pub text: String,
}

/// The picture as a file.
pub fn budget_svg(title: &str, bars: &[BudgetBar]) -> String {
    let rows = i64::try_from(bars.len()).unwrap_or(0);
    let words = bars
        .iter()
        .map(|bar| format!("{}: {}", bar.words, bar.text));
    let described = words.collect::<Vec<_>>().join("; ");
    let description = format!("Standard uncertainty of each contribution. {described}");
    let mut picture = Picture::new(title, description, TOP + ROW * rows);
    let most = longest(bars);
    let mut top = TOP;
    for bar in bars {
        let wide = nearest(bar.u / most * 1e3) * (RIGHT - LEFT) / 1_000;
        let about = format!("the bar of {}", bar.words);
        let rect = el("rect")
            .class("bar")
            .with("x", px(EDGE))
            .with("y", px(top))
            .with("width", px(wide.max(10)))
            .with("height", px(HIGH));
        let label = format!("{}: {}", bar.words, bar.text);
        picture.add([
            word("", EDGE, top - 50, label).about(about.clone()),
            rect.about(about),
        ]);
        top += ROW;
    }
    picture.document()
}

/// The bars in characters, each with what it is of and its standard uncertainty.
pub fn budget_text(bars: &[BudgetBar]) -> Vec<String> {
    let width = |of: fn(&BudgetBar) -> &str| {
        let widths = bars.iter().map(|bar| of(bar).chars().count());
        widths.max().unwrap_or(0)
    };
    let (words, texts) = (width(|bar| &bar.words), width(|bar| &bar.text));
    let most = longest(bars);
    let line = |bar: &BudgetBar| {
        let long = usize::try_from(nearest(bar.u / most * BAR)).unwrap_or(0);
        let drawn = "█".repeat(long.max(1));
        format!("{:<words$}  {:>texts$}  {drawn}", bar.words, bar.text)
    };
    bars.iter().map(line).collect()
}

fn longest(bars: &[BudgetBar]) -> f64 {
    let us = bars.iter().map(|bar| bar.u);
    us.fold(f64::MIN_POSITIVE, f64::max)
}
