//! `bcd13-hex` and `bcd13-packed`: thirteen BCD nibbles of the clock-and-data gauge port.
//!
//! ```text
//! nibble   1–4   5      6–11                 12                    13
//!          F     sign   six digits,          digits after          unit
//!          each  0 +    most significant     the point, 0 to 5     0 mm
//!                8 −    first                                      1 in
//! ```
//!
//! `-1.63 mm` is `F F F F 8 0 0 0 1 6 3 2 0`. As a line: those thirteen hexadecimal digits. Packed:
//! seven bytes, the first nibble in the high half, the last low half 0. The layout is common
//! practice, from memory.

use super::hex;
use super::{Fields, FrameFormat, Pattern};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;
use crate::quantity::{Decimal, Unit};

pub(super) const HEX: FrameFormat = FrameFormat {
    name: "bcd13-hex",
    framing: Framing::Delimited { longest: 32 },
    fields: line,
};

pub(super) const PACKED: FrameFormat = FrameFormat {
    name: "bcd13-packed",
    framing: Framing::IdleGap { length: 7 },
    fields: packed,
};

fn line(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    fields(hex::nibbles(body)?)
}

fn packed(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    let bytes: [u8; 7] = hex::exactly(body)?;
    let mut nibbles = bytes.iter().flat_map(|byte| [byte >> 4, byte & 0x0f]);
    let thirteen = std::array::from_fn(|_| nibbles.next().unwrap_or_default());
    match nibbles.next() {
        Some(0) => fields(thirteen),
        Some(got) => Err(illegal("last half byte", got, "0")),
        None => Err(DecodeError::NoDigits),
    }
}

fn fields(nibbles: [u8; 13]) -> Result<Fields, DecodeError> {
    let [head @ .., sign, d1, d2, d3, d4, d5, d6, decimals, unit] = nibbles;
    let head: [u8; 4] = head;
    if let Some(got) = head.iter().find(|nibble| **nibble != 0xf) {
        return Err(illegal("head", *got, "four F"));
    }
    let negative = match sign {
        0 => false,
        8 => true,
        got => return Err(illegal("sign", got, "0 for plus or 8 for minus")),
    };
    let mut coefficient = 0;
    for digit in [d1, d2, d3, d4, d5, d6] {
        if digit > 9 {
            return Err(illegal("digit", digit, "0 to 9"));
        }
        coefficient = coefficient * 10 + i64::from(digit);
    }
    if decimals > 5 {
        return Err(illegal(
            "place of the point",
            decimals,
            "0 to 5 digits after it",
        ));
    }
    let unit = match unit {
        0 => Unit::Millimetre,
        1 => Unit::Inch,
        got => return Err(illegal("unit", got, "0 for mm or 1 for in")),
    };
    let signed = if negative { -coefficient } else { coefficient };
    Ok(Fields {
        unit: Some(unit),
        ..Fields::digits(Decimal::new(signed, decimals))
    })
}

fn illegal(what: &'static str, got: u8, want: &'static str) -> DecodeError {
    DecodeError::Illegal {
        what,
        got: format!("{got:X}"),
        want,
    }
}
