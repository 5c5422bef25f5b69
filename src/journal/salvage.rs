//! Continues a journal after damage that a person accepted.
//!
//! In: the segments, of which the last is damaged. Out: the state that follows from the reliable entries, and two
//! entries for a new segment: `segment` with that state, and `damage_accepted`.
//!
//! - No line is changed, moved or removed. The damaged segment stays as evidence. So numbers stay without gaps: every
//!   line there keeps its own, readable or not, and no announced number is used again. The chain continues, because the
//!   new segment holds the digest of the last line.
//! - An entry is reliable if it can be read and the next line, readable or not, holds its digest. The last line has no
//!   next one, so it is reliable if it can be read. Other entries are listed and left out of the state.

use super::dir::Dir;
use super::lines::{Lines, NextLine, last_line};
use super::{Damage, JournalError, RolledBack, SegmentNumber, Writer};
use crate::entry::line::{Digest, decode, peek_seq};
use crate::entry::{DamageAccepted, Entry, JournalId, Segment, Seq, Stamped, State};
use crate::quantity::WallMicros;
use std::collections::VecDeque;
use std::fs::File;

/// Maximum number of unreliable entries that are named.
const NAMED_MOST: usize = 20;

/// The reliable part of a journal.
pub(super) struct Salvaged {
    state: State,
    journal: JournalId,
    /// The last number that may have been used.
    pub(super) last: Seq,
    /// Digest of the last line.
    pub(super) prev: Digest,
    damaged: Seq,
    reason: String,
}

/// Reads the reliable part of a journal whose last segment is damaged.
pub(super) fn salvage(
    dir: &Dir,
    numbers: &[SegmentNumber],
    damage: Damage,
) -> Result<Salvaged, JournalError> {
    let begin = beginning(dir, numbers)?.ok_or_else(|| Box::new(damage.clone()))?;
    let mut walk = Walk::default();
    for number in numbers.iter().filter(|number| **number >= begin) {
        let file = dir.read(*number)?;
        walk.segment(dir, *number, &file)?;
    }
    walk.take_held(None);
    let Some(journal) = walk.state.journal.clone() else {
        return Err(Box::new(damage).into());
    };
    // If segments were swapped, the highest number is in the one before the last.
    let last = match numbers.iter().rev().nth(1) {
        Some(before) => last_line(dir, *before)?.and_then(|(seq, _)| seq),
        None => None,
    };
    Ok(Salvaged {
        journal,
        last: walk.last.max(last.unwrap_or(walk.last)),
        prev: walk.prev,
        damaged: damage.seq,
        reason: walk.reason(&damage),
        state: walk.state,
    })
}

impl Salvaged {
    /// State that follows from the reliable entries.
    pub(super) const fn state(&self) -> &State {
        &self.state
    }

    /// Writes the two entries, and one about a rollback if there was one. Returns the state after them.
    pub(super) fn write(
        self,
        writer: &mut Writer<Dir>,
        rolled_back: Option<RolledBack>,
        at: WallMicros,
    ) -> Result<State, JournalError> {
        let mut state = self.state;
        state.last = Some(self.last);
        let segment = Stamped {
            token: None,
            seq: self.last.following(),
            at,
            entry: Entry::from(Segment {
                journal: self.journal,
                state: Box::new(state.clone()),
            }),
        };
        let accepted = Stamped {
            token: None,
            seq: segment.seq.following(),
            at,
            entry: Entry::from(DamageAccepted {
                seq: self.damaged,
                reason: self.reason,
            }),
        };
        let entered = rolled_back.map(|found| Stamped {
            token: None,
            seq: accepted.seq.following(),
            at,
            entry: found.entry(),
        });
        let mut entries = VecDeque::from([segment, accepted]);
        entries.extend(entered);
        for stamped in &entries {
            state.apply(stamped);
        }
        writer.append(&mut entries)?;
        Ok(state)
    }
}

/// The last segment whose first line is reliable; `None` if there is none.
fn beginning(dir: &Dir, numbers: &[SegmentNumber]) -> Result<Option<SegmentNumber>, JournalError> {
    for number in numbers.iter().rev() {
        let file = dir.read(*number)?;
        let mut lines = Lines::new(dir, *number, &file);
        if lines.advance()? != NextLine::Line {
            continue;
        }
        let opens = decode(&lines.bytes).is_ok_and(|(stamped, _)| stamped.entry.opens().is_some());
        let digest = Digest::of(&lines.bytes);
        if opens && (lines.advance()? != NextLine::Line || names(&lines.bytes, digest)) {
            return Ok(Some(*number));
        }
    }
    Ok(None)
}

/// Whether the line contains this digest, which cannot happen by chance.
pub(super) fn names(line: &[u8], digest: Digest) -> bool {
    let text = digest.to_string();
    line.windows(text.len())
        .any(|window| window == text.as_bytes())
}

/// The result of reading lines.
struct Walk {
    state: State,
    /// A readable entry that the next line must confirm.
    held: Option<Stamped>,
    last: Seq,
    prev: Digest,
    left_out: Vec<Seq>,
}

impl Default for Walk {
    fn default() -> Self {
        Self {
            state: State::default(),
            held: None,
            last: Seq(0),
            prev: Digest::NONE,
            left_out: Vec::new(),
        }
    }
}

impl Walk {
    fn segment(
        &mut self,
        dir: &Dir,
        number: SegmentNumber,
        file: &File,
    ) -> Result<(), JournalError> {
        let mut lines = Lines::new(dir, number, file);
        while lines.advance()? == NextLine::Line {
            self.take_held(Some(&lines.bytes));
            let said = peek_seq(&lines.bytes).filter(|seq| *seq > self.last);
            let counted = self.last.following();
            self.prev = Digest::of(&lines.bytes);
            if let Ok((stamped, _)) = decode(&lines.bytes) {
                self.last = said.unwrap_or(counted);
                self.held = Some(stamped);
            } else {
                self.last = counted; // The number in a damaged line may be anything.
                self.left_out.push(counted);
            }
        }
        Ok(())
    }

    /// Applies the waiting entry, if `follower` confirms it.
    fn take_held(&mut self, follower: Option<&[u8]>) {
        let Some(held) = self.held.take() else {
            return;
        };
        if follower.is_none_or(|line| names(line, self.prev)) {
            self.state.apply(&held);
        } else {
            self.left_out.push(held.seq);
        }
    }

    fn reason(&self, damage: &Damage) -> String {
        let named: Vec<String> = self
            .left_out
            .iter()
            .take(NAMED_MOST)
            .map(ToString::to_string)
            .collect();
        let more = self.left_out.len().saturating_sub(NAMED_MOST);
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        let left_out = if named.is_empty() {
            "none".to_owned()
        } else {
            named.join(", ") + &more
        };
        format!("{damage}; left out of the state: {left_out}")
    }
}
