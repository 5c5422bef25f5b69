//! Draws a text as a QR code, in SVG.
//!
//! The text is encoded as bytes. The encoder would otherwise choose a mode by the bytes (Kanji among others), which
//! could turn UTF-8 into something else. If the text is not plain ASCII the code declares UTF-8, because readers would
//! guess.

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

/// The code as an `<svg>` with its size in millimetres.
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

/// Size of a module in micrometres, for a code of `side` modules including its margin.
fn module(side: usize) -> usize {
    MODULE_MICROMETRES.min(WIDEST_MICROMETRES / side)
}

/// The smallest code that can hold the text.
fn code(text: &str) -> Result<QrCode, QrError> {
    for version in (1..=40).map(Version::Normal) {
        let mut bits = Bits::new(version);
        // The byte count needs fewer bits in a small code.
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

/// The dark modules as a path; adjacent ones form one rectangle.
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
