//! What a series amounts to, by its record: each reading with what became of it.
//!
//! In: a [`Record`]. Out: its readings in order, its zeros, what else happened, and the samples that figures
//! are made of. Nothing is judged here: a verdict is that of the entry.

use super::gather::Record;
use crate::entry::ledger::{Disposition, Whole};
use crate::entry::{
    Entry, FrameEntry, Outcome, Reading, ReadingSlot, Reservation, Seq, SeriesEntry, Standing,
    Tally, Zeroed,
};
use crate::quantity::{Dimension, Quantity, Unit, WallMicros, Zone};
use crate::spec::{ArmedAxis, ArmedSubject, Verdict};
use crate::stats::{Limits, Sample, Undefined};
use std::sync::Arc;

/// A series with what became of each of its readings.
#[derive(Debug, Clone)]
pub struct Facts {
    /// All that was said about it.
    pub record: Record,
    /// Its readings, in the order in which they were taken.
    pub readings: Vec<ReportReading>,
    /// How many came out how.
    pub tally: Tally,
    /// Who measured, in the order in which they came.
    pub operators: Vec<String>,
    /// In which times are read.
    pub zone: Zone,
}

/// A reading with what became of it.
#[derive(Debug, Clone)]
pub struct ReportReading {
    /// `seq` of its entry `reading`.
    pub seq: Seq,
    /// Wall clock of its entry.
    pub at: WallMicros,
    /// What was entered.
    pub reading: Arc<Reading>,
    /// Who measured.
    pub operator: Option<String>,
    /// What became of it.
    pub disposition: Disposition,
}

impl ReportReading {
    /// Every reading of a series, and those at its station that were measured outside of a series while it was open.
    pub fn all(record: &Record) -> impl Iterator<Item = Self> {
        let series = &record.series;
        let readings = record.entries.iter();
        let readings = readings.filter_map(|one| Some((one.seq, Whole::of(one)?)));
        readings.map(|(seq, Whole { at, reading })| Self {
            seq,
            at,
            operator: series.operator(seq).map(str::to_owned),
            disposition: series
                .disposition(seq)
                .unwrap_or_else(|| Disposition::from(&reading.standing)),
            reading,
        })
    }

    /// What it was measured for.
    pub fn slot(&self) -> Option<&ReadingSlot> {
        self.reading.slot.as_ref()
    }

    /// Its verdict, if it counts.
    pub fn verdict(&self) -> Option<Verdict> {
        let counts = self.disposition == Disposition::Counted;
        self.slot().filter(|_| counts)?.verdict
    }

    /// As in data; what was entered without a verdict is in no figure.
    pub fn standing(&self) -> &'static str {
        if self.disposition == Disposition::Counted && self.verdict().is_none() {
            return "not_counted";
        }
        self.disposition.name()
    }

    /// What it may be instead, in words, where it never counted.
    pub fn hint(&self) -> Option<&String> {
        match &self.reading.standing {
            Standing::Counted => None,
            Standing::NotCounted { hint, .. } => hint.as_ref(),
        }
    }

    /// The value in base units.
    pub fn base(&self) -> i64 {
        self.reading.value.quantity().base()
    }
}

impl Facts {
    /// Of all that was said about a series.
    pub fn of(record: Record, zone: Zone) -> Self {
        let readings: Vec<ReportReading> = ReportReading::all(&record).collect();
        let operators = record.series.operators().into_iter();
        Self {
            tally: tally(&readings),
            operators: operators.map(str::to_owned).collect(),
            readings,
            record,
            zone,
        }
    }

    /// What takes from its weight.
    pub fn reservations(&self) -> &[Reservation] {
        let closed = self.record.series.closed.as_ref();
        closed.map_or(&[], |closed| closed.completed.reservations())
    }

    /// What came out; `None` while it is open.
    pub fn outcome(&self) -> Option<Outcome> {
        let closed = self.record.series.closed.as_ref();
        closed.map(|closed| closed.completed.outcome)
    }

    /// What is said of it in this entry.
    pub fn said_in(&self, seq: Seq) -> Option<&SeriesEntry> {
        let entries = &self.record.entries;
        let at = entries.binary_search_by_key(&seq, |stamped| stamped.seq);
        if let Entry::Series(entry) = &entries.get(at.ok()?)?.entry {
            Some(entry)
        } else {
            None
        }
    }

    /// How many readings make it full.
    pub fn slots(&self) -> u64 {
        let axes = u64::try_from(self.record.series.spec.axes.len()).unwrap_or(u64::MAX);
        axes.saturating_mul(self.record.series.spec.pieces.into())
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
    pub fn on<'f>(&'f self, axis: &'f ArmedAxis) -> impl Iterator<Item = &'f ReportReading> {
        let is_on = |row: &&ReportReading| row.slot().is_some_and(|slot| slot.axis == axis.name);
        self.readings.iter().filter(is_on)
    }

    /// Gauge blocks are measured, not crimps.
    pub fn is_of_blocks(&self) -> bool {
        matches!(self.record.series.spec.subject, ArmedSubject::Blocks(_))
    }

    /// The unit of an axis: that of its readings, else of its limits.
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
    pub(super) fn push(&mut self, facts: &Facts, row: &ReportReading) {
        let shown_in = row.reading.value.unit();
        let unit = *self.unit.get_or_insert(shown_in);
        self.is_mixed |= unit.dimension() != shown_in.dimension();
        self.bases.push(row.base());
        let known = facts.record.series.spec.instrument(&row.reading.instrument);
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

fn tally(readings: &[ReportReading]) -> Tally {
    let mut tally = Tally::default();
    for row in readings {
        let count = match (row.disposition, row.verdict()) {
            (Disposition::Counted, Some(verdict)) => tally.of(verdict),
            (Disposition::Doubted(_), _) => &mut tally.doubted,
            (Disposition::Retracted(_), _) => &mut tally.retracted,
            (Disposition::NotCounted(_), _) | (Disposition::Counted, None) => {
                &mut tally.not_counted
            }
        };
        *count = count.saturating_add(1);
    }
    tally
}
