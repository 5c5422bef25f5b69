//! A row a reading.

use super::target::not_written;
use super::{Export, Written};
use crate::cli::Failure;
use crate::cli::query::{Search, Take, lines};
use crate::config::DaemonConfig;
use crate::entry::glance::Glance;
use crate::entry::ledger::{Disposition, Series, Whole};
use crate::entry::{JournalId, Seq};
use crate::export::{Mark, Table};
use crate::journal::Line;
use crate::row::Row;

struct Writing<'e, T> {
    daemon: &'e DaemonConfig,
    journal: &'e JournalId,
    counted: bool,
    mark: Option<&'e Mark>,
    table: T,
    rows: u64,
}

/// Writes what was asked for into `table`; what that was written to comes back.
pub(super) fn write<T: Table>(
    export: &Export,
    daemon: &DaemonConfig,
    journal: &JournalId,
    mark: Option<&Mark>,
    table: T,
) -> Result<(Written, T::Target), Failure> {
    let filter = export.query.filter()?;
    let after = mark.map_or(filter.after(), |mark| Seq(mark.from));
    let mut writing = Writing {
        daemon,
        journal,
        counted: export.counted,
        mark,
        table,
        rows: 0,
    };
    let reached = Search::run_from(daemon, filter, after, &mut writing)?;
    let written = Written {
        count: writing.rows,
        reached,
    };
    let target = writing.table.finish().map_err(not_written)?;
    Ok((written, target))
}

impl<T: Table> Writing<'_, T> {
    fn row(&mut self, row: &Row<'_>) -> Result<(), Failure> {
        if self.counted && row.standing != Disposition::Counted {
            return Ok(());
        }
        self.rows += 1;
        self.table.row(row).map_err(not_written)
    }

    /// Whether it was given before, or must wait.
    fn is_of_this_pull(&self, told_by: Option<Seq>) -> bool {
        let Some(mark) = self.mark else {
            return true;
        };
        told_by.is_some_and(|seq| seq.0 > mark.after)
    }
}

impl<T: Table> Take for Writing<'_, T> {
    type Kept = Whole;

    fn keep(
        &mut self,
        _: &Series<Whole>,
        _: &Glance<'_>,
        line: &Line,
    ) -> Result<Option<Whole>, Failure> {
        Ok(Whole::of(&lines::decoded(self.daemon, line)?))
    }

    fn tell(&mut self, series: Series<Whole>) -> Result<(), Failure> {
        if !self.is_of_this_pull(series.settled) {
            return Ok(());
        }
        let mut readings = series.readings.iter();
        readings.try_for_each(|entered| self.row(&Row::of(self.journal, &series, entered)))
    }

    fn loose(&mut self, seq: Seq, reading: &Whole) -> Result<(), Failure> {
        if !self.is_of_this_pull(Some(seq)) {
            return Ok(());
        }
        self.row(&Row::loose(self.journal, seq, reading))
    }
}
