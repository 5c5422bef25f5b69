//! Compares the end of the journal with what others know of it.
//!
//! In: the entries that sinks, positions of exports, the verdict log and the lock file know. Out: nothing, or why
//! nothing may be written until a person has accepted that entries are lost.
//!
//! - If the whole folder was restored from a copy, with cursors and log, nothing in it knows later entries. That only
//!   shows elsewhere, in the digest of the last line (see [`super::verify()`]).
//! - After an accepted rollback, numbering continues after the last number that was known. No number is used twice, so
//!   that a reader who drops duplicates by number drops nothing new.

use super::{Cursor, Dir, JournalError, Writer};
use crate::entry::line::Digest;
use crate::entry::{self, Entry, JournalId, Segment, Seq, Stamped, State};
use crate::quantity::WallMicros;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};

/// Someone who was given entries of a journal, and remembers the last one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Witness {
    /// Path of the file that remembers it.
    pub path: PathBuf,
    /// Identity of the journal it knows.
    pub journal: JournalId,
    /// The last entry that it knows.
    pub seq: Seq,
    /// Digest of that entry's line, if it remembers it.
    pub digest: Option<Digest>,
    /// Whether it certainly belongs to this folder's journal, so that another journal in its place is detected. Other
    /// witnesses may be left from an earlier journal.
    pub is_of_this_folder: bool,
}

/// A witness knows entries that the journal lacks.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct RolledBack {
    /// Identity of the known journal.
    pub journal: JournalId,
    /// The last entry that is known.
    pub known: Seq,
    /// The last entry that the journal has; 0 if there is none.
    pub end: Seq,
    /// Who knows it, and what is missing.
    pub reason: String,
}

/// If there is no journal: the witness that knows most of one.
pub(super) fn of_a_vanished_one(witnesses: &[Witness]) -> Option<RolledBack> {
    let best = witnesses.iter().max_by_key(|witness| witness.seq)?;
    Some(RolledBack {
        journal: best.journal.clone(),
        known: best.seq,
        end: Seq(0),
        reason: format!(
            "the journal is gone: {} knows entry {} of journal {}, and there is none",
            best.path.display(),
            best.seq,
            best.journal
        ),
    })
}

/// The end of the journal.
pub(super) struct End<'a> {
    pub(super) state_dir: &'a Path,
    pub(super) journal: &'a JournalId,
    pub(super) last: Seq,
}

impl End<'_> {
    /// Knowledge of a witness that contradicts this journal; `None` if none does.
    pub(super) fn held_against(
        &self,
        witnesses: &[Witness],
    ) -> Result<Option<RolledBack>, JournalError> {
        let ours = |witness: &&Witness| witness.journal == *self.journal;
        let best = witnesses
            .iter()
            .filter(ours)
            .max_by_key(|witness| witness.seq);
        if let Some(beyond) = best.filter(|best| best.seq > self.last) {
            let reason = format!(
                "the journal ends with entry {}, but {} knows entry {} of it: what came between is gone",
                self.last,
                beyond.path.display(),
                beyond.seq
            );
            return Ok(Some(self.rolled_back(beyond, reason)));
        }
        for witness in witnesses {
            if witness.is_of_this_folder && witness.journal != *self.journal {
                let reason = format!(
                    "here is journal {}, but {} knows entry {} of journal {}: another one was put in its place",
                    self.journal,
                    witness.path.display(),
                    witness.seq,
                    witness.journal
                );
                return Ok(Some(self.rolled_back(witness, reason)));
            }
            if ours(&witness)
                && let Some(want) = witness.digest
                && let Some(got) = self.digest_of(witness.seq)?
                && got != want
            {
                let reason = format!(
                    "entry {} is not the one that {} knows: the journal was rolled back and gone on with",
                    witness.seq,
                    witness.path.display()
                );
                return Ok(Some(self.rolled_back(witness, reason)));
            }
        }
        Ok(None)
    }

    fn rolled_back(&self, witness: &Witness, reason: String) -> RolledBack {
        RolledBack {
            journal: witness.journal.clone(),
            known: witness.seq,
            end: self.last,
            reason,
        }
    }

    /// `None` if the entry is in a segment that was moved away.
    fn digest_of(&self, seq: Seq) -> Result<Option<Digest>, JournalError> {
        let mut cursor = Cursor::new(self.state_dir, Seq(seq.0.saturating_sub(1)))?;
        let line = cursor.next_line(self.last)?;
        Ok(line
            .filter(|line| line.seq == seq)
            .map(|line| Digest::of(&line.bytes)))
    }
}

impl RolledBack {
    /// The number after which numbering continues, so that the number of a lost entry is not used again.
    pub(super) fn behind(&self, journal: &JournalId) -> Seq {
        if self.journal == *journal {
            self.known.max(self.end)
        } else {
            self.end
        }
    }

    /// The entry about the rollback.
    pub(super) fn entry(self) -> Entry {
        Entry::from(entry::RolledBack {
            journal: self.journal,
            known: self.known,
            end: self.end,
            reason: self.reason,
        })
    }

    /// Writes that entry in a new segment, which begins with the remaining state. Returns the state after it. The
    /// writer must be after [`RolledBack::behind`].
    pub(super) fn write(
        self,
        writer: &mut Writer<Dir>,
        (journal, mut state): (JournalId, State),
        at: WallMicros,
    ) -> Result<State, JournalError> {
        state.last = Some(self.behind(&journal));
        let segment = Stamped {
            token: None,
            seq: writer.next(),
            at,
            entry: Entry::from(Segment {
                journal,
                state: Box::new(state.clone()),
            }),
        };
        let entered = Stamped {
            token: None,
            seq: segment.seq.following(),
            at,
            entry: self.entry(),
        };
        state.apply(&segment);
        state.apply(&entered);
        writer.append(&mut VecDeque::from([segment, entered]))?;
        Ok(state)
    }
}
