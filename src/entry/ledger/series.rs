//! A series in the ledger.

use super::Disposition;
use crate::entry::{Completed, Reading, Seq, Stamped};
use crate::quantity::WallMicros;
use crate::spec::ArmedSpec;
use std::sync::Arc;

/// A series with its readings, as far as they were kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series<K> {
    /// Its id: the seq of its `armed` entry.
    pub id: Seq,
    /// When it was opened.
    pub opened: WallMicros,
    /// What it judges by.
    pub spec: Arc<ArmedSpec>,
    /// How it was closed; `None` while it is open.
    pub closed: Option<Closed>,
    /// The entry since which nothing more is said about it; `None` while it is open or can be resumed.
    pub settled: Option<Seq>,
    /// Its readings, in order.
    pub readings: Vec<Entered<K>>,
    /// Who measures, each from an entry on.
    operators: Vec<(Seq, Option<Arc<str>>)>,
}

/// How a series was closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closed {
    /// Wall clock of the entry that closed it.
    pub at: WallMicros,
    /// What came out.
    pub completed: Completed,
}

/// A reading in the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entered<K> {
    /// `seq` of its entry.
    pub seq: Seq,
    /// What became of it.
    pub disposition: Disposition,
    /// What the caller's closure took from the entry.
    pub kept: K,
}

/// A whole reading, for those who keep that.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Whole {
    /// When it was entered.
    pub at: WallMicros,
    /// What was entered.
    pub reading: Arc<Reading>,
}

impl Whole {
    /// The reading of an entry that is one.
    pub fn of(stamped: &Stamped) -> Option<Self> {
        let reading = stamped.entry.reading()?;
        Some(Self {
            at: stamped.at,
            reading: Arc::clone(reading),
        })
    }
}

impl<K> Series<K> {
    pub(super) fn new(id: Seq, opened: WallMicros, spec: &Arc<ArmedSpec>) -> Self {
        Self {
            id,
            opened,
            spec: Arc::clone(spec),
            closed: None,
            settled: None,
            readings: Vec::new(),
            operators: vec![(id, spec.operator.as_deref().map(Into::into))],
        }
    }

    pub(super) fn hand_over(&mut self, from: Seq, operator: Option<&str>) {
        self.operators.push((from, operator.map(Into::into)));
    }

    pub(super) fn reading_mut(&mut self, seq: Seq) -> Option<&mut Entered<K>> {
        let at = self.place(seq)?;
        self.readings.get_mut(at)
    }

    /// What became of a reading that was kept.
    pub fn disposition(&self, seq: Seq) -> Option<Disposition> {
        let reading = self.readings.get(self.place(seq)?)?;
        Some(reading.disposition)
    }

    /// Who measured the reading of this entry.
    pub fn operator(&self, seq: Seq) -> Option<&str> {
        let after = self.operators.partition_point(|(from, _)| *from <= seq);
        let (_, operator) = self.operators.get(after.checked_sub(1)?)?;
        operator.as_deref()
    }

    /// Who measured in it, each once, in the order in which they came.
    pub fn operators(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for name in self
            .operators
            .iter()
            .filter_map(|(_, name)| name.as_deref())
        {
            if !names.contains(&name) {
                names.push(name);
            }
        }
        names
    }

    fn place(&self, seq: Seq) -> Option<usize> {
        self.readings.binary_search_by_key(&seq, |one| one.seq).ok()
    }
}
