//! Reduces a PNG to the data that draws it.
//!
//! In: the bytes of a file. Out: the same picture with only the necessary chunks, in their order. It is decoded once,
//! to check that it is valid. Texts, times, profiles, animations and anything after the end are left out.

use super::BadLogo;
use png::{DecodeOptions, Decoder, Limits};
use std::io::Cursor;

/// Maximum size of a logo in each direction, in pixels.
pub(super) const LONGEST_SIDE: u32 = 1_500;
/// Maximum memory for decoding: every pixel at 16 bits in four channels, twice.
const MEMORY: usize = 64 << 20;
const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";
/// The chunks that determine the colour of a pixel.
const KEPT: [&[u8]; 7] = [
    b"IHDR", b"PLTE", b"tRNS", b"sRGB", b"gAMA", b"IDAT", b"IEND",
];

pub(super) fn is_png(bytes: &[u8]) -> bool {
    bytes.starts_with(SIGNATURE)
}

/// The reduced file, and its width and height in pixels.
pub(super) fn plain(bytes: &[u8]) -> Result<(Vec<u8>, (u32, u32)), BadLogo> {
    let kept = kept(bytes).ok_or_else(|| BadLogo::BrokenPng("it ends too early".to_owned()))?;
    let broken = |error: png::DecodingError| BadLogo::BrokenPng(error.to_string());
    let mut options = DecodeOptions::default();
    options.set_ignore_checksums(false);
    let mut decoder = Decoder::new_with_options(Cursor::new(&kept), options);
    decoder.set_limits(Limits { bytes: MEMORY });
    let header = decoder.read_header_info().map_err(broken)?;
    let (width, height) = header.size();
    if width > LONGEST_SIDE || height > LONGEST_SIDE {
        return Err(BadLogo::TooManyPixels { width, height });
    }
    let mut reader = decoder.read_info().map_err(broken)?;
    while reader.next_row().map_err(broken)?.is_some() {}
    reader.finish().map_err(broken)?;
    Ok((kept, (width, height)))
}

/// The signature and the kept chunks, up to the end of the picture; `None` if the end is missing.
fn kept(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut rest = bytes.strip_prefix(SIGNATURE)?;
    let mut kept = SIGNATURE.to_vec();
    loop {
        // length of the data, name, data, checksum
        let (length, _) = rest.split_first_chunk::<4>()?;
        let length = usize::try_from(u32::from_be_bytes(*length)).ok()?;
        let whole = length.checked_add(12)?;
        let (chunk, behind) = rest.split_at_checked(whole)?;
        let name = chunk.get(4..8)?;
        if KEPT.contains(&name) {
            kept.extend_from_slice(chunk);
        }
        if name == b"IEND" {
            return Some(kept);
        }
        rest = behind;
    }
}
