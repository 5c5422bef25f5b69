//! Collects from the journal the outcome of the series or the job of a label.
//!
//! In: every entry in order, with the digest of its line. Out: at any entry, the outcome up to then, and the text of
//! the label that is correct at that entry.

use crate::entry::ledger::{Ledger, Series};
use crate::entry::line::Digest;
use crate::entry::{Entry, Reservation, Seq, SeriesEntry, Stamped};
use crate::message::label::{LabelOf, LabelState, LabelText};
use std::collections::BTreeMap;

/// Collects the entries about the subject of one label.
#[derive(Debug)]
pub(in crate::cli) struct Gathering {
    of: LabelOf,
    ledger: Ledger<()>,
    /// The series that no later entry can change.
    settled: BTreeMap<Seq, Series<()>>,
    /// The entry that closed each series, or the last one about it.
    shows: BTreeMap<Seq, (Seq, Digest)>,
}

impl Gathering {
    /// A collection before the first entry.
    pub(in crate::cli) fn new(of: LabelOf) -> Self {
        Self {
            of,
            ledger: Ledger::default(),
            settled: BTreeMap::new(),
            shows: BTreeMap::new(),
        }
    }

    /// The subject of the label.
    pub(super) fn of(&self) -> &LabelOf {
        &self.of
    }

    /// Takes the next entry, with the digest of its line.
    pub(in crate::cli) fn take(&mut self, stamped: &Stamped, digest: Digest) {
        let is_closing = matches!(&stamped.entry, Entry::Series(SeriesEntry::Completed(_)));
        let settled = self.ledger.take(stamped, None);
        if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry
            && !self.of.has(stamped.seq, spec.job.as_ref())
        {
            self.ledger.forget(stamped.seq);
        }
        let about = stamped.series().or_else(|| {
            let is_armed = matches!(&stamped.entry, Entry::Series(SeriesEntry::Armed(_)));
            is_armed.then_some(stamped.seq)
        });
        let is_open = |id: &Seq| {
            let known = self.ledger.get(*id);
            known.is_some_and(|series| series.closed.is_none())
        };
        let closed = |id: &Seq| {
            let is_it = settled.as_ref().is_some_and(|series| series.id == *id);
            is_closing && (is_it || self.ledger.get(*id).is_some())
        };
        if let Some(id) = about.filter(|id| is_open(id) || closed(id)) {
            self.shows.insert(id, (stamped.seq, digest));
        }
        if let Some(series) = settled {
            self.settled.insert(series.id, series);
        }
    }

    /// The series so far, in the order in which they were opened.
    pub(super) fn series(&self) -> Vec<&Series<()>> {
        let mut all: Vec<_> = self
            .settled
            .values()
            .chain(self.ledger.unsettled())
            .collect();
        all.sort_by_key(|series| series.id);
        all
    }

    /// The reservations of all series, each once.
    pub(super) fn reservations(&self) -> Vec<Reservation> {
        let series = self.series();
        let closed = series.iter().filter_map(|series| series.closed.as_ref());
        let said: Vec<Reservation> = closed
            .flat_map(|closed| closed.completed.reservations())
            .copied()
            .collect();
        let all = Reservation::ALL.into_iter();
        all.filter(|one| said.contains(one)).collect()
    }

    /// The text of the label at this entry; `None` if there is no such series.
    pub(in crate::cli) fn text(&self) -> Option<LabelText> {
        let series = self.series();
        let outcomes = series.iter().map(|series| {
            let closed = series.closed.as_ref();
            closed.map(|closed| closed.completed.outcome)
        });
        let state = LabelState::of(outcomes)?;
        let shows = series
            .iter()
            .filter_map(|series| self.shows.get(&series.id));
        let (entry, digest) = *shows.max_by_key(|(seq, _)| *seq)?;
        Some(LabelText {
            of: self.of.clone(),
            state,
            reservations: u64::try_from(self.reservations().len()).unwrap_or(u64::MAX),
            entry,
            digest,
        })
    }
}
