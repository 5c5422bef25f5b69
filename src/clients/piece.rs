//! Lines of the journal for who is behind, a piece at a time.

use crate::entry::Seq;
use crate::journal::{Cursor, JournalError};

/// Lines of the journal as they are.
pub(crate) struct Piece {
    pub(crate) bytes: Vec<u8>,
    /// The last of them; 0 if there is none.
    pub(crate) last: Seq,
}

/// Lines from the journal's files, until they are `most` bytes or more.
pub(crate) fn read_piece(
    cursor: &mut Cursor,
    durable: Seq,
    most: usize,
) -> Result<Piece, JournalError> {
    let mut bytes = Vec::new();
    let mut last = Seq(0);
    while bytes.len() < most
        && let Some(line) = cursor.next_line(durable)?
    {
        bytes.extend_from_slice(&line.bytes);
        bytes.push(b'\n');
        last = line.seq;
    }
    Ok(Piece { bytes, last })
}
