//! The entries by which series were closed, read where the index says that they are: a verdict that is shown is the
//! journal's own.

use super::{Index, Known};
use crate::entry::line::decode;
use crate::entry::{Completed, Entry, Seq, SeriesEntry};
use crate::journal::{Dir, JOURNAL_FOLDER, Places, SegmentNumber};
use crate::workers::Workers;
use std::convert::Infallible;
use std::ops::ControlFlow;

/// Number of entries that are one job.
const ENTRIES: usize = 512;

/// Where the entry is that closed a series.
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
    /// Gives the entries that closed these series to `take`, in the same order. Returns `false` if one is not where the
    /// index says: it is wrong, and is thrown away.
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

    /// The entries; else the segment whose index is wrong, if there is one.
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
