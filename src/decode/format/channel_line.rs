//! `channel-line`: two-digit channel, a letter, signed decimal: `01A+1.63`, `12B-0000.02`.
//!
//! A line of two or three digits that begins with 9 is a fault code of the gauge, not a value. Spaces may stand before
//! and after the line.

use super::decimal_line::{is_space, number, trim_end};
use super::{Fields, FrameFormat, Pattern};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;

pub(super) const FORMAT: FrameFormat = FrameFormat {
    name: "channel-line",
    framing: Framing::Delimited { longest: 64 },
    fields,
};

fn fields(body: &[u8], _: Option<&Pattern>) -> Result<Fields, DecodeError> {
    let start = body.iter().take_while(|byte| is_space(**byte)).count();
    let text = trim_end(body.get(start..).unwrap_or_default());
    if let Some(code) = fault_code(text) {
        return Err(DecodeError::GaugeFault { code });
    }
    // Positions in errors are those of the whole body.
    let body = body.get(..start + text.len()).unwrap_or_default();
    let tens = digit(body, start)?;
    let ones = digit(body, start + 1)?;
    expect(body, start + 2, "a letter", |byte| {
        byte.is_ascii_alphabetic()
    })?;
    expect(body, start + 3, "a sign", |byte| {
        matches!(byte, b'+' | b'-')
    })?;
    let (digits, after) = number(body, start + 3)?;
    match body.get(after) {
        None => Ok(Fields {
            channel: Some(tens * 10 + ones),
            ..Fields::digits(digits)
        }),
        Some(got) => Err(DecodeError::UnexpectedByte {
            at: after,
            got: *got,
            want: "a digit, a point or the end",
        }),
    }
}

fn fault_code(text: &[u8]) -> Option<String> {
    let is_fault = matches!(text.len(), 2 | 3)
        && text.first() == Some(&b'9')
        && text.iter().all(u8::is_ascii_digit);
    is_fault.then(|| String::from_utf8_lossy(text).into_owned())
}

fn digit(body: &[u8], at: usize) -> Result<u8, DecodeError> {
    expect(body, at, "a digit of the channel", |byte| {
        byte.is_ascii_digit()
    })
    .map(|byte| byte - b'0')
}

fn expect(
    body: &[u8],
    at: usize,
    want: &'static str,
    is_wanted: fn(u8) -> bool,
) -> Result<u8, DecodeError> {
    match body.get(at) {
        Some(got) if is_wanted(*got) => Ok(*got),
        Some(got) => Err(DecodeError::UnexpectedByte {
            at,
            got: *got,
            want,
        }),
        None => Err(DecodeError::NoDigits),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Decimal;
    use proptest::prelude::*;

    #[test]
    fn a_line_gives_its_channel_and_its_number() {
        for (text, channel, digits) in [
            (&b"01A+1.63"[..], 1, "1.63"),
            (b"12b-0000.02", 12, "-0.02"),
            (b" 00A+0.00 ", 0, "0.00"),
            (b"91A+1.60", 91, "1.60"), // a channel, not a fault
        ] {
            let fields = fields(text, None).unwrap();
            assert_eq!(fields.channel, Some(channel), "{text:?}");
            assert_eq!(crate::decode::format::shown(&fields), digits, "{text:?}");
        }
    }

    #[test]
    fn a_short_line_that_begins_with_nine_is_a_fault_of_the_gauge() {
        for text in [&b"91"[..], b"911", b" 99 "] {
            let code = String::from_utf8_lossy(text.trim_ascii()).into_owned();
            assert_eq!(fields(text, None), Err(DecodeError::GaugeFault { code }));
        }
        for text in [&b"9"[..], b"9111", b"81", b"9A1"] {
            let error = fields(text, None).unwrap_err();
            assert!(!matches!(error, DecodeError::GaugeFault { .. }), "{error}");
        }
    }

    #[test]
    fn what_is_no_value_says_where_it_stops_being_one() {
        let unexpected = |at, got, want| DecodeError::UnexpectedByte { at, got, want };
        for (text, want) in [
            (&b""[..], DecodeError::NoDigits),
            (b"01", DecodeError::NoDigits),
            (b"01A+", DecodeError::NoDigits),
            (b"+1.63", unexpected(0, b'+', "a digit of the channel")),
            (b"1A+1.63", unexpected(1, b'A', "a digit of the channel")),
            (b"01+1.63", unexpected(2, b'+', "a letter")),
            (b" 01A1.63", unexpected(4, b'1', "a sign")),
            (
                b"01A+1.63mm",
                unexpected(8, b'm', "a digit, a point or the end"),
            ),
        ] {
            assert_eq!(fields(text, None).unwrap_err(), want, "{text:?}");
        }
    }

    proptest! {
        #[test]
        fn a_value_printed_in_this_form_reads_back_as_itself(
            channel in 0u8..100,
            letter in "[A-Za-z]",
            coefficient in -99_999_999i64..=99_999_999,
            decimals in 0u8..6,
            zeros in 0usize..6,
        ) {
            let digits = Decimal::new(coefficient, decimals);
            let sign = if coefficient < 0 { '-' } else { '+' };
            let magnitude = Decimal::new(coefficient.abs(), decimals);
            let text = format!("{channel:02}{letter}{sign}{:0<zeros$}{magnitude}", "");
            prop_assert_eq!(
                fields(text.as_bytes(), None),
                Ok(Fields { channel: Some(channel), ..Fields::digits(digits) })
            );
        }

        #[test]
        fn any_bytes_are_read_or_refused_without_a_panic(body in prop::collection::vec(any::<u8>(), 0..80)) {
            let _ = fields(&body, None);
        }
    }
}
