//! The index of a journal: which of its lines a query about some series needs.
//!
//! In: a query. Out: a [`Plan`], the ranges of entries to read for it. Reading only these gives the same result as
//! reading all lines.
//!
//! - It is derived from the journal, checked against it, and made again if it is missing or wrong. Lists show what a
//!   series is about from the index, but a verdict is always read from the journal ([`Index::each_closing`]). `verify`
//!   and the daemon never use it.
//! - It covers closed segments from the first one, each in a file of its own ([`file`]). From the first segment without
//!   an index, everything is read.
//! - A plan may hold more lines than are needed, and never fewer. Which later entries can refer to an earlier series is
//!   decided in one place, in [`build`].

#![expect(
    clippy::disallowed_methods,
    reason = "edge: the index is files and threads"
)]

mod build;
mod closings;
mod facts;
mod file;
mod plan;

pub(crate) use closings::Closing;
pub(crate) use facts::{Facts, Times};
pub(crate) use plan::Plan;

use crate::entry::{Outcome, Seq};
use crate::journal::{Dir, Identity, JOURNAL_FOLDER, JournalError, SegmentNumber};
use crate::workers::Workers;
use build::Built;
use file::{Across, Found, Within};
use std::collections::BTreeSet;
use std::convert::Infallible;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

/// The index of a journal, up to the first segment without one.
#[derive(Debug)]
pub(crate) struct Index {
    state_dir: PathBuf,
    known: Vec<Known>,
    /// Whether a closed segment could have an index and has none.
    is_lacking: bool,
}

/// A segment with an index.
#[derive(Debug)]
struct Known {
    number: SegmentNumber,
    of: Identity,
    across: Across,
}

impl Known {
    fn within(&self, state_dir: &Path) -> Option<Within> {
        file::within(state_dir, self.number, &self.of)
    }
}

/// A series within a segment, as queries see it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row<'i> {
    /// Its id.
    pub(crate) id: Seq,
    /// The properties that it shares with others.
    pub(crate) facts: &'i Facts,
    pub(crate) times: Times,
    pub(crate) outcome: Outcome,
    /// Number of failed readings.
    pub(crate) failed: u32,
    pub(crate) closing: Closing,
}

impl Index {
    /// An empty index: every plan reads everything.
    pub(crate) fn none(state_dir: &Path) -> Self {
        Self {
            state_dir: state_dir.to_owned(),
            known: Vec::new(),
            is_lacking: false,
        }
    }

    /// The index of the segments that end at or before the `durable` entry.
    pub(crate) fn open(state_dir: &Path, durable: Seq) -> Result<Self, JournalError> {
        let mut index = Self::none(state_dir);
        let Some(dir) = Dir::open_if_there(&state_dir.join(JOURNAL_FOLDER))? else {
            return Ok(index);
        };
        let closed = closed(&dir, durable)?;
        for (number, of) in closed {
            match file::across(state_dir, number, &of) {
                Found::Index(across) => index.known.push(Known { number, of, across }),
                Found::NonePossible => break,
                Found::Lacking => {
                    index.is_lacking = true;
                    break;
                }
            }
        }
        Ok(index)
    }

    /// Whether it would cover more segments if missing indexes were made.
    pub(crate) const fn is_lacking(&self) -> bool {
        self.is_lacking
    }

    /// Gives `take` every series that lies within a segment of the index, ascending.
    pub(crate) fn each_row(&mut self, mut take: impl FnMut(Row<'_>)) {
        for at in 0..self.known.len() {
            let within = self
                .known
                .get(at)
                .and_then(|known| known.within(&self.state_dir));
            let Some(within) = within else {
                // It is damaged, or was changed since it was opened. The indexes after it are removed too, and are made
                // again at once.
                for known in self.known.drain(at..) {
                    known.within(&self.state_dir);
                }
                return;
            };
            for row in &within.rows {
                if let Some(facts) = within.facts.get(row.facts) {
                    take(Row {
                        id: row.id,
                        facts,
                        times: row.times,
                        outcome: row.outcome,
                        failed: row.failed,
                        closing: row.closing(),
                    });
                }
            }
        }
    }

    /// The series of the index that must be read to know anything about them, ascending.
    pub(crate) fn unknown(&self) -> BTreeSet<Seq> {
        let spans = self.known.iter().flat_map(|known| &known.across.spans);
        spans
            .filter(|span| span.id == span.from)
            .map(|span| span.id)
            .collect()
    }

    /// The ids of all series of the index, ascending.
    pub(crate) fn ids(&mut self) -> Vec<Seq> {
        let mut ids = Vec::new();
        self.each_row(|row| ids.push(row.id));
        ids.extend(self.unknown());
        ids.sort_unstable();
        ids
    }

    /// The last entry that the index covers; `Seq(0)` if it covers none.
    pub(crate) fn up_to(&self) -> Seq {
        self.known.last().map_or(Seq(0), |known| known.of.last)
    }
}

/// The closed segments up to the `durable` entry, from the first one, as long as each follows the one before.
fn closed(dir: &Dir, durable: Seq) -> Result<Vec<(SegmentNumber, Identity)>, JournalError> {
    let mut closed: Vec<(SegmentNumber, Identity)> = Vec::new();
    let numbers = dir.segments()?;
    let before_the_last = numbers.len().saturating_sub(1);
    for number in numbers.iter().copied().take(before_the_last) {
        let found = dir.identity(number)?;
        let before = closed.last();
        let follows = |of: &Identity| {
            before
                .is_none_or(|(before, known)| before.following() == number && known.last < of.first)
                && of.first <= of.last
                && of.last <= durable
        };
        let Some(of) = found.filter(follows) else {
            break;
        };
        closed.push((number, of));
    }
    // A cursor finds a place by the first numbers of segments.
    let last = closed.last().map_or(Seq(0), |(_, of)| of.last);
    for number in numbers.iter().skip(closed.len()) {
        if dir.first_of(*number)?.is_some_and(|first| first <= last) {
            return Ok(Vec::new());
        }
    }
    Ok(closed)
}

/// Segments that have no index.
#[derive(Debug)]
pub(crate) struct Lacking {
    dir: Dir,
    state_dir: PathBuf,
    left: Vec<SegmentNumber>,
    bytes: u64,
}

impl Lacking {
    /// The segments without an index up to the `durable` entry; `None` if there are none, or if indexes may not be
    /// written here.
    pub(crate) fn find(state_dir: &Path, durable: Seq) -> Result<Option<Self>, JournalError> {
        let Some(dir) = Dir::open_if_there(&state_dir.join(JOURNAL_FOLDER))? else {
            return Ok(None);
        };
        let closed = closed(&dir, durable)?.into_iter();
        let lacking =
            closed.filter(|(number, of)| file::across(state_dir, *number, of).is_lacking());
        let (mut left, bytes): (Vec<_>, Vec<_>) =
            lacking.map(|(number, of)| (number, of.bytes())).unzip();
        if left.is_empty() || !file::may_write(state_dir) {
            return Ok(None);
        }
        file::remove_others(state_dir, &dir.segments()?);
        left.reverse();
        Ok(Some(Self {
            dir,
            state_dir: state_dir.to_owned(),
            left,
            bytes: bytes.iter().sum(),
        }))
    }

    /// Size of the segments.
    pub(crate) const fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Makes the index of each on all processors. `done` is called with the size of each segment.
    pub(crate) fn make_all(mut self, mut done: impl FnMut(u64)) {
        let mut left = std::mem::take(&mut self.left);
        let Ok(()) = Workers::of_machine().in_order(
            || left.pop(),
            |number| self.make(number, &|| true),
            |bytes| {
                let Some(bytes) = bytes else {
                    return Ok::<_, Infallible>(ControlFlow::Break(()));
                };
                done(bytes);
                Ok(ControlFlow::Continue(()))
            },
        );
    }

    /// Makes the index of the next one, and returns the segment's size, or 0 if the segment was changed meanwhile.
    /// `None` if none is left, if `go_on` returns `false`, or if the index cannot be written.
    pub(crate) fn make_one(&mut self, go_on: &(dyn Fn() -> bool + Sync)) -> Option<u64> {
        let number = self.left.pop()?;
        self.make(number, go_on)
    }

    fn make(&self, number: SegmentNumber, go_on: &(dyn Fn() -> bool + Sync)) -> Option<u64> {
        let Ok(Some(Built { of, made })) = build::build(&self.dir, number, go_on) else {
            return go_on().then_some(0);
        };
        let made = made.as_ref().map(|(across, within)| (across, within));
        let written = file::write(&self.state_dir, number, &of, made);
        written.ok().map(|()| of.bytes())
    }
}
