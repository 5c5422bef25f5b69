//! Bytes as lower-case hex digits.

/// Two digits for each byte.
pub fn hex(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    text.extend(
        bytes
            .iter()
            .flat_map(|byte| hex_pair(*byte))
            .map(char::from),
    );
    text
}

/// The two digits of a byte.
pub const fn hex_pair(byte: u8) -> [u8; 2] {
    [digit(byte >> 4), digit(byte & 0x0f)]
}

const fn digit(of: u8) -> u8 {
    if of < 10 { b'0' + of } else { b'a' + of - 10 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_has_the_digits_that_the_standard_library_gives_it() {
        for byte in 0..=u8::MAX {
            assert_eq!(hex(&[byte]), format!("{byte:02x}"));
        }
    }
}
