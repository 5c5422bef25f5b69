//! Draws a histogram as SVG: how often each value was read, with the limits.

use super::shapes::{EDGE, LEFT, Picture, RIGHT, Ruler, px, upright, value_axis, word};
use super::ticks::{lead, ticks};
use super::{Bin, Histogram};
use crate::markup::{Element, el};

const TOP: i64 = 490;
const FOOT: i64 = 1860;
const HEIGHT: i64 = 2060;
/// Maximum number of axis labels below the field, and beside it.
const ACROSS: i64 = 9;
const UP: i64 = 6;

impl Histogram {
    /// The picture as a file.
    pub fn svg(&self, title: &str) -> String {
        self.picture(title).document()
    }

    pub(crate) fn picture(&self, title: &str) -> Picture {
        let bins = || self.bins().iter().filter(|bin| bin.count > 0);
        let (from, to) = self.span();
        let scale = Ruler {
            from,
            to,
            begin: LEFT,
            end: RIGHT,
        };
        let up = Ruler {
            from: 0,
            to: i64::try_from(self.most()).unwrap_or(i64::MAX),
            begin: FOOT,
            end: TOP,
        };
        let mut picture = Picture::new(title, self.description(), HEIGHT);
        for bin in bins() {
            picture.add(self.bar(bin, scale, up));
        }
        for (name, limit) in self.limits() {
            let x = scale.at(limit);
            let text = format!("{name} limit {}", self.limit_text(limit));
            let line = upright("limit", x, TOP - 160, FOOT);
            picture.add([
                line.about(format!("the line of {text} in \"{title}\"")),
                word("mid", x, TOP - 200, text),
            ]);
        }
        let axis = |d: String| el("path").class("axis").with("d", d);
        picture.add([axis(format!("M{} {}H{}", px(LEFT), px(FOOT), px(RIGHT)))]);
        let grid = (self.step(), lead(self.in_unit(self.step())));
        for tick in ticks(from, to, grid, ACROSS) {
            let x = scale.at(tick);
            picture.add([
                axis(format!("M{} {}v5", px(x), px(FOOT))),
                word("mid", x, FOOT + 170, self.digits(tick)),
            ]);
        }
        let counts = ticks(up.from, up.to, (1, 1), UP);
        picture.add(value_axis(
            up,
            counts.map(|count| (count, count.to_string())),
        ));
        let value = format!("value in {}", self.unit());
        picture.add([
            word("", RIGHT + 80, FOOT + 170, value),
            word("", EDGE, TOP - 370, "number of readings"),
        ]);
        picture
    }

    fn bar(&self, bin: &Bin, scale: Ruler, up: Ruler) -> [Element; 2] {
        // As wide as the values that it counts, plus half a step on each side.
        let wide = scale.at(bin.high.saturating_add(self.step())) - scale.at(bin.low);
        let wide = wide.max(10);
        let x = scale.at(bin.low + (bin.high - bin.low) / 2);
        let y = up.at(i64::try_from(bin.count).unwrap_or(i64::MAX));
        let about = format!("the bar of {}", self.limit_text(bin.low));
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

    fn description(&self) -> String {
        let bins = self.bins().iter().filter(|bin| bin.count > 0);
        let words = bins.map(|bin| {
            let low = self.limit_text(bin.low);
            if bin.low == bin.high {
                return format!("{low}: {}", bin.count);
            }
            format!("{low} to {}: {}", self.limit_text(bin.high), bin.count)
        });
        let words = words.collect::<Vec<_>>().join("; ");
        format!("Number of readings at each value. {words}")
    }
}
