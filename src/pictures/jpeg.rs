//! Finds where a JPEG ends, by its markers alone.
//!
//! A camera may append further complete JPEGs (a second exposure, a preview); these belong to the file.

/// The first bytes of every JPEG.
pub(super) const BEGINNING: &[u8] = b"\xff\xd8\xff";

const START: u8 = 0xd8;
const END: u8 = 0xd9;
const SCAN: u8 = 0xda;

/// Number of bytes up to the end of the last whole JPEG; `None` if the first or a further one does not end.
pub(super) fn end(bytes: &[u8]) -> Option<usize> {
    let mut at = 0;
    loop {
        let rest = bytes.get(at..)?;
        if at > 0 && !rest.starts_with(BEGINNING) {
            return Some(at);
        }
        at = at.checked_add(one(rest)?)?;
    }
}

/// Number of bytes of the JPEG at the beginning; `None` if its end is missing.
fn one(bytes: &[u8]) -> Option<usize> {
    let mut at = 2;
    loop {
        // Any number of 0xff may stand before a marker.
        let marker = loop {
            match (*bytes.get(at)?, *bytes.get(at.checked_add(1)?)?) {
                (0xff, 0xff) => at += 1,
                (0xff, marker) => break marker,
                _ => return None,
            }
        };
        at += 2;
        match marker {
            END => return Some(at),
            0x01 | 0xd0..=0xd7 => {} // markers without a length
            0x00 | START => return None,
            _ => {
                let [high, low] = *bytes.get(at..)?.first_chunk::<2>()?;
                let length = usize::from(u16::from_be_bytes([high, low]));
                if length < 2 {
                    return None;
                }
                at += length;
                if marker == SCAN {
                    at += scan(bytes.get(at..)?)?;
                }
            }
        }
    }
}

/// Number of coded bytes up to the next marker that is not a restart; a coded 0xff is followed by a zero.
fn scan(bytes: &[u8]) -> Option<usize> {
    let mut pairs = bytes.windows(2);
    pairs.position(|pair| match pair {
        [0xff, next] => !matches!(next, 0x00 | 0xd0..=0xd7 | 0xff),
        _ => false,
    })
}
