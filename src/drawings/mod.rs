//! Line drawings of visual checks and of failed pull tests.
//!
//! In: the name of a check or mode. Out: a drawing of an invented open-barrel crimp as SVG elements, if there is one: a
//! good crimp, a bad one, or both side by side, with a ring around the place in question.
//!
//! - Only `currentColor` is used, so a drawing is legible on light and dark pages and on paper.
//! - All drawings are made of the same few shapes ([`side`], [`section`]), of which each check changes one.
//! - No drawing is copied from a standard or a maker, and no proportion in it is a limit.

mod section;
mod side;

use crate::markup::{Element, el};
use section::{Insulation, core};
use side::{Bare, Seal, Side};

/// The style of drawings on a page whose own style covers every picture: it restores theirs.
pub(crate) const STYLE: &str = "\
.drawing path { fill: inherit; stroke: inherit; stroke-width: inherit }
.drawing svg { width: 124px; height: 64px; max-width: none; overflow: hidden }
";

/// The crimps in a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shown {
    /// A good one.
    Good,
    /// A bad one.
    Bad,
    /// The good one, and the bad one on its right.
    Both,
}

/// Width of one view, in units of the drawing.
const WIDTH: u32 = 144;
/// Height of a view.
const HEIGHT: u32 = 64;
/// Width of the mark at the left of a view: right, or crossed out.
const MARK: u32 = 20;
/// Where the second view begins.
const SECOND: u32 = WIDTH + 8;

/// The drawing of a customary visual check; `None` for a question of the plan itself. `label` is its description for
/// screen readers.
pub(crate) fn of_look(name: &str, shown: Shown, label: &str) -> Option<Element> {
    let views = views(name, shown)?;
    let width = match shown {
        Shown::Good | Shown::Bad => WIDTH,
        Shown::Both => SECOND + WIDTH,
    };
    Some(picture(width, label).children(views))
}

/// The drawing of a pull mode; `None` for the mode `other`.
pub(crate) fn of_pull(name: &str, label: &str) -> Option<Element> {
    let drawn = side::pulled(name)?;
    Some(picture(side::PULLED_WIDTH, label).child(lines().children(drawn)))
}

/// All drawings of visual checks as one SVG, each a symbol with the check's name as its id.
pub(crate) fn sprite<'n>(names: impl Iterator<Item = &'n str>) -> Element {
    let symbols = names.filter_map(|name| {
        let views = views(name, Shown::Both)?;
        let size = format!("0 0 {} {HEIGHT}", SECOND + WIDTH);
        let symbol = el("symbol").with("id", name).with("viewBox", size);
        Some(symbol.children(views))
    });
    el("svg")
        .with("xmlns", "http://www.w3.org/2000/svg")
        .children(symbols)
}

fn picture(width: u32, label: &str) -> Element {
    el("svg")
        .class("drawing")
        .with("viewBox", format!("0 0 {width} {HEIGHT}"))
        .with("role", "img")
        .with("aria-label", label)
}

fn views(name: &str, shown: Shown) -> Option<Vec<Element>> {
    let Drawn {
        good,
        bad,
        part,
        ring,
    } = drawn(name)?;
    let view = |drawn: Vec<Element>, is_good: bool, at: u32| {
        let mark = if is_good {
            "M3 12l5 6 9-13"
        } else {
            "M4 5l12 12M16 5L4 17"
        };
        let part = el("svg")
            .with("x", MARK.to_string())
            .with("width", (WIDTH - MARK).to_string())
            .with("height", HEIGHT.to_string())
            .with("viewBox", part)
            .child(lines().children(drawn).child(ring_at(ring)));
        let mark = lines().child(of_width("3", line(mark)));
        let view = el("g").child(mark).child(part);
        match at {
            0 => view,
            at => view.with("transform", format!("translate({at})")),
        }
    };
    Some(match shown {
        Shown::Good => vec![view(good, true, 0)],
        Shown::Bad => vec![view(bad, false, 0)],
        Shown::Both => vec![view(good, true, 0), view(bad, false, SECOND)],
    })
}

/// The visible part of a view, enlarged so that the place in question can be recognized.
const FRONT: &str = "-4 16 74.4 38.4";
const BRUSH: &str = "33 17 74.4 38.4";
const MIDDLE: &str = "44 17 74.4 38.4";
const WINDOW: &str = "61 26 46.5 24";
const BACK: &str = "73 17 74.4 38.4";
const ACROSS: &str = "22 11 100.8 52";

/// The drawing of a check.
struct Drawn {
    good: Vec<Element>,
    bad: Vec<Element>,
    part: &'static str,
    /// Middle and radius of the ring around the place in question.
    ring: (u32, u32, u32),
}

fn drawn(name: &str) -> Option<Drawn> {
    let crimp = Side::default();
    let of_side = |good: Side, bad: Side, part, ring| Drawn {
        good: good.draw(),
        bad: bad.draw(),
        part,
        ring,
    };
    let across = |good, bad, ring| Drawn {
        good,
        bad,
        part: ACROSS,
        ring,
    };
    Some(match name {
        "contact_straight" => {
            let bent = Side {
                bent: true,
                ..crimp
            };
            of_side(crimp, bent, FRONT, (18, 35, 18))
        }
        "brush_visible" => {
            let ends_at = |at| Side {
                strands_end: Some(at),
                ..crimp
            };
            of_side(ends_at(46), ends_at(64), BRUSH, (55, 38, 13))
        }
        "bellmouth" => {
            let without = Side {
                bell: false,
                ..crimp
            };
            of_side(crimp, without, MIDDLE, (77, 37, 14))
        }
        "strands_in" => {
            let loose = Side {
                loose: true,
                ..crimp
            };
            of_side(crimp, loose, MIDDLE, (66, 29, 11))
        }
        "strands_whole" => {
            let bare = Bare::Damaged;
            of_side(crimp, Side { bare, ..crimp }, WINDOW, (83, 38, 9))
        }
        "insulation_window" => {
            let bare = Bare::Covered;
            of_side(crimp, Side { bare, ..crimp }, MIDDLE, (84, 38, 13))
        }
        "seal_seated" => {
            let with = |seal| Side { seal, ..crimp };
            of_side(with(Seal::Held), with(Seal::Loose), BACK, (118, 37, 17))
        }
        "core_closed" => across(core(true, true), core(false, true), (72, 25, 11)),
        "no_cracks" => across(core(true, true), core(true, false), (88, 50, 12)),
        "insulation_held" => {
            let drawn = section::insulation;
            across(
                drawn(Insulation::Held),
                drawn(Insulation::Pierced),
                (72, 28, 13),
            )
        }
        _ => return None,
    })
}

/// The lines of a view.
fn lines() -> Element {
    el("g")
        .with("fill", "none")
        .with("stroke", "currentColor")
        .with("stroke-width", "1.3")
        .with("stroke-linecap", "round")
        .with("stroke-linejoin", "round")
}

fn ring_at((x, y, radius): (u32, u32, u32)) -> Element {
    let ring = circle(x, y, &radius.to_string());
    of_width("0.9", ring).with("stroke-dasharray", "2 2")
}

/// Lines of this width. The width is on the group around them, so that a page's style for paths does not override it.
fn of_width(width: &str, lines: Element) -> Element {
    el("g").with("stroke-width", width).child(lines)
}

/// A line along this path.
fn line(path: &str) -> Element {
    el("path").with("d", path)
}

/// Insulation and seals: an area of this outline.
fn area(path: &str) -> Element {
    el("g")
        .with("fill", "currentColor")
        .with("fill-opacity", "0.16")
        .child(line(path))
}

fn circle(x: u32, y: u32, radius: &str) -> Element {
    el("circle")
        .with("cx", x.to_string())
        .with("cy", y.to_string())
        .with("r", radius)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::markup::Written;

    #[test]
    fn good_and_bad_differ_and_both_are_the_two() {
        for name in ["strands_in", "core_closed", "insulation_held"] {
            let text = |shown| {
                let drawing = of_look(name, shown, "a & b").unwrap();
                Written::new("", &drawing).text
            };
            let (good, bad, both) = (text(Shown::Good), text(Shown::Bad), text(Shown::Both));
            assert_ne!(good, bad);
            for half in [&good, &bad] {
                assert!(half.contains("aria-label=\"a &amp; b\""));
                assert!(half.contains("viewBox=\"0 0 144 64\""));
            }
            assert_eq!(both.matches("stroke-dasharray=\"2 2\"").count(), 2);
            assert!(both.contains("viewBox=\"0 0 296 64\""));
        }
        let part = format!("width: {}px; height: {HEIGHT}px", WIDTH - MARK);
        assert!(STYLE.contains(&part), "the part of a view");
        assert!(of_look("of the plan's own", Shown::Good, "").is_none());
        assert!(of_pull("other", "").is_none());
    }
}
