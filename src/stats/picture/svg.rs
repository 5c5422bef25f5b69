//! The few shapes that pictures are made of, as SVG text. Places are shares of the field, from its lower
//! left corner.

use super::scale::Tick;
use std::fmt::Write as _;

const WIDTH: f64 = 720.0;
const MARGIN: f64 = 56.0;
const TOP: f64 = 66.0;
/// The height of one field.
const FIELD: f64 = 220.0;

/// A document that grows.
pub(super) struct Svg {
    body: String,
    top: f64,
    title: String,
}

/// Text that may stand in an element or an attribute.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

impl Svg {
    /// With its first field.
    pub(super) fn new(title: &str) -> Self {
        Self {
            body: String::new(),
            top: TOP,
            title: escaped(title),
        }
    }

    /// Another field below, under a heading.
    pub(super) fn next_field(&mut self) {
        self.top += FIELD + 2.0 * MARGIN / 1.2;
    }

    fn x(share: f64) -> f64 {
        MARGIN + share * (WIDTH - 3.2 * MARGIN)
    }

    fn y(&self, share: f64) -> f64 {
        self.top + (1.0 - share) * FIELD
    }

    fn add(&mut self, element: std::fmt::Arguments<'_>) {
        // writing to a string cannot fail
        let _ = writeln!(self.body, "{element}");
    }

    /// A bar from the ground up.
    pub(super) fn bar(&mut self, from: f64, wide: f64, high: f64, out: bool) {
        let (x, y) = (Self::x(from), self.y(high));
        let (width, height) = (Self::x(from + wide) - x, self.y(0.0) - y);
        let class = if out { "out" } else { "bar" };
        self.add(format_args!(
            "<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"/>"
        ));
    }

    /// An upright line with its name at the top.
    pub(super) fn upright(&mut self, at: f64, name: &str) {
        let (x, top, foot) = (Self::x(at), self.y(1.0), self.y(0.0));
        self.add(format_args!(
            "<path class=\"limit\" d=\"M{x:.1} {top:.1}V{foot:.1}\"/><text class=\"middle\" x=\"{x:.1}\" y=\"{:.1}\">{}</text>",
            top - 5.0,
            escaped(name)
        ));
    }

    /// A level line with its name at the right.
    pub(super) fn level(&mut self, at: f64, class: &str, name: &str) {
        let (y, left, right) = (self.y(at), Self::x(0.0), Self::x(1.0));
        self.add(format_args!(
            "<path class=\"{class}\" d=\"M{left:.1} {y:.1}H{right:.1}\"/><text x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            right + 6.0,
            y + 4.0,
            escaped(name)
        ));
    }

    /// A line through places.
    pub(super) fn line(&mut self, class: &str, places: impl Iterator<Item = (f64, f64)>) {
        let mut path = String::new();
        for (at, (x, y)) in places.enumerate() {
            let letter = if at == 0 { 'M' } else { 'L' };
            let _ = write!(path, "{letter}{:.1} {:.1}", Self::x(x), self.y(y));
        }
        self.add(format_args!("<path class=\"{class}\" d=\"{path}\"/>"));
    }

    /// A point; a signal is a square with a ring, so that it shows without colours too.
    pub(super) fn point(&mut self, x: f64, y: f64, signal: Option<&str>) {
        let (x, y) = (Self::x(x), self.y(y));
        match signal {
            None => self.add(format_args!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.5\"/>")),
            Some(words) => self.add(format_args!(
                "<g class=\"signal\"><title>{}</title><rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\"/><circle class=\"ring\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"8\"/></g>",
                escaped(words),
                x - 4.0,
                y - 4.0
            )),
        }
    }

    /// The axis under the field: ticks with their numbers, and what they are.
    pub(super) fn axis_below(&mut self, ticks: &[Tick], title: &str) {
        let (left, right, foot) = (Self::x(0.0), Self::x(1.0), self.y(0.0));
        self.add(format_args!(
            "<path class=\"axis\" d=\"M{left:.1} {foot:.1}H{right:.1}\"/>"
        ));
        for tick in ticks {
            let x = Self::x(tick.share);
            self.add(format_args!(
                "<path class=\"axis\" d=\"M{x:.1} {foot:.1}v5\"/><text class=\"middle tick\" x=\"{x:.1}\" y=\"{:.1}\">{}</text>",
                foot + 17.0,
                escaped(&tick.label)
            ));
        }
        self.add(format_args!(
            "<text class=\"middle\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            f64::midpoint(left, right),
            foot + 34.0,
            escaped(title)
        ));
    }

    /// The axis left of the field, likewise; its title stands above it.
    pub(super) fn axis_left(&mut self, ticks: &[Tick], title: &str) {
        let (left, top, foot) = (Self::x(0.0), self.y(1.0), self.y(0.0));
        self.add(format_args!(
            "<path class=\"axis\" d=\"M{left:.1} {top:.1}V{foot:.1}\"/><text x=\"4\" y=\"{:.1}\">{}</text>",
            top - 20.0,
            escaped(title)
        ));
        for tick in ticks {
            let y = self.y(tick.share);
            self.add(format_args!(
                "<path class=\"axis\" d=\"M{left:.1} {y:.1}h-5\"/><text class=\"end tick\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
                left - 8.0,
                y + 4.0,
                escaped(&tick.label)
            ));
        }
    }

    /// The whole document.
    pub(super) fn finish(self) -> String {
        let height = self.top + FIELD + MARGIN / 1.4;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.0}\" role=\"img\">\n\
             <title>{title}</title>\n\
             <style>text{{font:13px sans-serif;fill:#222}}.middle{{text-anchor:middle}}.end{{text-anchor:end}}.tick{{font-size:11px}}.axis{{stroke:#777}}path{{fill:none;stroke:#222}}.limit{{stroke:#b00020;stroke-dasharray:6 4}}.center{{stroke:#777}}.bar{{fill:#4a7ab5}}.out{{fill:#b00020}}.signal rect{{fill:#b00020}}.none{{stroke:none}}.ring{{fill:none;stroke:#b00020}}.run{{stroke:#4a7ab5}}</style>\n\
             <rect width=\"{WIDTH}\" height=\"{height:.0}\" fill=\"#fff\"/>\n\
             <text x=\"{MARGIN}\" y=\"18\">{title}</text>\n{body}</svg>\n",
            title = self.title,
            body = self.body
        )
    }
}
