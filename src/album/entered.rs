//! Finds out from the journal which files of a folder of pictures were entered or refused.
//!
//! In: the journal. Out: which pictures were entered, by digest; and what happened at a station since its last reading.

use super::check::pictured;
use crate::entry::line::Digest;
use crate::entry::{Entry, Refused, SaidEntry, Seq};
use crate::journal::{Cursor, JournalError};
use crate::quantity::WallMicros;
use std::collections::{HashMap, HashSet};
use std::path::Path;

/// The digests of entered pictures, up to the last entry that was read.
#[derive(Debug, Default)]
pub(crate) struct Entered {
    digests: HashSet<Digest>,
    up_to: Option<Seq>,
}

impl Entered {
    /// Whether a picture with this digest was entered up to entry `last`. Reads the part of the journal that is new.
    pub(crate) fn has(
        &mut self,
        picture: Digest,
        state_dir: &Path,
        last: Seq,
    ) -> Result<bool, JournalError> {
        let mut cursor = Cursor::new(state_dir, self.up_to.unwrap_or(Seq(0)))?;
        while let Some(line) = cursor.next_line(last)? {
            self.digests
                .extend(pictured(&line.bytes).map(|(_, pictured)| pictured.picture));
        }
        self.up_to = Some(last);
        Ok(self.digests.contains(&picture))
    }
}

/// The recent past of a station.
#[derive(Debug, Default)]
pub(crate) struct Before {
    /// Time of the entry `since`.
    pub(crate) at: Option<WallMicros>,
    /// Files of its folder of pictures that were refused after that, with the times.
    pub(crate) refused: HashMap<String, WallMicros>,
}

/// The recent past of a station, from the entries `since` to `last`.
pub(crate) fn before(
    state_dir: &Path,
    station: &str,
    since: Seq,
    last: Seq,
) -> Result<Before, JournalError> {
    const KIND: &[u8] = br#""kind":"refused""#;
    let mut found = Before::default();
    let mut cursor = Cursor::new(state_dir, Seq(since.0.saturating_sub(1)))?;
    while let Some(line) = cursor.next_line(last)? {
        let head = line.bytes.get(..256).unwrap_or(&line.bytes);
        if found.at.is_some() && memchr::memmem::find(head, KIND).is_none() {
            continue;
        }
        let stamped = line.entry()?;
        found.at.get_or_insert(stamped.at);
        if let Entry::Said(SaidEntry::Refused(refused)) = &stamped.entry
            && refused.instrument == Refused::FOLDER
            && refused.station == station
        {
            found.refused.insert(refused.said.clone(), stamped.at);
        }
    }
    Ok(found)
}
