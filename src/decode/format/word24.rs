//! `word24-hex` and `word24-packed`: a 24-bit word of sign and magnitude.
//!
//! ```text
//! bit   1–20        21      22, 23   24
//!       magnitude   minus   zero     inch
//! ```
//!
//! The magnitude counts 0.01 mm, or 0.0005 in. `-1.63 mm` is 163 = 0xA3 with bit 21: `1000A3`.
//! As a line: the six hexadecimal digits of the number. Packed: three bytes, bits 1–8 first
//! (`A3 00 10`). The layout is common practice, from memory.

use super::hex;
use super::{Fields, FrameFormat, Pattern};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;
use crate::quantity::{Decimal, Unit};

pub(super) const HEX: FrameFormat = FrameFormat {
    name: "word24-hex",
    framing: Framing::Delimited { longest: 16 },
    fields: line,
};

pub(super) const PACKED: FrameFormat = FrameFormat {
    name: "word24-packed",
    framing: Framing::IdleGap { length: 3 },
    fields: packed,
};

const MAGNITUDE: u32 = (1 << 20) - 1;
const MINUS: u32 = 1 << 20;
const ALWAYS_ZERO: u32 = 0b11 << 21;
const INCH: u32 = 1 << 23;

fn line(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    fields(hex::word(&hex::nibbles::<6>(body)?))
}

fn packed(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    fields(hex::word_of_bytes(&hex::exactly::<3>(body)?))
}

fn fields(word: u32) -> Result<Fields, DecodeError> {
    if word & ALWAYS_ZERO != 0 {
        return Err(DecodeError::Illegal {
            what: "bits 22 and 23",
            got: format!("{:02b}", (word & ALWAYS_ZERO) >> 21),
            want: "00",
        });
    }
    let magnitude = i64::from(word & MAGNITUDE);
    let steps = if word & MINUS == 0 {
        magnitude
    } else {
        -magnitude
    };
    let (digits, unit) = if word & INCH == 0 {
        (Decimal::new(steps, 2), Unit::Millimetre)
    } else {
        (Decimal::new(steps * 5, 4), Unit::Inch)
    };
    Ok(Fields {
        unit: Some(unit),
        ..Fields::digits(digits)
    })
}
