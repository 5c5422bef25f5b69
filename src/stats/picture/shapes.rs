//! The shapes of pictures: an SVG element with title and description (for screen readers), alone in a file or in a
//! page.
//!
//! No plotting library is used. Each mark must name its reading, so that a change can be found; verdicts differ by
//! shape and not only by colour; and the page's style sheet must apply. What remains is a few straight lines, in whole
//! tenths of a pixel.

use crate::markup::{Element, Written, el};

/// Style of the shapes on a white background; a page may override it.
pub(crate) const STYLE: &str = include_str!("picture.css");
/// Default colours, which a page may override.
const COLOURS: &str = "svg { --ink: #16191d; --quiet: #50575f; --pass: #0b4a6f; --fail: #8f1d0c; font-family: sans-serif }\n";
/// Width of every picture, in tenths of a pixel.
const WIDTH: i64 = 7200;
/// Left edge of titles.
pub(crate) const EDGE: i64 = 140;
/// Left edge of the field. Labels of the value axis are left of it.
pub(crate) const LEFT: i64 = 660;
/// Right edge of the field. Names of limits are right of it.
pub(crate) const RIGHT: i64 = 5780;

/// Maps values `from..=to` to positions `begin..=end`, in tenths of a pixel.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ruler {
    pub(crate) from: i64,
    pub(crate) to: i64,
    pub(crate) begin: i64,
    pub(crate) end: i64,
}

impl Ruler {
    pub(crate) fn at(self, value: i64) -> i64 {
        let (from, to) = (i128::from(self.from), i128::from(self.to));
        let (begin, end) = (i128::from(self.begin), i128::from(self.end));
        let span = (to - from).max(1);
        let place = begin + (i128::from(value) - from) * (end - begin) / span;
        i64::try_from(place).unwrap_or(self.begin)
    }
}

/// Tenths of a pixel as text: `123.4`.
pub(crate) fn px(tenths: i64) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    let (whole, part) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
    if part == 0 {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}.{part}")
    }
}

/// A picture with its title, and a description for screen readers.
#[derive(Debug)]
pub(crate) struct Picture {
    title: String,
    description: String,
    height: i64,
    shapes: Vec<Element>,
}

impl Picture {
    pub(crate) fn new(title: &str, description: String, height: i64) -> Self {
        Self {
            title: title.to_owned(),
            description,
            height,
            shapes: Vec::new(),
        }
    }

    pub(crate) fn add(&mut self, shapes: impl IntoIterator<Item = Element>) {
        self.shapes.extend(shapes);
    }

    /// The picture for a page, where `id` must be unique.
    pub(crate) fn element(self, id: &str) -> Element {
        self.drawn(el("svg"), 0, id, Vec::new())
    }

    /// The picture as a file of its own, without references to anything outside.
    pub(crate) fn document(self) -> String {
        const HEADING: i64 = 260;
        let paper = el("rect")
            .with("y", px(-HEADING))
            .with("width", px(WIDTH))
            .with("height", px(self.height + HEADING))
            .with("fill", "#fff");
        let around = vec![
            el("style").raw(format!("\n{COLOURS}{STYLE}")),
            paper,
            word("", EDGE, -80, self.title.as_str()),
        ];
        let svg = el("svg").with("xmlns", "http://www.w3.org/2000/svg");
        let root = self.drawn(svg, HEADING, "picture", around);
        Written::new("", &root).text
    }

    fn drawn(self, svg: Element, above: i64, id: &str, around: Vec<Element>) -> Element {
        let Self {
            title,
            description,
            height,
            shapes,
        } = self;
        svg.with(
            "viewBox",
            format!("0 {} {} {}", px(-above), px(WIDTH), px(height + above)),
        )
        .with("role", "img")
        .with("aria-labelledby", format!("{id}-t {id}-d"))
        .about(format!("the picture \"{title}\""))
        .child(el("title").with("id", format!("{id}-t")).text(title))
        .child(el("desc").with("id", format!("{id}-d")).text(description))
        .children(around)
        .children(shapes)
    }
}

pub(crate) fn level(class: &str, y: i64) -> Element {
    el("path")
        .class(class)
        .with("d", format!("M{} {}H{}", px(LEFT), px(y), px(RIGHT)))
}

pub(crate) fn upright(class: &str, x: i64, top: i64, foot: i64) -> Element {
    el("path")
        .class(class)
        .with("d", format!("M{} {}V{}", px(x), px(top), px(foot)))
}

pub(crate) fn word(class: &str, x: i64, y: i64, text: impl Into<String>) -> Element {
    el("text")
        .class(class)
        .with("x", px(x))
        .with("y", px(y))
        .text(text)
}

/// The value axis at the left of the field, with a label at each tick.
pub(crate) fn value_axis(scale: Ruler, ticks: impl Iterator<Item = (i64, String)>) -> Vec<Element> {
    let mut drawn = vec![upright("axis", LEFT, scale.end, scale.begin)];
    for (value, number) in ticks {
        let y = scale.at(value);
        let d = format!("M{} {}H{}", px(LEFT - 50), px(y), px(LEFT));
        drawn.push(el("path").class("axis").with("d", d));
        drawn.push(word("end", LEFT - 80, y + 45, number));
    }
    drawn
}

/// Labels at the right of their lines. They are moved apart until none hides another, and up until none is below
/// `foot`.
pub(crate) fn beside(
    names: impl IntoIterator<Item = (i64, Vec<String>)>,
    foot: i64,
) -> Vec<Element> {
    const LINE: i64 = 140;
    let high = |lines: &[String]| LINE * i64::try_from(lines.len()).unwrap_or(1);
    let mut names: Vec<(i64, Vec<String>)> = names.into_iter().collect();
    names.sort_by_key(|(y, _)| *y);
    let mut free = i64::MIN / 2;
    for (y, lines) in &mut names {
        *y = free.max(*y - high(lines) / 2);
        free = *y + high(lines);
    }
    let mut free = foot;
    for (y, lines) in names.iter_mut().rev() {
        *y = free.min(*y + high(lines)) - high(lines);
        free = *y;
    }
    let placed = names.into_iter().flat_map(|(top, lines)| {
        let baselines = (0..).map(move |nth| top + LINE * nth + 115);
        baselines
            .zip(lines)
            .map(|(y, line)| word("", RIGHT + 80, y, line))
    });
    placed.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_holds_its_ends_and_does_not_overflow() {
        let scale = Ruler {
            from: -10,
            to: 10,
            begin: 0,
            end: 100,
        };
        assert_eq!([-10, 0, 10].map(|value| scale.at(value)), [0, 50, 100]);
        let flat = Ruler { to: -10, ..scale };
        assert_eq!(flat.at(-10), 0);
        let wide = Ruler {
            from: i64::MIN,
            to: i64::MAX,
            ..scale
        };
        assert_eq!([i64::MIN, i64::MAX].map(|value| wide.at(value)), [0, 100]);
        assert_eq!([px(1234), px(-5), px(20)], ["123.4", "-0.5", "2"]);
    }
}
