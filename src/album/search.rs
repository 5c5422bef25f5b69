//! Finds a series in the journal, and which of its pieces were measured.

use crate::entry::{Entry, Seq, SeriesEntry};
use crate::journal::{Cursor, JournalError};
use std::collections::BTreeSet;
use std::path::Path;

/// A series of the journal.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Found {
    /// Its station.
    pub(crate) station: String,
    /// The pieces that have a reading, counted or not.
    pub(crate) pieces: BTreeSet<u32>,
}

/// The series whose `armed` entry is `wanted`, up to entry `last`; `None` if that entry opens no series.
pub(crate) fn find(
    state_dir: &Path,
    wanted: Seq,
    last: Seq,
) -> Result<Option<Found>, JournalError> {
    let mut cursor = Cursor::new(state_dir, Seq(wanted.0.saturating_sub(1)))?;
    let Some(first) = cursor.next_line(last)? else {
        return Ok(None);
    };
    let armed = first.entry()?;
    let Entry::Series(SeriesEntry::Armed(spec)) = &armed.entry else {
        return Ok(None);
    };
    if armed.seq != wanted {
        return Ok(None);
    }
    let mut found = Found {
        station: spec.station.clone(),
        pieces: BTreeSet::new(),
    };
    while let Some(line) = cursor.next_line(last)? {
        let stamped = line.entry()?;
        if let Entry::Series(SeriesEntry::Completed(over)) = &stamped.entry
            && over.series == wanted
            && !over.resumable
        {
            break;
        }
        let Some(reading) = stamped.entry.reading() else {
            continue;
        };
        match &reading.slot {
            Some(slot) if slot.series == wanted => {
                found.pieces.insert(slot.piece);
            }
            // A series that was stopped early can be resumed until another one of its station counts a reading.
            Some(_) if *reading.station == found.station && reading.verdict().is_some() => break,
            Some(_) | None => {}
        }
    }
    Ok(Some(found))
}
