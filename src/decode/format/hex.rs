//! Hexadecimal digits of a line, for the formats that send their bits as text.

use crate::decode::DecodeError;

/// The values of exactly `N` hexadecimal digits; spaces around them are skipped.
pub(super) fn nibbles<const N: usize>(body: &[u8]) -> Result<[u8; N], DecodeError> {
    let text = body.trim_ascii();
    let start = body.len() - body.trim_ascii_start().len();
    let mut found = [0; N];
    for (at, byte) in text.iter().enumerate() {
        let value = char::from(*byte)
            .to_digit(16)
            .and_then(|digit| u8::try_from(digit).ok());
        let Some(value) = value else {
            return Err(DecodeError::UnexpectedByte {
                at: start + at,
                got: *byte,
                want: "a hexadecimal digit",
            });
        };
        if let Some(place) = found.get_mut(at) {
            *place = value;
        }
    }
    if text.len() == N {
        Ok(found)
    } else {
        Err(DecodeError::WrongLength {
            got: text.len(),
            want: N,
            what: "hexadecimal digits",
        })
    }
}

/// The number that six digits spell, most significant first.
pub(super) fn word(digits: &[u8]) -> u32 {
    digits
        .iter()
        .fold(0, |word, digit| word << 4 | u32::from(*digit))
}

/// The number in three bytes, bits 1 to 8 first.
pub(super) fn word_of_bytes(bytes: &[u8]) -> u32 {
    bytes
        .iter()
        .rev()
        .fold(0, |word, byte| word << 8 | u32::from(*byte))
}

/// The body as an array; the framing guarantees its length.
pub(super) fn exactly<const N: usize>(body: &[u8]) -> Result<[u8; N], DecodeError> {
    body.try_into().map_err(|_| DecodeError::WrongLength {
        got: body.len(),
        want: N,
        what: "bytes",
    })
}
