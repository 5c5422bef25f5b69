//! What a series amounts to, told from its record: each reading with what became of it.
//!
//! In: a [`Record`]. Out: its readings in order, its zeros, what else happened, and the samples that figures
//! are made of. Nothing is judged here: a verdict is that of the entry.

use super::gather::Record;
use crate::entry::{
    Doubted, Entry, FrameEntry, Means, NotCounted, OperatorSaid, Outcome, Reading, ReadingSlot,
    Reservation, Restored, Resumed, Retracted, SaidEntry, Seq, SeriesEntry, Stamped, Standing,
    Tally, Zeroed,
};
use crate::quantity::{Dimension, Quantity, Unit, WallMicros};
use crate::spec::{ArmedAxis, ArmedSubject, Verdict};
use crate::stats::{Limits, Sample, Undefined};
use std::collections::HashMap;
use std::sync::Arc;

/// A series with what became of each of its readings.
#[derive(Debug, Clone)]
pub struct Facts {
    /// All that was said about it.
    pub record: Record,
    /// Its readings, in the order in which they were taken.
    pub readings: Vec<Row>,
    /// How many came out how.
    pub tally: Tally,
    /// Who measured, in the order in which they came.
    pub operators: Vec<String>,
}

/// A reading with what became of it.
#[derive(Debug, Clone)]
pub struct Row {
    /// Its entry.
    pub seq: Seq,
    /// When.
    pub at: WallMicros,
    /// What was entered.
    pub reading: Arc<Reading>,
    /// Who measured.
    pub operator: Option<String>,
    /// What became of it.
    pub fate: Fate,
}

/// What became of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// It counts.
    Counts(Verdict),
    /// A zero no longer vouches for it.
    Doubted {
        /// The entry that says so.
        by: Seq,
        /// Why.
        reason: String,
    },
    /// The operator retracted it.
    Retracted {
        /// The entry that says so.
        by: Seq,
        /// By what means.
        means: Option<Means>,
        /// Why, if it was said.
        reason: Option<String>,
    },
    /// It never counted.
    NotCounted {
        /// Why.
        reason: NotCounted,
        /// What it may be instead.
        hint: Option<String>,
    },
    /// It was entered without a verdict.
    Unjudged,
}

impl Row {
    /// What it was measured for.
    pub fn slot(&self) -> Option<&ReadingSlot> {
        self.reading.slot.as_ref()
    }

    /// Its verdict, if it counts.
    pub fn verdict(&self) -> Option<Verdict> {
        match self.fate {
            Fate::Counts(verdict) => Some(verdict),
            Fate::Doubted { .. }
            | Fate::Retracted { .. }
            | Fate::NotCounted { .. }
            | Fate::Unjudged => None,
        }
    }

    /// The value in base units.
    pub fn base(&self) -> i64 {
        self.reading.value.quantity().base()
    }
}

impl Facts {
    /// Of all that was said about a series.
    pub fn of(record: Record) -> Self {
        let fallen = fallen(&record.entries);
        let mut operator = record.spec.operator.clone();
        let mut operators: Vec<String> = operator.iter().cloned().collect();
        let mut readings = Vec::new();
        for stamped in &record.entries {
            if let Entry::Said(SaidEntry::OperatorSaid(OperatorSaid { operator: said, .. }))
            | Entry::Series(SeriesEntry::Resumed(Resumed {
                operator: Some(said),
                ..
            })) = &stamped.entry
            {
                operator = Some(said.clone());
                if !operators.contains(said) {
                    operators.push(said.clone());
                }
            } else if let Entry::Frame(FrameEntry::Reading(reading)) = &stamped.entry {
                let fate = fallen.get(&stamped.seq).cloned();
                readings.push(Row {
                    seq: stamped.seq,
                    at: stamped.at,
                    reading: Arc::clone(reading),
                    operator: operator.clone(),
                    fate: fate.unwrap_or_else(|| as_entered(reading)),
                });
            }
        }
        Self {
            tally: tally(&readings),
            record,
            readings,
            operators,
        }
    }

    /// What takes from its weight.
    pub fn reservations(&self) -> &[Reservation] {
        let closed = self.record.closed.as_ref();
        closed.map_or(&[], |(_, completed)| completed.reservations())
    }

    /// What came out; `None` while it is open.
    pub fn outcome(&self) -> Option<Outcome> {
        let closed = self.record.closed.as_ref();
        closed.map(|(_, completed)| completed.outcome)
    }

    /// How many readings make it full.
    pub fn slots(&self) -> u64 {
        let axes = u64::try_from(self.record.spec.axes.len()).unwrap_or(u64::MAX);
        axes.saturating_mul(self.record.spec.pieces.into())
    }

    /// Its zeros with those that opened it, in order.
    pub fn zeros(&self) -> Vec<(Seq, WallMicros, &Zeroed)> {
        let opening = self.record.opening.iter();
        let opening = opening.map(|(seq, at, zeroed)| (*seq, *at, zeroed));
        let own = self.record.entries.iter().filter_map(|stamped| {
            let Entry::Frame(FrameEntry::Zeroed(zeroed)) = &stamped.entry else {
                return None;
            };
            Some((stamped.seq, stamped.at, zeroed))
        });
        opening.chain(own).collect()
    }

    /// The readings on an axis.
    pub fn on<'f>(&'f self, axis: &'f ArmedAxis) -> impl Iterator<Item = &'f Row> {
        let is_on = |row: &&Row| row.slot().is_some_and(|slot| slot.axis == axis.name);
        self.readings.iter().filter(is_on)
    }

    /// Gauge blocks are measured, not crimps.
    pub fn is_of_blocks(&self) -> bool {
        matches!(self.record.spec.subject, ArmedSubject::Blocks(_))
    }

    /// The unit in which an axis is told: that of its readings, else of its limits.
    pub fn unit(&self, axis: &ArmedAxis) -> Unit {
        let first = self.on(axis).find(|row| row.verdict().is_some());
        first.map_or(axis.limits.unit(), |row| row.reading.value.unit())
    }

    /// The counted readings of an axis, in order, with the coarsest step among their instruments.
    pub fn sample(&self, axis: &ArmedAxis) -> Result<Sample, Undefined> {
        let mut pool = Pool::default();
        for row in self.on(axis).filter(|row| row.verdict().is_some()) {
            pool.push(self, row);
        }
        pool.sample()
    }
}

/// Counted readings of one axis that become a sample, in order.
#[derive(Debug, Default)]
pub(super) struct Pool {
    bases: Vec<i64>,
    step: Option<Quantity>,
    unit: Option<Unit>,
    is_mixed: bool,
}

impl Pool {
    /// One more reading of a series.
    pub(super) fn push(&mut self, facts: &Facts, row: &Row) {
        let shown_in = row.reading.value.unit();
        let unit = *self.unit.get_or_insert(shown_in);
        self.is_mixed |= unit.dimension() != shown_in.dimension();
        self.bases.push(row.base());
        let known = facts.record.spec.instrument(&row.reading.instrument);
        let steps = self
            .step
            .into_iter()
            .chain(known.map(|known| known.resolution));
        self.step = steps.max_by_key(|step| step.base());
    }

    /// All of them, with the coarsest step among their instruments.
    pub(super) fn sample(self) -> Result<Sample, Undefined> {
        if self.is_mixed {
            return Err(Undefined::Mixed);
        }
        let unit = self.unit.unwrap_or(Unit::Millimetre);
        Ok(Sample::from_bases(self.bases, unit)?.with_step(self.step))
    }
}

/// The limits of an axis, as the statistics take them.
pub(super) fn limits(axis: &ArmedAxis) -> Limits {
    Limits {
        lower: axis.limits.lower(),
        nominal: axis.limits.nominal(),
        upper: axis.limits.upper(),
    }
}

/// It is a force with a minimum only: a pull test.
pub(super) fn is_pull(axis: &ArmedAxis) -> bool {
    axis.limits.dimension() == Dimension::Force && axis.limits.upper().is_none()
}

fn fallen(entries: &[Stamped]) -> HashMap<Seq, Fate> {
    let mut fallen = HashMap::new();
    for stamped in entries {
        if let Entry::Series(SeriesEntry::Doubted(Doubted {
            readings, reason, ..
        })) = &stamped.entry
        {
            for seq in readings {
                fallen.entry(*seq).or_insert_with(|| Fate::Doubted {
                    by: stamped.seq,
                    reason: reason.clone(),
                });
            }
        } else if let Entry::Series(SeriesEntry::Retracted(Retracted {
            reading,
            by,
            reason,
            ..
        })) = &stamped.entry
        {
            fallen.entry(*reading).or_insert(Fate::Retracted {
                by: stamped.seq,
                means: *by,
                reason: reason.clone(),
            });
        } else if let Entry::Series(SeriesEntry::Restored(Restored { reading, .. })) =
            &stamped.entry
        {
            fallen.remove(reading);
        }
    }
    fallen
}

fn as_entered(reading: &Reading) -> Fate {
    match &reading.standing {
        Standing::NotCounted { reason, hint } => Fate::NotCounted {
            reason: *reason,
            hint: hint.clone(),
        },
        Standing::Counted => {
            let verdict = reading.verdict();
            verdict.map_or(Fate::Unjudged, Fate::Counts)
        }
    }
}

fn tally(readings: &[Row]) -> Tally {
    let mut tally = Tally::default();
    for row in readings {
        let count = match row.fate {
            Fate::Counts(Verdict::Pass) => &mut tally.passed,
            Fate::Counts(Verdict::FailLow | Verdict::FailHigh) => &mut tally.failed,
            Fate::Counts(Verdict::UnsureLow | Verdict::UnsureHigh) => &mut tally.unsure,
            Fate::Doubted { .. } => &mut tally.doubted,
            Fate::Retracted { .. } => &mut tally.retracted,
            Fate::NotCounted { .. } | Fate::Unjudged => &mut tally.not_counted,
        };
        *count = count.saturating_add(1);
    }
    tally
}
