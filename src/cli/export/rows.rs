//! A row a reading.

use super::target::not_written;
use super::{Export, Written};
use crate::cli::Failure;
use crate::cli::query::{Fallen, Search, Series, Take, lines};
use crate::config::DaemonConfig;
use crate::entry::glance::Glance;
use crate::entry::{Entry, JournalId, Reading, Seq};
use crate::export::{Mark, Table};
use crate::journal::Line;
use crate::quantity::WallMicros;
use crate::row::{Of, Row, Stands};
use std::sync::Arc;

struct Writing<'e, T> {
    daemon: &'e DaemonConfig,
    journal: &'e JournalId,
    counted: bool,
    mark: Option<&'e Mark>,
    table: T,
    rows: u64,
}

/// What is kept of a reading until its series is closed.
struct Kept {
    seq: Seq,
    at: WallMicros,
    reading: Arc<Reading>,
    operator: Option<Arc<str>>,
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
        if self.counted && row.standing != Stands::Counted {
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
    type Kept = Kept;

    fn keep(
        &mut self,
        series: &Series,
        glance: &Glance<'_>,
        line: &Line,
    ) -> Result<Option<Kept>, Failure> {
        let stamped = lines::decoded(self.daemon, line)?;
        let Entry::Reading(reading) = stamped.entry else {
            return Ok(None);
        };
        Ok(Some(Kept {
            seq: glance.seq,
            at: stamped.at,
            reading,
            operator: series.operator.clone(),
        }))
    }

    fn tell(&mut self, series: &Series, kept: Kept, fallen: Option<Fallen>) -> Result<(), Failure> {
        if !self.is_of_this_pull(series.closed) {
            return Ok(());
        }
        let of = Of {
            spec: &series.spec,
            operator: kept.operator.as_deref(),
        };
        let stands = match fallen {
            None => Stands::Counted,
            Some(Fallen::Doubted) => Stands::Doubted,
            Some(Fallen::Retracted) => Stands::Retracted,
            Some(Fallen::NotCounted) => Stands::NotCounted,
        };
        self.row(&Row::new(
            self.journal,
            kept.seq,
            kept.at,
            &kept.reading,
            Some(of),
            stands,
        ))
    }

    fn loose(&mut self, seq: Seq, at: WallMicros, reading: &Reading) -> Result<(), Failure> {
        if !self.is_of_this_pull(Some(seq)) {
            return Ok(());
        }
        let stands = Stands::NotCounted;
        self.row(&Row::new(self.journal, seq, at, reading, None, stands))
    }
}
