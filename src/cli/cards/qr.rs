//! A text as a QR code, drawn as SVG.
//!
//! The text goes in as bytes, whatever they are: a mode that the encoder picks by what the bytes look
//! like (Kanji among them) would let a reader turn UTF-8 into something else. Beyond ASCII the code says
//! that it is UTF-8, or readers guess.

use crate::markup::{Element, el};
use qrcode::bits::Bits;
use qrcode::types::{Color, QrError};
use qrcode::{EcLevel, QrCode, Version};
use std::fmt::Write as _;

/// Light modules around the code (ISO/IEC 18004 asks for four).
const QUIET: usize = 4;
/// About 15 % of a code may be unreadable.
const LEVEL: EcLevel = EcLevel::M;
/// "UTF-8" among the extended channel interpretations (AIM ECI assignments; from memory, and two decoders read it so).
const UTF_8: u32 = 26;
/// A module as printed, in micrometres, where there is room.
const MODULE_MICROMETRES: usize = 800;
/// The widest that a code may get, in micrometres; the longest card still has modules over half a millimetre.
const WIDEST_MICROMETRES: usize = 50_000;

/// The code as an `<svg>` of a size in millimetres.
pub(super) fn svg(text: &str) -> Result<Element, QrError> {
    let code = code(text)?;
    let width = code.width();
    let side = width + 2 * QUIET;
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
        .child(dark.with("d", path(&code.to_colors(), width))))
}

/// Micrometres for one module, in a code of `side` modules with its quiet zone.
fn module(side: usize) -> usize {
    MODULE_MICROMETRES.min(WIDEST_MICROMETRES / side)
}

/// The smallest code that holds the bytes.
fn code(text: &str) -> Result<QrCode, QrError> {
    for version in (1..=40).map(Version::Normal) {
        let mut bits = Bits::new(version);
        // The count of bytes, too, has less room in a small code.
        match put(&mut bits, text) {
            Ok(()) => return QrCode::with_bits(bits, LEVEL),
            Err(QrError::DataTooLong) => {}
            Err(error) => return Err(error),
        }
    }
    Err(QrError::DataTooLong)
}

fn put(bits: &mut Bits, text: &str) -> Result<(), QrError> {
    if !text.is_ascii() {
        bits.push_eci_designator(UTF_8)?;
    }
    bits.push_byte_data(text.as_bytes())?;
    bits.push_terminator(LEVEL)
}

/// The dark modules, those beside each other as one rectangle.
fn path(modules: &[Color], width: usize) -> String {
    let mut path = String::new();
    for (y, row) in modules.chunks(width).enumerate() {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::station::card::LONGEST_CARD;

    #[test]
    fn the_longest_card_prints_with_modules_of_half_a_millimetre() {
        let side = code(&"x".repeat(LONGEST_CARD)).unwrap().width() + 2 * QUIET;
        assert!(module(side) >= 500, "{} µm", module(side));
        let short = code("tj/arm/pump-own").unwrap().width() + 2 * QUIET;
        assert_eq!(module(short), MODULE_MICROMETRES);
    }

    #[test]
    fn beyond_what_a_code_holds_is_an_error() {
        assert_eq!(svg(&"x".repeat(2332)).err(), Some(QrError::DataTooLong));
        assert!(svg(&"x".repeat(2331)).is_ok());
    }
}
