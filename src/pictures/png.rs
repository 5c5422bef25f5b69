//! Finds where a PNG ends, by its chunks alone.

/// The first bytes of every PNG.
pub(super) const BEGINNING: &[u8] = b"\x89PNG\r\n\x1a\n";

/// Number of bytes up to the end of the chunk `IEND`; `None` if there is none.
pub(super) fn end(bytes: &[u8]) -> Option<usize> {
    let mut at = BEGINNING.len();
    loop {
        let rest = bytes.get(at..)?;
        let length = usize::try_from(u32::from_be_bytes(*rest.first_chunk()?)).ok()?;
        let kind = rest.get(4..8)?;
        // Length and kind before the data, and four bytes of checksum after it.
        at = at.checked_add(length)?.checked_add(12)?;
        if at > bytes.len() {
            return None;
        }
        if kind == b"IEND" {
            return Some(at);
        }
    }
}
