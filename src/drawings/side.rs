//! A crimp from the side: contact, core crimp, bare strands, insulation crimp, wire; from left to right.

use super::{area, line, of_width};
use crate::markup::Element;

/// The features of a crimp in a drawing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// The contact is bent up.
    pub(super) bent: bool,
    /// The core crimp has a bellmouth at the wire side.
    pub(super) bell: bool,
    /// Position of the strands' ends within or in front of the core crimp, if it is shown through the metal.
    pub(super) strands_end: Option<u32>,
    /// A strand is outside the core crimp.
    pub(super) loose: bool,
    /// The part between the two crimps.
    pub(super) bare: Bare,
    pub(super) seal: Seal,
}

/// The part between the two crimps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Bare {
    /// Whole strands, then insulation.
    Whole,
    /// Strands of which some are cut or nicked.
    Damaged,
    /// Insulation, into the core crimp.
    Covered,
}

/// A seal on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Seal {
    None,
    /// Its neck is in the insulation crimp.
    Held,
    /// It has slipped off, and is torn.
    Loose,
}

impl Default for Side {
    fn default() -> Self {
        Self {
            bent: false,
            bell: true,
            strands_end: None,
            loose: false,
            bare: Bare::Whole,
            seal: Seal::None,
        }
    }
}

/// Width of the drawing of a pull test.
pub(super) const PULLED_WIDTH: u32 = 190;

const CONTACT: &str = "M4 29h26v17H4zM4 35h26M10 29v-4h12v4M30 33l7 8h13M30 46h20";
const BRUSH: &str = "M50 34h-5M50 37h-7M50 40h-6M50 43h-4";
const CORE: &str = "M50 29q2 1 5 1h16q4 0 7-5v25q-3-4-7-4H55q-3 0-5 1z";
const CORE_WITHOUT_BELL: &str = "M50 29q2 1 5 1h23v16H55q-3 0-5 1z";
const FLOOR: &str = "M78 48h18";
const STRANDS: &str = "M78 33h8M78 36h8M78 40h8M78 43h8";
const DAMAGED: &str = "M78 33h2l2-3M84.5 33H86M78 36h8M78 40h2.5l.8 1 .8-1H86M78 43h2l2 3M85 43h1";
const INSULATION: &str = "M96 28H86v19h10";
const COVERED: &str = "M96 28H79v19h17";
const COVERED_WITHIN: &str = "M78 31H66v13h12";
const LOOSE: &str = "M86 33c-3-9-10-13-18-12s-10 2-13-1";
/// The insulation crimp, and the rest of the strip after it: the cut-off tab.
const HOLDER: &str = "M98 24h16q2 0 2 2v22q0 2-2 2H98q-2 0-2-2V26q0-2 2-2zM116 50h5v-3h-5";
const WIRE: &str = "M116 28h24q-4 5 0 9.5t0 9.5h-24";
const NECK: &str = "M96 26H88v23h8M116 26h2v23h-2";
const RIBS: &str = "M118 24q0-3 2.5-3t2.5 3q0-3 2.5-3t2.5 3q0-3 2.5-3t2.5 3v27q0 3-2.5 3t-2.5-3q0 3-2.5 3t-2.5-3q0 3-2.5 3t-2.5-3z";
const RIBS_OFF: &str = "M126 24q0-3 2.5-3t2.5 3q0-3 2.5-3t2.5 3q0-3 2.5-3t2.5 3v10l-6 2 6 3v12q0 3-2.5 3t-2.5-3q0 3-2.5 3t-2.5-3q0 3-2.5 3t-2.5-3z";
const WIRE_BEHIND: &str = "M133 29h11q-3 4 0 8.5t0 8.5h-11";

impl Side {
    pub(super) fn draw(self) -> Vec<Element> {
        let mut contact = line(CONTACT);
        if self.bent {
            contact = contact.with("transform", "rotate(13 44 46)");
        }
        let core = if self.bell { CORE } else { CORE_WITHOUT_BELL };
        let mut drawn = vec![contact, line(core), line(FLOOR)];
        match self.strands_end {
            None => drawn.push(line(BRUSH)),
            Some(end) => {
                let strands = [34, 37, 40, 43].map(|y| format!("M{end} {y}H78"));
                drawn.push(of_width("1.1", line(&strands.concat())));
            }
        }
        match self.bare {
            Bare::Whole => drawn.extend([line(STRANDS), area(INSULATION)]),
            Bare::Damaged => drawn.extend([line(DAMAGED), area(INSULATION)]),
            Bare::Covered => drawn.extend([
                area(COVERED),
                area(COVERED_WITHIN).with("stroke-dasharray", "2 2"),
            ]),
        }
        drawn.push(line(HOLDER));
        match self.seal {
            Seal::None => drawn.push(area(WIRE)),
            Seal::Held => drawn.extend([area(NECK), area(RIBS), area(WIRE_BEHIND)]),
            Seal::Loose => drawn.extend([
                line("M116 29h10M116 46h10M141 29h4M141 46h4"),
                area(RIBS_OFF),
            ]),
        }
        if self.loose {
            drawn.push(of_width("2.4", line(LOOSE)));
        }
        drawn
    }
}

/// A crimp after a pull test with this mode; `None` for the mode `other`.
pub(super) fn pulled(name: &str) -> Option<Vec<Element>> {
    let terminal = [line(CONTACT), line(CORE), line(FLOOR), line(HOLDER)];
    let arrow = of_width("2.4", line("M170 37h16M180 32l6 5-6 5"));
    let rest = match name {
        "pulled_out" => vec![
            line("M148 33h-22M148 36h-24M148 40h-23M148 43h-22"),
            area("M148 28h18q-4 5 0 9.5t0 9.5h-18z"),
        ],
        "broke_at_crimp" => vec![
            line(BRUSH),
            line("M78 33h4M78 36h2M78 40h5M78 43h3"),
            line("M138 33h-5M138 36h-8M138 40h-4M138 43h-7"),
            area("M138 28h28q-4 5 0 9.5t0 9.5h-28z"),
        ],
        "broke_in_wire" => vec![
            line(BRUSH),
            line(STRANDS),
            area(INSULATION),
            area("M116 28h14l-3 5 4 4-4 5 3 5h-14"),
            line("M131 34h4M130 38h6M130 42h3M143 34h3M141 38h5M144 42h2"),
            area("M164 28h-18l3 5-4 4 4 5-3 5h18q-4-5 0-9.5t0-9.5"),
        ],
        _ => return None,
    };
    let mut drawn = terminal.to_vec();
    drawn.extend(rest);
    drawn.push(arrow);
    Some(drawn)
}
