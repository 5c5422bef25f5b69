//! Is the journal as far as others know it to be?
//!
//! In: what sinks, marks of exports, the verdict log and the lock file remember of it. Out: nothing, or why nothing may
//! be written to it until a person has accepted that entries are gone.
//!
//! - A folder that was put back as a whole, cursors and log with it, knows nothing of what came later: that shows only
//!   elsewhere, in the digest of the last line (see [`super::verify()`]).
//! - Behind a rollback that was accepted, numbers go on behind the last one that was known: no number is given twice,
//!   so that whoever drops doubles by number drops nothing new.

use super::{Cursor, Dir, JournalError, Writer};
use crate::entry::line::Digest;
use crate::entry::{self, Entry, JournalId, Segment, Seq, Stamped, State};
use crate::quantity::WallMicros;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};

/// Somebody who was given entries of a journal, and remembers how far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Witness {
    /// Where it stands.
    pub path: PathBuf,
    /// Id of the journal that it testifies for.
    pub journal: JournalId,
    /// The last entry that it was given.
    pub seq: Seq,
    /// The digest of that entry's line, if it remembers it.
    pub digest: Option<Digest>,
    /// It is known to be of this folder's journal, so a journal that was put in its place is detected. Any other
    /// witness may be left from an earlier journal.
    pub is_of_this_folder: bool,
}

/// A witness knows entries that the journal does not have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reason}")]
pub struct RolledBack {
    /// The journal that is known.
    pub journal: JournalId,
    /// The last entry of it that is known.
    pub known: Seq,
    /// The entry that the journal here ends with; 0 if there is none.
    pub end: Seq,
    /// Who knows it, and what is gone.
    pub reason: String,
}

/// Where there is no journal: the best of those who know one.
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

/// The end of a journal, as it is here.
pub(super) struct End<'a> {
    pub(super) state_dir: &'a Path,
    pub(super) journal: &'a JournalId,
    pub(super) last: Seq,
}

impl End<'_> {
    /// What a witness knows that contradicts this journal; `None` if none does.
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

    /// None where the entry is in a segment that was taken away.
    fn digest_of(&self, seq: Seq) -> Result<Option<Digest>, JournalError> {
        let mut cursor = Cursor::new(self.state_dir, Seq(seq.0.saturating_sub(1)))?;
        let line = cursor.next_line(self.last)?;
        Ok(line
            .filter(|line| line.seq == seq)
            .map(|line| Digest::of(&line.bytes)))
    }
}

impl RolledBack {
    /// The number to go on behind: that of a lost entry is not given again.
    pub(super) fn behind(&self, journal: &JournalId) -> Seq {
        if self.journal == *journal {
            self.known.max(self.end)
        } else {
            self.end
        }
    }

    /// What it is entered as.
    pub(super) fn entry(self) -> Entry {
        Entry::from(entry::RolledBack {
            journal: self.journal,
            known: self.known,
            end: self.end,
            reason: self.reason,
        })
    }

    /// Enters it in a segment of its own, which says all that is left; the state after it. The writer is behind
    /// [`RolledBack::behind`].
    pub(super) fn write(
        self,
        writer: &mut Writer<Dir>,
        (journal, mut state): (JournalId, State),
        at: WallMicros,
    ) -> Result<State, JournalError> {
        state.last = Some(self.behind(&journal));
        let segment = Stamped {
            seq: writer.next(),
            at,
            entry: Entry::from(Segment {
                journal,
                state: Box::new(state.clone()),
            }),
        };
        let entered = Stamped {
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
