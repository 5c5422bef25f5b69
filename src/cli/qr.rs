//! Draws a text as a QR code, in SVG.
//!
//! The text is encoded as bytes. The encoder would otherwise choose a mode by the bytes (Kanji among others), which
//! could turn UTF-8 into something else. If the text is not plain ASCII the code declares UTF-8, because readers would
//! guess. The end of a label's text is encoded as capital letters and digits, which takes fewer modules.

use crate::markup::{Element, el};
use qrcode::bits::Bits;
use qrcode::types::{Color, QrError};
use qrcode::{EcLevel, QrCode, Version};
use std::fmt::Write as _;

/// Width of the light margin, in modules (ISO/IEC 18004 requires four).
const QUIET: usize = 4;
/// Error correction level: about 15 % of the code may be unreadable.
const LEVEL: EcLevel = EcLevel::M;
/// Number of UTF-8 among the extended channel interpretations (AIM ECI assignments; from memory, confirmed with two
/// decoders).
const UTF_8: u32 = 26;
/// Printed size of a module where there is room, in micrometres.
const MODULE_MICROMETRES: usize = 800;
/// Maximum width of a code, in micrometres. The longest card still has modules above half a millimetre.
const WIDEST_MICROMETRES: usize = 50_000;

/// A text as modules.
pub(super) struct Code {
    modules: Vec<Color>,
    width: usize,
}

impl Code {
    /// The smallest code of the text as bytes.
    pub(super) fn of_bytes(text: &str) -> Result<Self, QrError> {
        Self::of(text, "")
    }

    /// The smallest code of the text; its end of capital letters and digits takes fewer modules.
    pub(super) fn new(text: &str) -> Result<Self, QrError> {
        let is_other = |sign: char| !is_alphanumeric(sign);
        let at = text.rfind(is_other).and_then(|at| {
            text.get(at..)?
                .char_indices()
                .nth(1)
                .map(|(long, _)| at + long)
        });
        let at = at.unwrap_or(if text.contains(is_other) {
            text.len()
        } else {
            0
        });
        let (bytes, end) = text.split_at_checked(at).unwrap_or((text, ""));
        Self::of(bytes, end)
    }

    fn of(bytes: &str, end: &str) -> Result<Self, QrError> {
        for version in (1..=40).map(Version::Normal) {
            let mut bits = Bits::new(version);
            // The counts need fewer bits in a small code.
            match put(&mut bits, bytes, end) {
                Ok(()) => {
                    let code = QrCode::with_bits(bits, LEVEL)?;
                    return Ok(Self {
                        width: code.width(),
                        modules: code.to_colors(),
                    });
                }
                Err(QrError::DataTooLong) => {}
                Err(error) => return Err(error),
            }
        }
        Err(QrError::DataTooLong)
    }

    /// Modules of a side with the light margin.
    pub(super) fn side(&self) -> usize {
        self.width + 2 * QUIET
    }

    /// The dark modules as a path; adjacent ones form one rectangle. A module is one unit, the margin is left light.
    pub(super) fn path(&self) -> String {
        let mut path = String::new();
        for (y, row) in self.modules.chunks(self.width).enumerate() {
            let mut x = 0;
            for run in row.chunk_by(|one, next| one == next) {
                if run.first() == Some(&Color::Dark) {
                    let (x, y, long) = (x + QUIET, y + QUIET, run.len());
                    let _ = write!(path, "M{x} {y}h{long}v1h-{long}z");
                }
                x += run.len();
            }
        }
        path
    }
}

/// The code of a card as an `<svg>` with its size in millimetres.
pub(super) fn svg(text: &str) -> Result<Element, QrError> {
    let code = Code::of_bytes(text)?;
    let side = code.side();
    let printed = side * module(side);
    let mm = format!("{}.{:03}mm", printed / 1000, printed % 1000);
    let whole = side.to_string();
    let paper = el("rect").with("width", &*whole).with("height", &*whole);
    let dark = el("path").with("fill", "#000");
    Ok(el("svg")
        .with("role", "img")
        .with("aria-label", "QR code")
        .with("width", &*mm)
        .with("height", &*mm)
        .with("viewBox", format!("0 0 {side} {side}"))
        .with("shape-rendering", "crispEdges")
        .child(paper.with("fill", "#fff"))
        .child(dark.with("d", code.path())))
}

/// Size of a module in micrometres, for a code of `side` modules including its margin.
fn module(side: usize) -> usize {
    MODULE_MICROMETRES.min(WIDEST_MICROMETRES / side)
}

/// The characters of the alphanumeric mode (ISO/IEC 18004; from memory, confirmed with two decoders).
fn is_alphanumeric(sign: char) -> bool {
    sign.is_ascii_uppercase() || sign.is_ascii_digit() || " $%*+-./:".contains(sign)
}

fn put(bits: &mut Bits, bytes: &str, end: &str) -> Result<(), QrError> {
    if !bytes.is_ascii() {
        bits.push_eci_designator(UTF_8)?;
    }
    if !bytes.is_empty() || end.is_empty() {
        bits.push_byte_data(bytes.as_bytes())?;
    }
    if !end.is_empty() {
        bits.push_alphanumeric_data(end.as_bytes())?;
    }
    bits.push_terminator(LEVEL)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::card::LONGEST_CARD;

    #[test]
    fn the_longest_card_prints_with_modules_of_half_a_millimetre() {
        let side = Code::of_bytes(&"x".repeat(LONGEST_CARD)).unwrap().side();
        assert!(module(side) >= 500, "{} µm", module(side));
        let short = Code::of_bytes("tj/arm/pump-own").unwrap().side();
        assert_eq!(module(short), MODULE_MICROMETRES);
    }

    #[test]
    fn only_the_end_of_a_text_is_capital_letters() {
        for (text, fewer) in [
            ("TJ1 SERIES 37 ACCEPTED ENTRY 412 DIGEST", true),
            ("TJ1 JOB Müller ACCEPTED ENTRY 412 DIGEST", true),
            ("tj/arm/pump-own", false),
            ("", false),
        ] {
            let text = text.replace("DIGEST", &"0123456789ABCDEF".repeat(4));
            let (short, long) = (Code::new(&text).unwrap(), Code::of_bytes(&text).unwrap());
            assert_eq!(short.side() < long.side(), fewer, "{text}");
        }
    }

    #[test]
    fn beyond_what_a_code_holds_is_an_error() {
        assert_eq!(svg(&"x".repeat(2332)).err(), Some(QrError::DataTooLong));
        assert!(svg(&"x".repeat(2331)).is_ok());
    }
}
