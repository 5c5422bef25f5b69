//! Opening a journal: what is done with a torn tail or a damaged entry.

use super::dir::Dir;
use super::writer::{Manner, Position};
use super::{JOURNAL_FOLDER, JournalError, SEGMENT_BYTES, SegmentNumber, StateLock, Writer};
use crate::entry::line::Digest;
use crate::entry::{JournalId, Seq, State};
use crate::quantity::WallMicros;
use std::path::Path;

/// How a journal is opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// The time, for entries that opening itself makes (`begun`, `damage_accepted`).
    pub now: WallMicros,
    /// Off only to measure what syncing costs.
    pub sync: bool,
    /// The first damaged entry, if a person has accepted that it is.
    pub accept_damage: Option<Seq>,
    /// A segment longer than this is full.
    pub segment_bytes_most: u64,
}

impl Options {
    /// Synced, segments of [`SEGMENT_BYTES`], no damage accepted.
    pub const fn at(now: WallMicros) -> Self {
        Self {
            now,
            sync: true,
            accept_damage: None,
            segment_bytes_most: SEGMENT_BYTES,
        }
    }
}

/// A journal, ready to go on.
#[derive(Debug)]
pub struct Opened {
    /// To be given to [`super::spawn`]. It holds the lock of `state_dir`.
    pub writer: Writer<Dir>,
    /// What all entries amount to. Never without a journal id and a last entry: a new journal is
    /// begun by opening it.
    pub state: State,
    /// The journal's name.
    pub journal: JournalId,
    /// The first entry that can be read: 1 unless old segments were taken away.
    pub first: Seq,
    /// The last entry and the digest of its line.
    pub tail: (Seq, Digest),
    /// What was set aside.
    pub torn: Option<Torn>,
}

/// A half-written last line that was set aside. It was never announced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Torn {
    /// The name of the file beside the segments that keeps it.
    pub file: String,
    /// Its length.
    pub bytes: u64,
}

/// Opens the journal of `state_dir`, or begins one.
pub fn open(state_dir: &Path, options: Options) -> Result<Opened, JournalError> {
    let lock = StateLock::take(state_dir)?;
    let dir = Dir::open_or_make(&state_dir.join(JOURNAL_FOLDER))?;
    let manner = Manner {
        sync: options.sync,
        segment_bytes_most: options.segment_bytes_most,
    };
    let position = Position {
        segment: SegmentNumber::NONE,
        segment_bytes: 0,
        last: None,
        prev: Digest::NONE,
    };
    Ok(Opened {
        writer: Writer::new(dir, None, position, manner, Some(lock)),
        state: State::default(),
        journal: JournalId(String::new()),
        first: Seq::FIRST,
        tail: (Seq::FIRST, Digest::NONE),
        torn: None,
    })
}
