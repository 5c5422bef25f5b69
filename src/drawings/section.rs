//! A crimp cut across: the core crimp with its strands, or the insulation crimp around the wire.

use super::{area, circle, line, of_width};
use crate::markup::{Element, el};

/// The position of the insulation crimp.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Insulation {
    /// Around the insulation.
    Held,
    /// Through it.
    Pierced,
}

/// Thickness of the metal.
const METAL: &str = "4.5";

const CLOSED: &str = "M71 34q-2-14-11-14-9 0-9 9v17q0 5 5 5h32q5 0 5-5V29q0-9-9-9-9 0-11 14";
const OPEN: &str = "M60 20q-1-4-4-4-5 0-5 8v22q0 5 5 5h32q5 0 5-5V24q0-8-5-8-3 0-4 4";
/// As the closed one, with a gap in its right corner.
const CRACKED: &str =
    "M71 34q-2-14-11-14-9 0-9 9v17q0 5 5 5h23M85 51h3q5 0 5-5V29q0-9-9-9-9 0-11 14";
const CRACK: &str = "M83 45l-2 4 3 2-3 3 1 4";
const BURRS: &str = "M49 50l-2 11 7-7zM95 50l2 11-7-7z";

/// Centres of the strands of a core crimp, row by row from the top.
const STRANDS: [(u32, u32); 13] = [
    (58, 30),
    (86, 30),
    (57, 37),
    (64, 38),
    (72, 39),
    (80, 38),
    (87, 37),
    (57, 45),
    (63, 45),
    (69, 46),
    (75, 46),
    (81, 45),
    (87, 45),
];

fn metal(path: &str) -> Element {
    of_width(METAL, line(path))
}

fn strand(at: (u32, u32)) -> Element {
    circle(at.0, at.1, "2.7")
}

/// The core crimp: closed or with an open seam, whole or with a crack and burrs.
pub(super) fn core(is_closed: bool, is_whole: bool) -> Vec<Element> {
    let mut drawn: Vec<Element> = STRANDS.map(strand).into();
    match (is_closed, is_whole) {
        (true, true) => drawn.push(metal(CLOSED)),
        (true, false) => {
            let burrs = el("g").with("fill", "currentColor").child(line(BURRS));
            drawn.extend([metal(CRACKED), line(CRACK), burrs]);
        }
        (false, _) => {
            drawn.extend([(66, 29), (74, 30), (70, 21), (79, 23)].map(strand));
            drawn.push(metal(OPEN));
        }
    }
    drawn
}

/// The insulation crimp around insulation and strands.
pub(super) fn insulation(crimp: Insulation) -> Vec<Element> {
    let strands = [
        (72, 37),
        (66, 34),
        (78, 34),
        (66, 41),
        (78, 41),
        (72, 44),
        (72, 30),
    ];
    let mut drawn: Vec<Element> = strands.map(strand).into();
    drawn.push(area("M56 37a16 16 0 1 0 32 0a16 16 0 1 0-32 0z"));
    drawn.push(metal(match crimp {
        Insulation::Held => "M70 18a19 19 0 1 0 4 0",
        Insulation::Pierced => "M71 39l-9-19a19 19 0 1 0 20 0l-9 19",
    }));
    drawn
}
