//! The frames of the virtual caliper: a value as the bytes that a real instrument sends.
//!
//! It is written from the layouts and independently of `decode`, so that a round trip through both proves something.
//! `decode/format` describes each layout bit by bit.

use crate::decode::format::Ticks;
use crate::quantity::{Decimal, Quantity, Unit};

/// The frame format.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sends {
    /// `decimal-line`: `+1.63` and CR.
    DecimalLine {
        /// Whether it includes the unit: `+1.63mm`.
        with_unit: bool,
    },
    /// `channel-line`: `01A+1.63` and CR.
    ChannelLine {
        /// Channel from 0 to 99.
        channel: u8,
    },
    /// `bcd13-hex` or `bcd13-packed`: `-1.63 mm` is `FFFF800016320`.
    Bcd13(Form),
    /// `word24-hex` or `word24-packed`: `-1.63 mm` is `1000A3`.
    Word24(Form),
    /// `word48-hex` or `word48-packed`: `1.63 mm` is `000522000522` at an origin of 0.
    Word48 {
        /// Form of the bits.
        form: Form,
        /// Position of the display's origin on the scale, in ticks. The absolute word is greater than the relative one
        /// by this.
        origin: Ticks,
    },
}

/// Form of the bits in a binary frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// A line of hexadecimal digits and CR.
    Hex,
    /// The bytes themselves; frames are separated by silence.
    Packed,
}

/// A value that does not fit into a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("no frame for {digits} {unit}, want {want}")]
pub struct NoFrame {
    /// The digits to send.
    pub digits: Decimal,
    /// Their unit.
    pub unit: Unit,
    /// What the format can represent.
    pub want: &'static str,
}

impl Sends {
    /// The bytes of a frame, with its terminator.
    pub fn frame(self, digits: Decimal, unit: Unit) -> Result<Vec<u8>, NoFrame> {
        let sign = if digits.coefficient() < 0 { "" } else { "+" };
        let no_frame = |want| NoFrame { digits, unit, want };
        match self {
            Self::DecimalLine { with_unit: true } => Ok(line(&format!("{sign}{digits}{unit}"))),
            Self::DecimalLine { with_unit: false } => Ok(line(&format!("{sign}{digits}"))),
            Self::ChannelLine { channel } => {
                Ok(line(&format!("{:02}A{sign}{digits}", channel.min(99))))
            }
            Self::Bcd13(form) => bcd13(digits, unit)
                .map(|nibbles| match form {
                    Form::Hex => line(&nibbles),
                    Form::Packed => packed_nibbles(&nibbles),
                })
                .ok_or(no_frame("mm or in, six digits, at most 5 after the point")),
            Self::Word24(form) => word24(digits, unit)
                .map(|word| match form {
                    Form::Hex => line(&format!("{word:06X}")),
                    Form::Packed => low_bits_first(word),
                })
                .ok_or(no_frame(
                    "whole steps of 0.01 mm or 0.0005 in, under 2^20 of them",
                )),
            Self::Word48 { form, origin } => word48(digits, unit, origin)
                .map(|(absolute, relative)| match form {
                    Form::Hex => line(&format!("{absolute:06X}{relative:06X}")),
                    Form::Packed => [low_bits_first(absolute), low_bits_first(relative)].concat(),
                })
                .ok_or(no_frame(
                    "mm or in, within 2^23 ticks of 1/20480 in either way",
                )),
        }
    }
}

fn line(text: &str) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    bytes.push(b'\r');
    bytes
}

/// The thirteen nibbles as hexadecimal digits.
fn bcd13(digits: Decimal, unit: Unit) -> Option<String> {
    let magnitude = digits.coefficient().unsigned_abs();
    if magnitude > 999_999 || digits.decimals() > 5 {
        return None;
    }
    let sign = if digits.coefficient() < 0 { 8 } else { 0 };
    let unit = i32::from(is_inch(unit)?);
    Some(format!(
        "FFFF{sign}{magnitude:06}{}{unit}",
        digits.decimals()
    ))
}

/// Two nibbles in each byte, the first in the high half. An odd last one is followed by 0.
fn packed_nibbles(hex: &str) -> Vec<u8> {
    let nibbles: Vec<u8> = hex
        .chars()
        .filter_map(|digit| u8::try_from(digit.to_digit(16)?).ok())
        .collect();
    let byte = |pair: &[u8]| {
        let (high, low) = (pair.first(), pair.get(1));
        high.map_or(0, |high| high << 4) | low.copied().unwrap_or_default()
    };
    nibbles.chunks(2).map(byte).collect()
}

/// Sign and magnitude in whole steps.
fn word24(digits: Decimal, unit: Unit) -> Option<u32> {
    let inch = is_inch(unit)?;
    let steps = if inch {
        let tenths = in_steps_of(digits, 4)?;
        (tenths % 5 == 0).then_some(tenths / 5)?
    } else {
        in_steps_of(digits, 2)?
    };
    let magnitude = u32::try_from(steps.unsigned_abs()).ok()?;
    let minus = u32::from(steps < 0) << 20;
    (magnitude < 1 << 20).then_some(u32::from(inch) << 23 | minus | magnitude)
}

/// The absolute and the relative word in two's complement.
fn word48(digits: Decimal, unit: Unit, origin: Ticks) -> Option<(u32, u32)> {
    let (ticks_per_unit, parts) = if is_inch(unit)? {
        (20_480_i128, 1)
    } else {
        (204_800_i128, 254)
    };
    let divisor = parts * 10_i128.checked_pow(u32::from(digits.decimals()))?;
    let numerator = i128::from(digits.coefficient()) * ticks_per_unit;
    let half = if numerator < 0 { -divisor } else { divisor };
    let relative = i32::try_from((2 * numerator + half) / (2 * divisor)).ok()?;
    let absolute = relative.checked_add(origin.0)?;
    Some((twos_complement(absolute)?, twos_complement(relative)?))
}

fn twos_complement(value: i32) -> Option<u32> {
    let fits = (-(1 << 23)..1 << 23).contains(&value);
    fits.then(|| u32::from_ne_bytes(value.to_ne_bytes()) & 0x00ff_ffff)
}

/// Three bytes, with bits 1 to 8 first.
fn low_bits_first(word: u32) -> Vec<u8> {
    let [first, second, third, _] = word.to_le_bytes();
    vec![first, second, third]
}

/// The number times ten to the `decimals`, if that is a whole number.
fn in_steps_of(digits: Decimal, decimals: u8) -> Option<i64> {
    let (more, less) = (
        decimals.saturating_sub(digits.decimals()),
        digits.decimals().saturating_sub(decimals),
    );
    let finer = digits
        .coefficient()
        .checked_mul(10_i64.checked_pow(u32::from(more))?)?;
    let divisor = 10_i64.checked_pow(u32::from(less))?;
    (finer % divisor == 0).then_some(finer / divisor)
}

/// Whether the unit is inches; `None` for units that no caliper shows.
fn is_inch(unit: Unit) -> Option<bool> {
    match unit {
        Unit::Millimetre => Some(false),
        Unit::Inch => Some(true),
        Unit::Centimetre
        | Unit::Micrometre
        | Unit::Newton
        | Unit::Kilonewton
        | Unit::KilogramForce
        | Unit::PoundForce => None,
    }
}

/// The resolution of a display.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Resolution {
    /// The smallest step, such as `0.01` or `0.0005`; its decimals are those of the display.
    pub step: Decimal,
    /// The displayed unit.
    pub unit: Unit,
}

impl Resolution {
    /// 0.01 mm, of a common caliper.
    pub const HUNDREDTH_MM: Self = Self {
        step: Decimal::new(1, 2),
        unit: Unit::Millimetre,
    };

    /// 0.0005 in, of the same caliper in inches.
    pub const HALF_THOU: Self = Self {
        step: Decimal::new(5, 4),
        unit: Unit::Inch,
    };

    /// Number of steps nearest to `nanometres` (halves away from zero); 0 if the step is not a length.
    pub(super) fn steps_in(self, nanometres: i64) -> i64 {
        let step = Quantity::of(self.step, self.unit).map_or(0, Quantity::base);
        let half = if nanometres < 0 { -step / 2 } else { step / 2 };
        nanometres
            .saturating_add(half)
            .checked_div(step)
            .unwrap_or(0)
    }

    /// The display at this number of steps.
    pub fn show(self, steps: i64) -> Decimal {
        Decimal::new(
            self.step.coefficient().saturating_mul(steps),
            self.step.decimals(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(sends: Sends, digits: &str, unit: Unit) -> String {
        let bytes = sends.frame(digits.parse().unwrap(), unit).unwrap();
        let digits: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
        digits.concat()
    }

    fn text(sends: Sends, digits: &str, unit: Unit) -> String {
        let bytes = sends.frame(digits.parse().unwrap(), unit).unwrap();
        String::from_utf8(bytes).unwrap()
    }

    // From memory of common practice, as hardware-notes/formats.md says.
    #[test]
    fn the_binary_frames_are_those_of_the_notes() {
        let (mm, inch) = (Unit::Millimetre, Unit::Inch);
        let word48 = |form, origin| Sends::Word48 {
            form,
            origin: Ticks(origin),
        };
        assert_eq!(
            text(Sends::Bcd13(Form::Hex), "-1.63", mm),
            "FFFF800016320\r"
        );
        assert_eq!(
            hex(Sends::Bcd13(Form::Packed), "-1.63", mm),
            "FFFF8000163200"
        );
        assert_eq!(
            hex(Sends::Bcd13(Form::Packed), "0.0640", inch),
            "FFFF0000640410"
        );
        assert_eq!(text(Sends::Word24(Form::Hex), "-1.63", mm), "1000A3\r");
        assert_eq!(hex(Sends::Word24(Form::Packed), "-1.63", mm), "A30010");
        assert_eq!(hex(Sends::Word24(Form::Packed), "0.0640", inch), "800080");
        assert_eq!(text(word48(Form::Hex, 0), "1.63", mm), "000522000522\r");
        assert_eq!(hex(word48(Form::Packed, 0), "1.63", mm), "220500220500");
        assert_eq!(text(word48(Form::Hex, -1), "0.00", mm), "FFFFFF000000\r");
    }

    #[test]
    fn a_value_that_a_frame_has_no_room_for_is_refused() {
        for (sends, digits, unit) in [
            (Sends::Bcd13(Form::Hex), "1000000", Unit::Millimetre),
            (Sends::Bcd13(Form::Hex), "0.000001", Unit::Millimetre),
            (Sends::Bcd13(Form::Hex), "1.62", Unit::Newton),
            (Sends::Word24(Form::Hex), "1.625", Unit::Millimetre),
            (Sends::Word24(Form::Hex), "0.0001", Unit::Inch),
            (Sends::Word24(Form::Hex), "10485.76", Unit::Millimetre),
        ] {
            let digits = digits.parse().unwrap();
            let refused = sends.frame(digits, unit).unwrap_err();
            assert_eq!((refused.digits, refused.unit), (digits, unit));
        }
    }
}
