//! Reads the entries that closed series, at the places in the index, so that every verdict shown is read from the
//! journal.

use super::{Index, Known};
use crate::entry::line::decode;
use crate::entry::{Completed, Entry, Seq, SeriesEntry};
use crate::journal::{Dir, JOURNAL_FOLDER, Places, SegmentNumber};
use crate::workers::Workers;
use std::convert::Infallible;
use std::ops::ControlFlow;

/// Number of entries in one job.
const ENTRIES: usize = 512;

/// The place of the entry that closed a series.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Closing {
    /// The series.
    pub(crate) series: Seq,
    /// Number of the entry.
    pub(super) seq: Seq,
    /// Offset of its line in the segment.
    pub(super) at: u64,
}

impl Index {
    /// Gives the entries that closed these series to `take`, in the same order. Returns `false` if one is not at the
    /// place in the index: then the index is wrong, and is removed.
    pub(crate) fn each_closing(
        &self,
        closings: &[Closing],
        mut take: impl FnMut(Completed),
    ) -> bool {
        let folder = self.state_dir.join(JOURNAL_FOLDER);
        let Ok(Some(dir)) = Dir::open_if_there(&folder) else {
            return closings.is_empty();
        };
        let mut jobs = closings.chunks(ENTRIES);
        let mut is_sound = true;
        let Ok(()) = Workers::of_machine().in_order(
            || jobs.next(),
            |job| self.closed(&dir, job),
            |read| {
                match read {
                    Ok(read) => read.into_iter().for_each(&mut take),
                    Err(number) => {
                        is_sound = false;
                        if let Some(number) = number {
                            super::file::remove(&self.state_dir, number);
                        }
                        return Ok::<_, Infallible>(ControlFlow::Break(()));
                    }
                }
                Ok(ControlFlow::Continue(()))
            },
        );
        is_sound
    }

    /// The entries; or the segment whose index is wrong, if there is one.
    fn closed(
        &self,
        dir: &Dir,
        closings: &[Closing],
    ) -> Result<Vec<Completed>, Option<SegmentNumber>> {
        let mut places = Places::new(dir);
        let read = closings.iter().map(|closing| {
            let at = self
                .known
                .partition_point(|known| known.of.last < closing.seq);
            let Some(Known { number, .. }) = self.known.get(at) else {
                return Err(None);
            };
            let wrong = Some(*number);
            let line = places.line(*number, closing.at).ok().flatten();
            let read = line.and_then(|line| decode(line).ok());
            let read = read.map(|(stamped, _)| (stamped.seq, stamped.entry));
            let Some((seq, Entry::Series(SeriesEntry::Completed(completed)))) = read else {
                return Err(wrong);
            };
            let is_it = seq == closing.seq && completed.series == closing.series;
            is_it.then_some(completed).ok_or(wrong)
        });
        read.collect()
    }
}
