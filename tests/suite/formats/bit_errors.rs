//! Every single-bit error in every frame of the notes: it is refused, has no effect, or cannot be detected because the
//! result is a valid frame of another value.

use super::notes::{self, Row};
use super::{Outcome, read};
use crate::golden;
use std::fmt::Write as _;
use tallyjaw::decode::format::Ticks;
use tallyjaw::decode::{FORMATS, Pattern};
use tallyjaw::quantity::{Length, Measured, Unit};
use tallyjaw::virtual_caliper::{Form, Sends};

#[derive(Debug, Default)]
struct Count {
    frames: usize,
    bits: usize,
    refused: usize,
    same: usize,
    other: usize,
}

type Value = (Measured, Option<Length>);

fn values(row: &Row, pattern: &Pattern, bytes: &[u8]) -> Vec<Value> {
    read(&row.format, Some(pattern), Unit::Millimetre, bytes)
        .into_iter()
        .filter_map(|outcome| match outcome {
            Outcome::Value(value, origin) => Some((value, origin)),
            Outcome::Refused(_) => None,
        })
        .collect()
}

fn count(format: &str, pattern: &Pattern) -> Count {
    let mut count = Count::default();
    let rows = notes::rows();
    for row in rows
        .iter()
        .filter(|row| row.format == format && !row.is_refused())
    {
        let sent = values(row, pattern, &row.bytes);
        assert_eq!(sent.len(), 1, "{row:?}");
        count.frames += 1;
        for bit in 0..8 * row.bytes.len() {
            let mut bytes = row.bytes.clone();
            bytes[bit / 8] ^= 1 << (bit % 8);
            count.bits += 1;
            match values(row, pattern, &bytes).as_slice() {
                [] => count.refused += 1,
                [got] if is_same(got, &sent[0]) => count.same += 1,
                [got] => {
                    count.other += 1;
                    assert!(
                        is_a_frame_of(format, got, &bytes),
                        "{row:?} became {got:?} by {bytes:02x?}, which is no frame of it"
                    );
                }
                more => panic!("{row:?} became {more:?}"),
            }
        }
    }
    assert_eq!(count.refused + count.same + count.other, count.bits);
    count
}

/// Whether both are the same size; digits at the end may be missing.
fn is_same(a: &Value, b: &Value) -> bool {
    (a.0.quantity(), a.0.unit(), a.1) == (b.0.quantity(), b.0.unit(), b.1)
}

/// Whether an instrument that shows `value` may send exactly these bytes, in one of the ways to write it.
fn is_a_frame_of(format: &str, (value, origin): &Value, bytes: &[u8]) -> bool {
    let (digits, unit) = (value.digits(), value.unit());
    let frame = |sends: Sends| sends.frame(digits, unit).unwrap();
    let text = || String::from_utf8_lossy(bytes).into_owned();
    match format {
        "decimal-line" => is_a_line_of(value, &text()),
        "pattern" => {
            let line = text();
            let (_, number) = line.split_at(
                line.rfind("CH")
                    .map_or(0, |at| line[at..].find(' ').unwrap() + at),
            );
            is_a_line_of(value, number.trim_end_matches('\r').trim_end_matches(';'))
        }
        "channel-line" => {
            let line = text();
            let (channel, rest) = line.split_at(3);
            let channel_is_legal = channel.as_bytes()[..2].iter().all(u8::is_ascii_digit)
                && channel.as_bytes()[2].is_ascii_alphabetic();
            channel_is_legal && is_a_line_of(value, rest)
        }
        "bcd13-hex" => with_minus_zero(frame(Sends::Bcd13(Form::Hex)), 4, b'8')
            .any(|frame| frame.eq_ignore_ascii_case(bytes)),
        "bcd13-packed" => {
            with_minus_zero(frame(Sends::Bcd13(Form::Packed)), 2, 0x80).any(|frame| frame == bytes)
        }
        "word24-hex" => {
            let minus = if unit == Unit::Inch { b'9' } else { b'1' };
            with_minus_zero(frame(Sends::Word24(Form::Hex)), 0, minus)
                .any(|frame| frame.eq_ignore_ascii_case(bytes))
        }
        "word24-packed" => {
            let minus = if unit == Unit::Inch { 0x90 } else { 0x10 };
            with_minus_zero(frame(Sends::Word24(Form::Packed)), 2, minus)
                .any(|frame| frame == bytes)
        }
        "word48-hex" => {
            let line = text();
            let word = |at: usize| u32::from_str_radix(&line[at..at + 6], 16).unwrap();
            is_pair_of(word(0), word(6), value, *origin)
        }
        "word48-packed" => {
            let word = |at: usize| u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], 0]);
            is_pair_of(word(0), word(3), value, *origin)
        }
        other => panic!("no way to write {other}"),
    }
}

/// Whether sign, digits and unit are those of the text, without spaces, empty lines and a plus.
fn is_a_line_of(value: &Measured, text: &str) -> bool {
    let bare: String = text
        .chars()
        .filter(|c| !c.is_ascii_whitespace() && *c != '+')
        .collect();
    let number = bare.trim_end_matches(|c: char| c.is_ascii_alphabetic() || c == '"');
    let unit = bare[number.len()..].replace('"', "in");
    let (sign, digits) = number
        .strip_prefix('-')
        .map_or(("", number), |digits| ("-", digits));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let whole = whole.trim_start_matches('0');
    let whole = if whole.is_empty() { "0" } else { whole };
    let written = if fraction.is_empty() {
        whole.to_owned()
    } else {
        format!("{whole}.{fraction}")
    };
    let shown = value.digits().to_string();
    let is_zero = value.digits().coefficient() == 0;
    let number_is_it = format!("{sign}{written}") == shown || (is_zero && written == shown);
    number_is_it && (unit.is_empty() || unit.eq_ignore_ascii_case(value.unit().name()))
}

/// The frame; for zero with its sign at `at`, also that of minus zero.
fn with_minus_zero(frame: Vec<u8>, at: usize, minus: u8) -> impl Iterator<Item = Vec<u8>> {
    let mut negative = frame.clone();
    negative[at] = minus;
    [frame, negative].into_iter()
}

/// Two words form a frame with the display of the relative one and the difference as origin, so any two words are
/// valid.
fn is_pair_of(absolute: u32, relative: u32, value: &Measured, origin: Option<Length>) -> bool {
    let signed = |word: u32| i32::from_be_bytes((word << 8).to_be_bytes()) >> 8;
    let (absolute, relative) = (signed(absolute), signed(relative));
    let shown = Ticks(relative).shown_in(Unit::Millimetre);
    let difference = Ticks(absolute - relative).length();
    shown == (value.digits(), value.unit()) && Some(difference) == origin
}

#[test]
fn every_single_bit_error_is_refused_or_makes_a_legal_frame_of_another_value() {
    let pattern = notes::pattern();
    let mut table = "format          frames   bits   refused    same   other\n".to_owned();
    for format in FORMATS {
        let Count {
            frames,
            bits,
            refused,
            same,
            other,
        } = count(format.name, &pattern);
        let _ = writeln!(
            table,
            "{:<14} {frames:>7} {bits:>6} {refused:>9} {same:>7} {other:>7}",
            format.name
        );
    }
    golden::assert_same("formats/single_bit_errors.txt", &table);
    assert!(
        notes::text().contains(&format!("```text\n{table}```")),
        "hardware-notes/formats.md has another table; it is\n{table}"
    );
}
