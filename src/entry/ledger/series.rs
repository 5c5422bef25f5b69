//! A series in the ledger.

use super::Disposition;
use crate::entry::{Answer, Completed, Reading, Seq, Stamped};
use crate::quantity::WallMicros;
use crate::spec::{ArmedSpec, Look, Lots, Material, PullMode};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A series with the readings that the ledger keeps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Series<K> {
    /// Its id: the seq of its `armed` entry.
    pub id: Seq,
    /// When it was opened.
    pub opened: WallMicros,
    /// The specification that its readings are judged by.
    pub spec: Arc<ArmedSpec>,
    /// How the series was closed; `None` while it is open.
    pub closed: Option<Closed>,
    /// The first entry after which nothing can change the series; `None` while it is open or can be resumed.
    pub settled: Option<Seq>,
    /// The readings, in the order of their entries.
    pub readings: Vec<Entered<K>>,
    /// The last answer to each visual check, by piece (`None` for the series as a whole) and number of the check.
    pub looks: BTreeMap<(Option<u32>, u32), Answer>,
    /// Retracted readings that destroyed their piece, each with that piece. Answers about these pieces do not count.
    pub(super) spent: BTreeMap<Seq, u32>,
    /// The operators, each with the entry after which they measure.
    operators: Vec<(Seq, Option<Arc<str>>)>,
    /// The reel and the spool in use, each with the entry after which they are used.
    lots: Vec<(Seq, Lots)>,
}

/// The end of a series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closed {
    /// Wall clock of the entry that closed it.
    pub at: WallMicros,
    /// The closing entry, with the outcome.
    pub completed: Completed,
}

/// A reading in the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entered<K> {
    /// `seq` of its entry.
    pub seq: Seq,
    /// Whether the reading counts.
    pub disposition: Disposition,
    /// How the pull failed, if this is a pull force and the question was answered.
    pub pull_mode: Option<PullMode>,
    /// The data that the caller keeps of the reading.
    pub kept: K,
}

/// A complete reading, for callers that keep all of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Whole {
    /// Wall time of the entry.
    pub at: WallMicros,
    /// The reading as entered.
    pub reading: Arc<Reading>,
}

impl Whole {
    /// The reading in this entry, if it is one.
    pub fn of(stamped: &Stamped) -> Option<Self> {
        let reading = stamped.entry.reading()?;
        Some(Self {
            at: stamped.at,
            reading: Arc::clone(reading),
        })
    }
}

impl<K> Series<K> {
    /// The answers to visual checks that count: piece (`None` for the series as a whole), number, check, answer.
    pub fn counted_looks(&self) -> impl Iterator<Item = (Option<u32>, u32, &Look, Answer)> {
        let is_spent = |piece: u32| self.spent.values().any(|spent| *spent == piece);
        let counted = self.looks.iter();
        counted
            .filter(move |((piece, _), _)| !piece.is_some_and(is_spent))
            .filter_map(|((piece, look), answer)| {
                let asked = self.spec.questions.look(*look)?;
                Some((*piece, *look, asked, *answer))
            })
    }

    pub(super) fn new(id: Seq, opened: WallMicros, spec: &Arc<ArmedSpec>) -> Self {
        Self {
            id,
            opened,
            spec: Arc::clone(spec),
            closed: None,
            settled: None,
            readings: Vec::new(),
            looks: BTreeMap::new(),
            spent: BTreeMap::new(),
            operators: vec![(id, spec.operator.as_deref().map(Into::into))],
            lots: vec![(id, spec.lots.clone())],
        }
    }

    pub(super) fn set_operator(&mut self, from: Seq, operator: Option<&str>) {
        self.operators.push((from, operator.map(Into::into)));
    }

    pub(super) fn change_lot(&mut self, from: Seq, material: Material, lot: Option<String>) {
        let mut lots = self.lots.last().map(|(_, lots)| lots.clone());
        let mut lots = lots.take().unwrap_or_default();
        lots.change(material, lot);
        self.change_lots(from, lots);
    }

    pub(super) fn change_lots(&mut self, from: Seq, lots: Lots) {
        self.lots.push((from, lots));
    }

    pub(super) fn reading_mut(&mut self, seq: Seq) -> Option<&mut Entered<K>> {
        let at = self.place(seq)?;
        self.readings.get_mut(at)
    }

    /// Whether the reading counts, if the ledger keeps it.
    pub fn disposition(&self, seq: Seq) -> Option<Disposition> {
        let reading = self.readings.get(self.place(seq)?)?;
        Some(reading.disposition)
    }

    /// The operator at the time of this reading.
    pub fn operator(&self, seq: Seq) -> Option<&str> {
        let after = self.operators.partition_point(|(from, _)| *from <= seq);
        let (_, operator) = self.operators.get(after.checked_sub(1)?)?;
        operator.as_deref()
    }

    /// The reel and the spool in use at this reading.
    pub fn lots(&self, seq: Seq) -> Option<&Lots> {
        let after = self.lots.partition_point(|(from, _)| *from <= seq);
        let (_, lots) = self.lots.get(after.checked_sub(1)?)?;
        Some(lots)
    }

    /// The lots of this material, each once, in order of first appearance.
    pub fn lots_of(&self, material: Material) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for (_, lots) in &self.lots {
            if let Some(name) = lots.of(material)
                && !names.contains(&name.as_str())
            {
                names.push(name);
            }
        }
        names
    }

    /// The operators of the series, each once, in order of first appearance.
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
