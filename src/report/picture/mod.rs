//! Pictures of a report, as elements of its page.
//!
//! In: readings, limits, figures. Out: an SVG element with a title and a description for who cannot see it.
//!
//! Drawn by hand and not by a plotting library: each mark must say which reading it is, so that a moved one can
//! be named; verdicts differ by shape, not by colour; and the page's own style sheet must reach them. What is
//! left to draw is a few straight lines, in whole tenths of a pixel.

mod chart;
mod histogram;
mod readings;

pub(super) use chart::chart;
pub(super) use histogram::histogram;
pub(super) use readings::{DOES_NOT_COUNT, readings};

use super::node::{Element, el};

/// The width of every picture, in tenths of a pixel.
const WIDTH: i64 = 7200;
const LEFT: i64 = 140;
/// Where the field ends; the names of limits stand to the right of it.
const RIGHT: i64 = 5780;

/// Part of a scale: values `from..=to` lie on `begin..=end`, in tenths of a pixel.
#[derive(Debug, Clone, Copy)]
struct Scale {
    from: i64,
    to: i64,
    begin: i64,
    end: i64,
}

impl Scale {
    fn at(self, value: i64) -> i64 {
        let (from, to) = (i128::from(self.from), i128::from(self.to));
        let (begin, end) = (i128::from(self.begin), i128::from(self.end));
        let span = (to - from).max(1);
        let place = begin + (i128::from(value) - from) * (end - begin) / span;
        i64::try_from(place).unwrap_or(self.begin)
    }
}

/// Tenths of a pixel as text: `123.4`.
fn px(tenths: i64) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    let (whole, part) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
    if part == 0 {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{part}")
    }
}

/// A picture with its title, and a description for who cannot see it; `id` is its own in the page.
fn picture(id: &str, title: &str, description: &str, height: i64) -> Element {
    el("svg")
        .with("viewBox", format!("0 0 {} {}", px(WIDTH), px(height)))
        .with("role", "img")
        .with("aria-labelledby", format!("{id}-t {id}-d"))
        .about(format!("the picture \"{title}\""))
        .child(el("title").with("id", format!("{id}-t")).text(title))
        .child(el("desc").with("id", format!("{id}-d")).text(description))
}

fn level(class: &str, y: i64) -> Element {
    el("path")
        .class(class)
        .with("d", format!("M{} {}H{}", px(LEFT), px(y), px(RIGHT)))
}

fn upright(class: &str, x: i64, top: i64, foot: i64) -> Element {
    el("path")
        .class(class)
        .with("d", format!("M{} {}V{}", px(x), px(top), px(foot)))
}

fn word(class: &str, x: i64, y: i64, text: impl Into<String>) -> Element {
    el("text")
        .class(class)
        .with("x", px(x))
        .with("y", px(y))
        .text(text)
}

/// Names beside lines, moved apart until none hides another; `places` are the lines', in any order.
fn beside(mut names: Vec<(i64, String)>) -> Vec<Element> {
    const APART: i64 = 140;
    names.sort_by_key(|(y, _)| *y);
    let mut last = i64::MIN / 2;
    let mut placed = Vec::new();
    for (y, name) in names {
        last = y.max(last.saturating_add(APART));
        placed.push(word("", RIGHT + 80, last + 45, name));
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_holds_its_ends_and_does_not_overflow() {
        let scale = Scale {
            from: -10,
            to: 10,
            begin: 0,
            end: 100,
        };
        assert_eq!([-10, 0, 10].map(|value| scale.at(value)), [0, 50, 100]);
        let flat = Scale { to: -10, ..scale };
        assert_eq!(flat.at(-10), 0);
        let wide = Scale {
            from: i64::MIN,
            to: i64::MAX,
            ..scale
        };
        assert_eq!([i64::MIN, i64::MAX].map(|value| wide.at(value)), [0, 100]);
        assert_eq!([px(1234), px(-5), px(20)], ["123.4", "-0.5", "2"]);
    }
}
