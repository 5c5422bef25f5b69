//! Which rows change by which entries.
//!
//! In: lines in order. Out: the rows that are new or other than before, and from where a later run must read to know the
//! same. A reading is a row at once; it changes while its series can change (doubts, retractions, the mode of a pull).

use super::super::SinkError;
use crate::entry::ledger::{Ledger, Series, Whole};
use crate::entry::line::Digest;
use crate::entry::{JournalId, Seq};
use crate::export::sql_table::object;
use crate::journal::Line;
use crate::row::Row;
use serde_json::Value;
use std::collections::BTreeMap;

/// The readings that can still change, and their rows as they were given out.
#[derive(Debug)]
pub(super) struct Fold {
    journal: JournalId,
    ledger: Ledger<Whole>,
    /// The rows of the ledger's readings, as they were given out.
    given: BTreeMap<Seq, Value>,
}

/// What follows from some lines.
#[derive(Debug)]
pub(super) struct Change {
    /// New and changed rows, by the entry of their reading.
    pub(super) rows: BTreeMap<Seq, Value>,
    /// The last of the lines, and its digest.
    pub(super) last: (Seq, Digest),
    /// The entry after which a later run must read on.
    pub(super) reads_after: Seq,
}

impl Fold {
    /// Begins before an entry of this journal at which no series is open that matters.
    pub(super) fn new(journal: &str) -> Self {
        Self {
            journal: JournalId(journal.to_owned()),
            ledger: Ledger::default(),
            given: BTreeMap::new(),
        }
    }

    /// Takes the next lines. Those up to `has` are in the table, so only what they mean for later ones is kept of them.
    pub(super) fn take(&mut self, lines: &[Line], has: Seq) -> Result<Option<Change>, SinkError> {
        let mut rows = BTreeMap::new();
        for line in lines {
            let stamped = line.entry()?;
            let whole = Whole::of(&stamped);
            let loose = whole.clone().filter(|whole| whole.reading.slot.is_none());
            if let Some(series) = self.ledger.take(&stamped, whole)
                && line.seq > has
            {
                self.give(&series, &mut rows);
                for reading in &series.readings {
                    self.given.remove(&reading.seq);
                }
            }
            if let Some(loose) = loose.filter(|_| line.seq > has) {
                let row = Row::loose(&self.journal, line.seq, &loose);
                rows.insert(line.seq, object(&row));
            }
        }
        let Some(last) = lines.last().filter(|last| last.seq > has) else {
            return Ok(None);
        };
        let ledger = std::mem::take(&mut self.ledger);
        for series in ledger.unsettled() {
            self.give(series, &mut rows);
        }
        let first = ledger.unsettled().next();
        let reads_after = first.map_or(last.seq, |open| Seq(open.id.0.saturating_sub(1)));
        self.ledger = ledger;
        Ok(Some(Change {
            rows,
            last: (last.seq, Digest::of(&last.bytes)),
            reads_after,
        }))
    }

    /// Gives out the rows of a series that are not as they were.
    fn give(&mut self, series: &Series<Whole>, rows: &mut BTreeMap<Seq, Value>) {
        for entered in &series.readings {
            let row = object(&Row::of(&self.journal, series, entered));
            if self.given.get(&entered.seq) != Some(&row) {
                self.given.insert(entered.seq, row.clone());
                rows.insert(entered.seq, row);
            }
        }
    }
}
