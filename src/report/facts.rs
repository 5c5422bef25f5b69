//! A series with the final standing of each reading.
//!
//! In: a [`Record`]. Out: its readings in order, its zeros, other events, and the samples for figures. Nothing is
//! judged here: a verdict is that of the entry.

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

/// A series with the final standing of each reading.
#[derive(Debug, Clone)]
pub struct Facts {
    /// The entries about the series.
    pub record: Record,
    /// Its readings in the order in which they were taken.
    pub readings: Vec<ReportReading>,
    /// Numbers of readings by verdict and disposition.
    pub tally: Tally,
    /// The operators, in order of first appearance.
    pub operators: Vec<String>,
    /// Time zone of the times shown.
    pub zone: Zone,
}

/// A reading with its final standing.
#[derive(Debug, Clone)]
pub struct ReportReading {
    /// `seq` of its entry `reading`.
    pub seq: Seq,
    /// Wall time of the entry.
    pub at: WallMicros,
    /// The reading as entered.
    pub reading: Arc<Reading>,
    /// The operator at its time; `None` if unknown.
    pub operator: Option<String>,
    /// Whether it counts, and if not, why.
    pub disposition: Disposition,
}

impl ReportReading {
    /// Every reading of a series, and readings at its station that belong to no series but came while it was open.
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

    /// The slot of the reading.
    pub fn slot(&self) -> Option<&ReadingSlot> {
        self.reading.slot.as_ref()
    }

    /// The verdict, if the reading counts.
    pub fn verdict(&self) -> Option<Verdict> {
        let counts = self.disposition == Disposition::Counted;
        self.slot().filter(|_| counts)?.verdict
    }

    /// The standing as in data. A reading that was entered without a verdict is in no figure.
    pub fn standing(&self) -> &'static str {
        if self.disposition == Disposition::Counted && self.verdict().is_none() {
            return "not_counted";
        }
        self.disposition.name()
    }

    /// The likely cause, in words, of a reading that never counted.
    pub fn hint(&self) -> Option<&String> {
        match &self.reading.standing {
            Standing::Counted => None,
            Standing::NotCounted { hint, .. } => hint.as_ref(),
        }
    }

    /// Value in base units.
    pub fn base(&self) -> i64 {
        self.reading.value.quantity().base()
    }
}

impl Facts {
    /// Computes this from the entries about a series.
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

    /// The reservations of the outcome.
    pub fn reservations(&self) -> &[Reservation] {
        let closed = self.record.series.closed.as_ref();
        closed.map_or(&[], |closed| closed.completed.reservations())
    }

    /// The outcome; `None` while the series is open.
    pub fn outcome(&self) -> Option<Outcome> {
        let closed = self.record.series.closed.as_ref();
        closed.map(|closed| closed.completed.outcome)
    }

    /// The entry with this number, if it is one about the series.
    pub fn said_in(&self, seq: Seq) -> Option<&SeriesEntry> {
        let entries = &self.record.entries;
        let at = entries.binary_search_by_key(&seq, |stamped| stamped.seq);
        if let Entry::Series(entry) = &entries.get(at.ok()?)?.entry {
            Some(entry)
        } else {
            None
        }
    }

    /// Number of readings that make the series full.
    pub fn slots(&self) -> u64 {
        let axes = u64::try_from(self.record.series.spec.axes.len()).unwrap_or(u64::MAX);
        axes.saturating_mul(self.record.series.spec.pieces.into())
    }

    /// Its zeros in order, including those that opened it.
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

    /// The readings of an axis.
    pub fn on<'f>(&'f self, axis: &'f ArmedAxis) -> impl Iterator<Item = &'f ReportReading> {
        let is_on = |row: &&ReportReading| row.slot().is_some_and(|slot| slot.axis == axis.name);
        self.readings.iter().filter(is_on)
    }

    /// Whether gauge blocks are measured and not crimps.
    pub fn is_of_blocks(&self) -> bool {
        matches!(self.record.series.spec.subject, ArmedSubject::Blocks(_))
    }

    /// The unit of an axis: that of its readings, otherwise of its limits.
    pub fn unit(&self, axis: &ArmedAxis) -> Unit {
        let first = self.on(axis).find(|row| row.verdict().is_some());
        first.map_or(axis.limits.unit(), |row| row.reading.value.unit())
    }

    /// The counted readings of an axis in order, with the coarsest resolution of their instruments.
    pub fn sample(&self, axis: &ArmedAxis) -> Result<Sample, Undefined> {
        let mut pool = Pool::default();
        for row in self.on(axis).filter(|row| row.verdict().is_some()) {
            pool.push(self, row);
        }
        pool.sample()
    }
}

/// Counted readings of one axis, collected in order for a sample.
#[derive(Debug, Default)]
pub(super) struct Pool {
    bases: Vec<i64>,
    step: Option<Quantity>,
    unit: Option<Unit>,
    is_mixed: bool,
}

impl Pool {
    /// Adds a reading of a series.
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

    /// The sample of all readings, with the coarsest resolution of their instruments.
    pub(super) fn sample(self) -> Result<Sample, Undefined> {
        if self.is_mixed {
            return Err(Undefined::Mixed);
        }
        let unit = self.unit.unwrap_or(Unit::Millimetre);
        Ok(Sample::from_bases(self.bases, unit)?.with_step(self.step))
    }
}

/// The limits of an axis for the statistics.
pub(super) fn limits(axis: &ArmedAxis) -> Limits {
    Limits {
        lower: axis.limits.lower(),
        nominal: axis.limits.nominal(),
        upper: axis.limits.upper(),
    }
}

/// Whether the axis is a force with only a minimum, that is, a pull test.
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
            (Disposition::NotCounted(_), _) => &mut tally.not_counted,
            (Disposition::Counted, None) => &mut tally.measured,
        };
        *count = count.saturating_add(1);
    }
    tally
}
