//! Readings gathered out of entries, each told when nothing more will be said about it.
//!
//! In: entries in order. Out: rows, series by series as these are closed; until then a reading may be doubted
//! or retracted, and after that not any more ([`crate::entry::audit`]). What was measured for nothing is told
//! at once. A series that an arming stopped early waits until it cannot be resumed. What is kept are the readings of the open series.

use super::{Of, Row, Stands};
use crate::entry::resume::Resumable;
use crate::entry::{Entry, JournalId, Reading, Seq, Stamped};
use crate::quantity::WallMicros;
use crate::spec::ArmedSpec;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// Gathers readings.
#[derive(Debug)]
pub struct Gather {
    journal: JournalId,
    open: BTreeMap<Seq, Open>,
    /// Closed, and can be open again.
    resumable: Resumable,
}

#[derive(Debug)]
struct Open {
    spec: Box<ArmedSpec>,
    operator: Option<Arc<str>>,
    kept: Vec<Kept>,
    fallen: HashMap<Seq, Stands>,
}

#[derive(Debug)]
struct Kept {
    seq: Seq,
    at: WallMicros,
    reading: Arc<Reading>,
    operator: Option<Arc<str>>,
}

impl Gather {
    /// Of this journal, from before an entry at which no series is open that matters.
    pub fn new(journal: JournalId) -> Self {
        Self {
            journal,
            open: BTreeMap::new(),
            resumable: Resumable::default(),
        }
    }

    /// The first of the series that are open.
    pub fn first_open(&self) -> Option<Seq> {
        self.open.keys().next().copied()
    }

    /// Takes the next entry, and tells the rows that it settles.
    pub fn take<E>(
        &mut self,
        stamped: &Stamped,
        mut tell: impl FnMut(&Row<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let settled = self.resumable.settled(stamped);
        if let Some(open) = settled.and_then(|series| self.open.remove(&series)) {
            open.tell(&self.journal, &mut tell)?;
        }
        let entry = &stamped.entry;
        if let Entry::Armed(spec) = entry {
            self.arm(stamped.seq, spec);
        } else if let Entry::OperatorSaid {
            series: Some(series),
            operator,
            ..
        } = entry
        {
            if let Some(open) = self.open.get_mut(series) {
                open.operator = Some(operator.as_str().into());
            }
        } else if let Entry::Resumed {
            series, operator, ..
        } = entry
        {
            if let Some(open) = self.open.get_mut(series) {
                open.operator = operator.as_deref().map(Into::into);
            }
        } else if let Entry::Doubted {
            series, readings, ..
        } = entry
        {
            if let Some(open) = self.open.get_mut(series) {
                for seq in readings {
                    open.fallen.entry(*seq).or_insert(Stands::Doubted);
                }
            }
        } else if let Entry::Retracted {
            series, reading, ..
        } = entry
        {
            if let Some(open) = self.open.get_mut(series) {
                open.fallen.insert(*reading, Stands::Retracted);
            }
        } else if let Entry::Restored {
            series, reading, ..
        } = entry
        {
            if let Some(open) = self.open.get_mut(series) {
                open.fallen.remove(reading);
            }
        } else if let Entry::Completed(completed) = entry {
            if !completed.resumable
                && let Some(open) = self.open.remove(&completed.series)
            {
                return open.tell(&self.journal, tell);
            }
        } else if let Entry::Reading(reading) = entry {
            let (seq, at) = (stamped.seq, stamped.at);
            let Some(slot) = &reading.slot else {
                let stands = Stands::NotCounted;
                return tell(&Row::new(&self.journal, seq, at, reading, None, stands));
            };
            if let Some(open) = self.open.get_mut(&slot.series) {
                open.kept.push(Kept {
                    seq,
                    at,
                    reading: Arc::clone(reading),
                    operator: open.operator.clone(),
                });
            }
        }
        Ok(())
    }

    /// Tells the readings of the series that are still open, as they stand now.
    pub fn finish<E>(self, mut tell: impl FnMut(&Row<'_>) -> Result<(), E>) -> Result<(), E> {
        self.open
            .into_values()
            .try_for_each(|open| open.tell(&self.journal, &mut tell))
    }

    fn arm(&mut self, id: Seq, spec: &ArmedSpec) {
        let open = Open {
            operator: spec.operator.as_deref().map(Into::into),
            spec: Box::new(spec.clone()),
            kept: Vec::new(),
            fallen: HashMap::new(),
        };
        self.open.insert(id, open);
    }
}

impl Open {
    fn tell<E>(
        self,
        journal: &JournalId,
        mut tell: impl FnMut(&Row<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        for kept in &self.kept {
            let of = Of {
                spec: &self.spec,
                operator: kept.operator.as_deref(),
            };
            let stands = self.fallen.get(&kept.seq).copied();
            tell(&Row::new(
                journal,
                kept.seq,
                kept.at,
                &kept.reading,
                Some(of),
                stands.unwrap_or(Stands::Counted),
            ))?;
        }
        Ok(())
    }
}
