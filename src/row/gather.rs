//! Makes rows from entries, each once its reading can no longer change.
//!
//! In: entries in order. Out: rows, series by series as they become final ([`crate::entry::ledger`]). A reading outside
//! a series is a row at once.

use super::Row;
use crate::entry::ledger::{Ledger, Series, Whole};
use crate::entry::{JournalId, Stamped};

/// Makes rows from the entries of one journal.
#[derive(Debug)]
pub struct Gather {
    journal: JournalId,
    ledger: Ledger<Whole>,
}

impl Gather {
    /// Begins before an entry of this journal. No series that is needed may be open there.
    pub fn new(journal: JournalId) -> Self {
        Self {
            journal,
            ledger: Ledger::default(),
        }
    }

    /// Takes the next entry, and gives out the rows that become final by it.
    pub fn take<E>(
        &mut self,
        stamped: &Stamped,
        mut tell: impl FnMut(&Row<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let whole = Whole::of(stamped);
        let loose = whole.clone().filter(|one| one.reading.slot.is_none());
        if let Some(series) = self.ledger.take(stamped, whole) {
            give_rows(&self.journal, &series, &mut tell)?;
        }
        if let Some(loose) = loose {
            tell(&Row::loose(&self.journal, stamped.seq, &loose))?;
        }
        Ok(())
    }

    /// Gives out the readings of the series that are still open, in their present state.
    pub fn finish<E>(self, mut tell: impl FnMut(&Row<'_>) -> Result<(), E>) -> Result<(), E> {
        let mut left = self.ledger.finish();
        left.try_for_each(|series| give_rows(&self.journal, &series, &mut tell))
    }
}

fn give_rows<E>(
    journal: &JournalId,
    series: &Series<Whole>,
    mut tell: impl FnMut(&Row<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let rows = series.readings.iter();
    rows.map(|entered| Row::of(journal, series, entered))
        .try_for_each(|row| tell(&row))
}
