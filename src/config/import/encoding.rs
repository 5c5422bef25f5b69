//! Decodes the bytes of a file, and names the encoding.

use crate::quantity::named;
use encoding_rs::{UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use std::fmt;

named! {
    /// The character encoding of a file.
    pub enum Encoding {
        /// UTF-8, with or without a byte order mark.
        Utf8 = "utf-8",
        /// UTF-16 with a byte order mark, as some spreadsheets save "Unicode text".
        Utf16 = "utf-16",
        /// Windows-1252, whose printable part includes Latin-1.
        Windows1252 = "windows-1252",
    }
}

impl fmt::Display for Encoding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Utf8 => "UTF-8",
            Self::Utf16 => "UTF-16",
            Self::Windows1252 => "Windows-1252 (Latin-1)",
        })
    }
}

/// The text without a byte order mark. Bytes that are not valid UTF-8 are read as Windows-1252, which has a character
/// for nearly every byte; the encoding is reported to the user.
pub fn decode(bytes: &[u8]) -> (String, Encoding) {
    if let Some((encoding, mark)) = encoding_rs::Encoding::for_bom(bytes) {
        let rest = bytes.get(mark..).unwrap_or(&[]);
        let (text, _) = encoding.decode_without_bom_handling(rest);
        let is_wide = encoding == UTF_16LE || encoding == UTF_16BE;
        let named = if is_wide {
            Encoding::Utf16
        } else {
            Encoding::Utf8
        };
        if is_wide || encoding == UTF_8 {
            return (text.into_owned(), named);
        }
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        return (text.to_owned(), Encoding::Utf8);
    }
    let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
    (text.into_owned(), Encoding::Windows1252)
}

/// The text as bytes in the encoding of `bytes`, another file.
///
/// # Errors
///
/// The first character that this encoding does not have.
pub fn encode_like(text: &str, bytes: &[u8]) -> Result<Vec<u8>, char> {
    let mark = encoding_rs::Encoding::for_bom(bytes);
    let units = |to: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(to).collect::<Vec<u8>>();
    let body = match mark {
        Some((encoding, _)) if encoding == UTF_16LE => units(u16::to_le_bytes),
        Some((encoding, _)) if encoding == UTF_16BE => units(u16::to_be_bytes),
        Some(_) => text.as_bytes().to_vec(),
        None if std::str::from_utf8(bytes).is_ok() => text.as_bytes().to_vec(),
        None => {
            let mut body = Vec::with_capacity(text.len());
            for sign in text.chars() {
                let mut buffer = [0; 4];
                let (encoded, _, unknown) = WINDOWS_1252.encode(sign.encode_utf8(&mut buffer));
                if unknown {
                    return Err(sign);
                }
                body.extend_from_slice(&encoded);
            }
            body
        }
    };
    let mark = mark.and_then(|(_, len)| bytes.get(..len)).unwrap_or(&[]);
    Ok([mark, &body].concat())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_text_comes_out_of_every_encoding() {
        let text = "mm²;±0,05";
        let latin: Vec<u8> = text
            .chars()
            .map(|c| u8::try_from(u32::from(c)).unwrap())
            .collect();
        let wide = |mark: [u8; 2], bytes: fn(u16) -> [u8; 2]| {
            let units = text.encode_utf16().flat_map(bytes);
            mark.into_iter().chain(units).collect::<Vec<u8>>()
        };
        for (bytes, encoding) in [
            (text.as_bytes().to_vec(), Encoding::Utf8),
            (format!("\u{feff}{text}").into_bytes(), Encoding::Utf8),
            (latin, Encoding::Windows1252),
            (wide([0xff, 0xfe], u16::to_le_bytes), Encoding::Utf16),
            (wide([0xfe, 0xff], u16::to_be_bytes), Encoding::Utf16),
        ] {
            assert_eq!(decode(&bytes), (text.to_owned(), encoding));
            assert_eq!(encode_like(text, &bytes), Ok(bytes.clone()));
            let is_narrow = encoding == Encoding::Windows1252;
            assert_eq!(encode_like("Ł", &bytes).is_err(), is_narrow);
        }
    }
}
