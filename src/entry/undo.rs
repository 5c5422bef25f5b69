//! What entries amount to where a reading was retracted, and where that is undone.
//!
//! - A retraction can be undone until its piece has a newer reading on that axis, or a zero of the instrument
//!   that is off would have made the reading doubtful.
//! - Where measuring destroyed the piece, it is spent: the next piece number is measured instead, and until
//!   that has a reading the retraction can be undone.
//! - What an older version entered does not say which slot it was about, and cannot be undone.

use super::state::{CountedReading, SeriesState, Slot, State};
use super::{Retracted, Seq, Zeroed};

/// A reading whose retraction can be undone: its piece has no newer reading on its axis, nor has the piece
/// that is measured instead, and no zero that was off came after it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RetractedReading {
    /// As it counted before; a restore puts it back.
    pub reading: CountedReading,
    /// Its piece was spent by the retraction.
    pub spent: bool,
}

impl State {
    pub(super) fn retract(&mut self, retracted: &Retracted) {
        let Retracted {
            station,
            reading,
            slot,
            spent,
            ..
        } = retracted;
        let series = self.station(station).series.as_ref();
        let counted = series.and_then(|series| {
            let mut readings = series.readings.iter();
            readings.find(|counted| counted.seq == *reading).cloned()
        });
        self.take_out(station, &[*reading], |tally, count| {
            tally.retracted += count;
        });
        let Some((series, reading)) = self.station(station).series.as_mut().zip(counted) else {
            return;
        };
        if *spent {
            series.spent.insert(reading.piece);
        }
        let spent = *spent;
        let can_be_undone = slot.is_some();
        series.retracted = can_be_undone.then_some(RetractedReading { reading, spent });
    }

    pub(super) fn restore(&mut self, station: &str, reading: Seq) {
        let station = self.station(station);
        let Some(series) = station.series.as_mut() else {
            return;
        };
        let is_it = |retracted: &mut RetractedReading| retracted.reading.seq == reading;
        let Some(RetractedReading { reading, spent }) = series.retracted.take_if(is_it) else {
            return;
        };
        if spent {
            series.spent.remove(&reading.piece);
        }
        series.tally.retracted = series.tally.retracted.saturating_sub(1);
        *series.tally.of(reading.verdict) += 1;
        for zero in series.zeros.values_mut() {
            zero.retracts = None;
        }
        station.runs.take(series, &reading);
        let before = |known: &CountedReading| known.seq < reading.seq;
        let at = series.readings.partition_point(before);
        series.readings.insert(at, reading);
    }
}

impl SeriesState {
    /// The highest piece number that is measured: those that were spent are measured by others.
    pub fn last_piece(&self) -> u32 {
        let spent = u32::try_from(self.spent.len()).unwrap_or(u32::MAX);
        self.spec.pieces.saturating_add(spent)
    }

    /// A retraction can be undone until what it left empty is filled by `newer`.
    pub(super) fn forget_retracted(&mut self, newer: &CountedReading) {
        let last = self.last_piece();
        self.retracted.take_if(|retracted| {
            let reading = &retracted.reading;
            if retracted.spent {
                newer.piece == last
            } else {
                (newer.piece, &newer.axis) == (reading.piece, &reading.axis)
            }
        });
    }

    /// A zero that is off puts in doubt what came since the last good one, a retracted reading too.
    pub(super) fn forget_doubtful(&mut self, zeroed: &Zeroed) {
        if zeroed.ok && zeroed.opening.is_none() {
            return;
        }
        let zero = self.zeros.get(&zeroed.instrument);
        let good = zero.and_then(|zero| zero.last_good).map(|(seq, _)| seq);
        self.retracted.take_if(|retracted| {
            let reading = &retracted.reading;
            reading.instrument == zeroed.instrument && Some(reading.seq) > good
        });
    }
}

impl CountedReading {
    /// What it fills.
    pub fn slot(&self) -> Slot {
        Slot {
            piece: self.piece,
            axis: self.axis.clone(),
        }
    }
}
