//! `word48-hex` and `word48-packed`: two 24-bit words in two's complement, the absolute position,
//! then the relative one (what the display shows), each in ticks of 1/20480 in.
//!
//! Absolute minus relative is the origin: when it changes, the zero key was pressed, at a known
//! opening. 1.63 mm at an origin of 0 is 1314 ticks = 0x000522: `000522000522`. As a line: twelve
//! hexadecimal digits, the absolute word first. Packed: six bytes, bits 1–8 of each word first
//! (`22 05 00 22 05 00`). The layout is common practice, from memory.

use super::hex;
use super::{Fields, FrameFormat, Number, Pattern};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;
use crate::quantity::{Decimal, Length, Unit};

pub(super) const HEX: FrameFormat = FrameFormat {
    name: "word48-hex",
    framing: Framing::Delimited { longest: 32 },
    fields: line,
};

pub(super) const PACKED: FrameFormat = FrameFormat {
    name: "word48-packed",
    framing: Framing::IdleGap { length: 6 },
    fields: packed,
};

/// Ticks of the scale in an inch.
const PER_INCH: i64 = 20_480;

/// A position on the scale, in ticks of 1/20480 in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticks(pub i32);

impl Ticks {
    /// The position, rounded to the nearest nanometre.
    pub fn length(self) -> Length {
        Length::from_nanometres(nearest(i64::from(self.0) * 25_400_000, PER_INCH))
    }

    /// What the display shows: whole steps of 0.0005 in, or of 0.01 mm for any other unit.
    pub fn shown_in(self, unit: Unit) -> (Decimal, Unit) {
        let ticks = i64::from(self.0);
        if unit == Unit::Inch {
            (
                Decimal::new(nearest(ticks * 2_000, PER_INCH) * 5, 4),
                Unit::Inch,
            )
        } else {
            (
                Decimal::new(nearest(ticks * 2_540, PER_INCH), 2),
                Unit::Millimetre,
            )
        }
    }
}

/// `numerator / denominator` to the nearest whole number, halves away from zero.
fn nearest(numerator: i64, denominator: i64) -> i64 {
    let half = denominator / 2;
    if numerator < 0 {
        (numerator - half) / denominator
    } else {
        (numerator + half) / denominator
    }
}

fn line(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    let digits = hex::nibbles::<12>(body)?;
    let (absolute, relative) = digits.split_at(6);
    Ok(fields(hex::word(absolute), hex::word(relative)))
}

fn packed(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    let bytes = hex::exactly::<6>(body)?;
    let (absolute, relative) = bytes.split_at(3);
    Ok(fields(
        hex::word_of_bytes(absolute),
        hex::word_of_bytes(relative),
    ))
}

/// The fields of two words. Every pair of words is valid, so this format refuses no frame.
fn fields(absolute: u32, relative: u32) -> Fields {
    let (absolute, relative) = (signed(absolute), signed(relative));
    Fields {
        number: Number::Ticks(Ticks(relative)),
        unit: None,
        channel: None,
        origin: Some(Ticks(absolute - relative)),
    }
}

/// A 24-bit word in two's complement.
fn signed(word: u32) -> i32 {
    let word = i32::try_from(word & 0x00ff_ffff).unwrap_or_default();
    if word >= 1 << 23 {
        word - (1 << 24)
    } else {
        word
    }
}
