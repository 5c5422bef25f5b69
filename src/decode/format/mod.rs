//! The table of frame formats. To add one: a file beside this one and a row in [`FORMATS`].

mod bcd13;
mod channel_line;
mod decimal_line;
mod hex;
mod pattern;
mod word24;
mod word48;

use super::DecodeError;
use super::framing::Framing;
use crate::quantity::{Decimal, Unit};

pub use pattern::{Pattern, PatternError};
pub use word48::Ticks;

/// What one whole frame says literally; no unit conversion, no judgement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fields {
    /// The number with its sign, not yet a quantity.
    pub number: Number,
    /// The unit, where the frame carries one.
    pub unit: Option<Unit>,
    /// The channel, where the frame carries one.
    pub channel: Option<u8>,
    /// The position of the display's zero on the scale, where the frame carries it.
    pub origin: Option<Ticks>,
}

/// A number as a frame carries it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Number {
    /// Digits as on the display.
    Digits(Decimal),
    /// Ticks of the scale; the display rounds them to its own steps.
    Ticks(Ticks),
}

#[cfg(test)]
/// The digits of a frame that carries digits.
pub(super) fn shown(fields: &Fields) -> String {
    match fields.number {
        Number::Digits(digits) => digits.to_string(),
        Number::Ticks(ticks) => panic!("{ticks:?} are no digits"),
    }
}

impl Fields {
    /// Digits without unit, channel or origin.
    pub(super) fn digits(digits: Decimal) -> Self {
        Self {
            number: Number::Digits(digits),
            unit: None,
            channel: None,
            origin: None,
        }
    }
}

/// A frame format: its name, its framing and its reader.
#[derive(Debug)]
pub struct FrameFormat {
    /// The name in configuration files; it never changes.
    pub name: &'static str,
    /// Where a frame starts and ends.
    pub framing: Framing,
    /// Reads one whole frame literally. The pattern is the user's own; only the format `pattern` uses it.
    pub fields: fn(&[u8], Option<&Pattern>) -> Result<Fields, DecodeError>,
}

/// Every frame format we read.
pub const FORMATS: &[&FrameFormat] = &[
    &decimal_line::FORMAT,
    &channel_line::FORMAT,
    &bcd13::HEX,
    &bcd13::PACKED,
    &word24::HEX,
    &word24::PACKED,
    &word48::HEX,
    &word48::PACKED,
    &pattern::FORMAT,
];

impl FrameFormat {
    /// The format of this name.
    pub fn from_name(name: &str) -> Option<&'static Self> {
        FORMATS.iter().copied().find(|format| format.name == name)
    }

    /// Whether its frames are lines of text; the other formats need eight data bits.
    pub fn is_text(&self) -> bool {
        match self.framing {
            Framing::Delimited { .. } => true,
            Framing::IdleGap { .. } => false,
        }
    }

    /// Whether it needs the user's own pattern.
    pub fn needs_pattern(&self) -> bool {
        self.name == pattern::FORMAT.name
    }
}
