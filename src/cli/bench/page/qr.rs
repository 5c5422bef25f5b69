//! A text as a QR code for a terminal: two modules in each character.

use anstyle::{AnsiColor, Color, Style};
use qrcode::types::QrError;
use qrcode::{EcLevel, QrCode, types};
use std::fmt::Write as _;

/// Light modules around the code (ISO/IEC 18004 asks for four).
const QUIET: isize = 4;

/// The colours are set, so that a light terminal does not show a negative, which some cameras cannot read.
const STYLE: Style = Style::new()
    .fg_color(Some(Color::Ansi(AnsiColor::BrightWhite)))
    .bg_color(Some(Color::Ansi(AnsiColor::Black)));

/// The code, each line indented; light modules are drawn, dark ones left empty.
pub(super) fn drawn(text: &str) -> Result<String, QrError> {
    // It is read from a screen, where nothing damages it, so the smallest code is the best.
    let code = QrCode::with_error_correction_level(text, EcLevel::L)?;
    let width = isize::try_from(code.width()).unwrap_or_default();
    let colors = code.to_colors();
    let is_light = |row: isize, column: isize| {
        let inside = (0..width).contains(&row) && (0..width).contains(&column);
        let at = usize::try_from(row * width + column).ok();
        let module = at.filter(|_| inside).and_then(|at| colors.get(at));
        module.is_none_or(|color| *color == types::Color::Light)
    };
    let mut drawn = String::new();
    for row in (-QUIET..width + QUIET).step_by(2) {
        let last = row + 1 >= width + QUIET;
        let line: String = (-QUIET..width + QUIET)
            .map(
                |column| match (is_light(row, column), !last && is_light(row + 1, column)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                },
            )
            .collect();
        let _ = writeln!(drawn, "  {STYLE}{line}{STYLE:#}"); // writing to a String cannot fail
    }
    Ok(drawn)
}
