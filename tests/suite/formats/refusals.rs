//! Every invalid part of a binary frame is refused, one at a time, for that part.

use super::{Outcome, read_one};
use tallyjaw::decode::DecodeError;
use tallyjaw::quantity::Unit;

fn refused_part(outcome: &Outcome) -> Option<(&'static str, String)> {
    match outcome {
        Outcome::Refused(DecodeError::Illegal { what, got, .. }) => Some((what, got.clone())),
        Outcome::Refused(other) => panic!("{other}"),
        Outcome::Value(..) => None,
    }
}

/// What is wrong with this nibble at this place, by the layout in the notes.
fn part_of_nibble(place: usize, nibble: u8) -> Option<&'static str> {
    let (part, legal) = match place {
        0..=3 => ("head", nibble == 15),
        4 => ("sign", nibble == 0 || nibble == 8),
        5..=10 => ("digit", nibble <= 9),
        11 => ("place of the point", nibble <= 5),
        12 => ("unit", nibble <= 1),
        _ => ("last half byte", nibble == 0),
    };
    (!legal).then_some(part)
}

#[test]
fn every_nibble_that_is_illegal_in_its_place_is_refused_for_it() {
    let frame = [15, 15, 15, 15, 0, 0, 0, 0, 1, 6, 3, 2, 0, 0];
    let mut refused = 0;
    for place in 0..14 {
        for nibble in 0..16 {
            let mut nibbles = frame;
            nibbles[place] = nibble;
            let want = part_of_nibble(place, nibble).map(|part| (part, format!("{nibble:X}")));
            let packed: Vec<u8> = nibbles
                .chunks(2)
                .map(|pair| pair[0] << 4 | pair[1])
                .collect();
            let found = read_one("bcd13-packed", None, Unit::Inch, &packed);
            assert_eq!(refused_part(&found), want, "{packed:02x?}");
            if place < 13 {
                let digit = |nibble: &u8| char::from_digit(u32::from(*nibble), 16).unwrap();
                let mut line: String = nibbles[..13].iter().map(digit).collect();
                line.push('\r');
                let found = read_one("bcd13-hex", None, Unit::Inch, line.as_bytes());
                assert_eq!(refused_part(&found), want, "{line}");
            }
            refused += usize::from(want.is_some());
        }
    }
    // Heads 4 × 15, signs 14, digits 6 × 6, points 10, units 14, last halves 15.
    assert_eq!(refused, 60 + 14 + 36 + 10 + 14 + 15);
}

#[test]
fn bits_22_and_23_are_refused_whatever_the_others_are() {
    for word in (0..1_u32 << 24).step_by(4093) {
        let reserved = word >> 21 & 0b11;
        let want = (reserved != 0).then(|| ("bits 22 and 23", format!("{reserved:02b}")));
        let line = format!("{word:06X}\r");
        let found = read_one("word24-hex", None, Unit::Inch, line.as_bytes());
        assert_eq!(refused_part(&found), want, "{line}");
        let packed = &word.to_le_bytes()[..3];
        let found = read_one("word24-packed", None, Unit::Inch, packed);
        assert_eq!(refused_part(&found), want, "{packed:02x?}");
    }
}

#[test]
fn a_packed_frame_of_another_length_is_refused() {
    for (format, length) in [
        ("bcd13-packed", 7),
        ("word24-packed", 3),
        ("word48-packed", 6),
    ] {
        for got in (1..3 * length).filter(|got| *got != length) {
            let found = read_one(format, None, Unit::Millimetre, &vec![0; got]);
            let want = if got < length {
                DecodeError::CutShort { got }
            } else {
                DecodeError::TooLong { got, most: length }
            };
            assert_eq!(found, Outcome::Refused(want), "{format}");
        }
    }
}
