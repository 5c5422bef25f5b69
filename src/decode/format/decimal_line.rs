//! `decimal-line`: sign, digits, point, unit, with spaces around each. Only one digit is required:
//! `+1.63`, `1.63 mm`, `-  0.0005in`, `  12.`.
//!
//! A comma is refused, not read as a point: it may also separate two fields. Channel 1 with the value 62 would then be
//! read as 1.62.

use super::{Fields, FrameFormat, Pattern};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;
use crate::quantity::{Decimal, Unit};

pub(super) const FORMAT: FrameFormat = FrameFormat {
    name: "decimal-line",
    framing: Framing::Delimited { longest: 64 },
    fields,
};

/// Most digits that 64 bits always hold.
const MOST_DIGITS: usize = 18;

fn fields(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    let (digits, after) = number(body, 0)?;
    Ok(Fields {
        unit: unit(body, after)?,
        ..Fields::digits(digits)
    })
}

/// The number at `start` of `body`, and the index of the first byte after it.
pub(super) fn number(body: &[u8], start: usize) -> Result<(Decimal, usize), DecodeError> {
    let sign_at = skip_spaces(body, start);
    let sign = match body.get(sign_at) {
        Some(b'-') => Some(-1),
        Some(b'+') => Some(1),
        Some(_) | None => None,
    };
    let digits_at = skip_spaces(body, sign_at + usize::from(sign.is_some()));
    let mut coefficient = 0_i64;
    let mut digits = 0_usize;
    let mut point_at = None;
    let mut at = digits_at;
    while let Some(byte) = body.get(at) {
        match byte {
            b'0'..=b'9' => {
                digits += 1;
                // Digits that do not fit are counted here and refused below.
                coefficient = coefficient
                    .saturating_mul(10)
                    .saturating_add(i64::from(byte - b'0'));
            }
            b'.' if point_at.is_none() => point_at = Some(digits),
            _ => break,
        }
        at += 1;
    }
    if digits == 0 {
        return Err(no_digits(body, at));
    }
    if digits > MOST_DIGITS {
        return Err(DecodeError::TooManyDigits {
            got: digits,
            most: MOST_DIGITS,
        });
    }
    let decimals = point_at.map_or(0, |before| digits - before);
    let decimals = u8::try_from(decimals).unwrap_or(u8::MAX);
    let coefficient = coefficient.saturating_mul(sign.unwrap_or(1));
    Ok((Decimal::new(coefficient, decimals), at))
}

fn no_digits(body: &[u8], at: usize) -> DecodeError {
    match body.get(at) {
        Some(got) => DecodeError::UnexpectedByte {
            at,
            got: *got,
            want: "a digit",
        },
        None => DecodeError::NoDigits,
    }
}

/// The unit that stands between `start` and the end of `body`; `None` if nothing stands there.
fn unit(body: &[u8], start: usize) -> Result<Option<Unit>, DecodeError> {
    let start = skip_spaces(body, start);
    let rest = body.get(start..).unwrap_or_default();
    let unit = trim_end(rest);
    if unit.is_empty() {
        return Ok(None);
    }
    let known = std::str::from_utf8(unit).ok().and_then(Unit::from_symbol);
    match (known, unit.iter().position(|byte| !may_name_a_unit(*byte))) {
        (Some(known), _) => Ok(Some(known)),
        (None, Some(offset)) => Err(DecodeError::UnexpectedByte {
            at: start + offset,
            got: unit.get(offset).copied().unwrap_or_default(),
            want: "a digit, a point or a unit",
        }),
        (None, None) => Err(DecodeError::UnknownUnit {
            got: String::from_utf8_lossy(unit).into_owned(),
        }),
    }
}

const fn may_name_a_unit(byte: u8) -> bool {
    byte.is_ascii_alphabetic() || matches!(byte, b'"' | b'\'' | b'%')
}

/// The index of the first byte at or after `at` that is not a space.
fn skip_spaces(body: &[u8], at: usize) -> usize {
    let spaces = body.iter().skip(at).take_while(|byte| is_space(**byte));
    at + spaces.count()
}

/// `text` without the spaces at its end.
pub(super) fn trim_end(text: &[u8]) -> &[u8] {
    let end = text.iter().rposition(|byte| !is_space(*byte));
    text.get(..end.map_or(0, |last| last + 1))
        .unwrap_or_default()
}

/// Whether the byte is a space or a tab; other invisible bytes are refused.
pub(super) const fn is_space(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn said(text: &[u8]) -> (String, Option<Unit>) {
        let fields = fields(text, None).unwrap();
        (crate::decode::format::shown(&fields), fields.unit)
    }

    #[test]
    fn the_usual_forms_are_read() {
        let mm = Some(Unit::Millimetre);
        for (text, digits, unit) in [
            (&b"+1.63"[..], "1.63", None),
            (b"1.60", "1.60", None),
            (b"-0.02", "-0.02", None),
            (b"- 0.02 mm ", "-0.02", mm),
            (b"  +  12.345\tmm", "12.345", mm),
            (b"0.0640in", "0.0640", Some(Unit::Inch)),
            (b"0.0640\"", "0.0640", Some(Unit::Inch)),
            (b"+00001.62MM", "1.62", mm),
            (b".5", "0.5", None),
            (b"5.", "5", None),
            (b"+30.5lbf", "30.5", Some(Unit::PoundForce)),
            (b"1.2kN", "1.2", Some(Unit::Kilonewton)),
            (b"1620\xc2\xb5m", "1620", Some(Unit::Micrometre)),
        ] {
            assert_eq!(said(text), (digits.to_owned(), unit), "{text:?}");
        }
    }

    #[test]
    fn what_is_no_value_says_where_it_stops_being_one() {
        let unexpected = |at, got, want| DecodeError::UnexpectedByte { at, got, want };
        let or_unit = "a digit, a point or a unit";
        for (text, want) in [
            (&b""[..], DecodeError::NoDigits),
            (b"   ", DecodeError::NoDigits),
            (b"+", DecodeError::NoDigits),
            (b"+.", DecodeError::NoDigits),
            (b"ERR", unexpected(0, b'E', "a digit")),
            (b"+-1", unexpected(1, b'-', "a digit")),
            (b"1,62", unexpected(1, b',', or_unit)),
            (b"1.6.2", unexpected(3, b'.', or_unit)),
            (b"1.6 2", unexpected(4, b'2', or_unit)),
            (b"1.63\xff", unexpected(4, 0xff, or_unit)),
            (b"\x001.63", unexpected(0, 0, "a digit")),
            (b"\x1b[2J1.63", unexpected(0, 0x1b, "a digit")),
            (b"1.63 mm 2", unexpected(7, b' ', or_unit)),
            (b"1.63\x0c", unexpected(4, 0x0c, or_unit)),
            (b"\xc2\xb5m", unexpected(0, 0xc2, "a digit")),
        ] {
            assert_eq!(fields(text, None).unwrap_err(), want, "{text:?}");
        }
        let parsec = DecodeError::UnknownUnit { got: "pc".into() };
        assert_eq!(fields(b"1.63 pc", None), Err(parsec));
        let too_many = DecodeError::TooManyDigits { got: 19, most: 18 };
        assert_eq!(fields(b"1.234567890123456789", None), Err(too_many));
    }

    proptest! {
        #[test]
        fn a_value_printed_in_any_accepted_form_reads_back_as_itself(
            coefficient in -999_999_999_999_999_999i64..=999_999_999_999_999_999,
            decimals in 0u8..18,
            unit in prop::option::of(0..Unit::ALL.len()),
            plus in any::<bool>(),
            spaces in prop::array::uniform4("[ \t]{0,4}"),
        ) {
            let digits = Decimal::new(coefficient, decimals);
            prop_assume!(digits.to_string().bytes().filter(u8::is_ascii_digit).count() <= MOST_DIGITS);
            let unit = unit.map(|index| Unit::ALL[index]);
            let sign = if coefficient < 0 { "-" } else if plus { "+" } else { "" };
            let magnitude = Decimal::new(coefficient.abs(), decimals);
            let symbol = unit.map_or("", Unit::name);
            let [a, b, c, d] = spaces;
            let text = format!("{a}{sign}{b}{magnitude}{c}{symbol}{d}");
            prop_assert_eq!(fields(text.as_bytes(), None), Ok(Fields { unit, ..Fields::digits(digits) }));
        }

        #[test]
        fn any_bytes_are_read_or_refused_without_a_panic(body in prop::collection::vec(any::<u8>(), 0..80)) {
            let _ = fields(&body, None);
        }
    }
}
