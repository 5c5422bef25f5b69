//! Keeps a retracted reading, as long as it can be restored.
//!
//! - A reading can be restored until its piece has a newer reading on that axis, or until a zero of the instrument is
//!   off and would have put it in doubt.
//! - Where measuring destroyed the piece, the piece is spent and another number is measured in its place. The reading
//!   can be restored until that piece has a reading.
//! - Entries of older releases do not say which slot they are about. Those readings cannot be restored.

use super::runs::Alert;
use super::state::{CountedReading, SeriesState, Slot, State};
use super::{Retracted, Seq, Zeroed};

/// The last retracted reading, as long as it can be restored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RetractedReading {
    /// The reading as it counted before, which a restore puts back.
    pub reading: CountedReading,
    /// The retraction made its piece spent.
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
        self.take_out(station, &[*reading], |series, _| {
            series.tally.retracted += 1;
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

    /// Takes readings out of those that count; `keep` says what remains of each.
    pub(super) fn take_out(
        &mut self,
        station: &str,
        readings: &[Seq],
        keep: impl Fn(&mut SeriesState, CountedReading),
    ) {
        let station = self.station(station);
        let Some(series) = station.series.as_mut() else {
            return;
        };
        station.runs.take_out(readings);
        let rests = |alert: &Alert| alert.readings.iter().any(|seq| readings.contains(seq));
        series.alerts.retain(|alert| !rests(alert));
        for seq in readings {
            let Some(at) = series
                .readings
                .iter()
                .position(|reading| reading.seq == *seq)
            else {
                continue;
            };
            let reading = series.readings.remove(at);
            let counted = series.tally.of(reading.verdict);
            *counted = counted.saturating_sub(1);
            keep(series, reading);
        }
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
    /// The highest piece number to measure. Each spent piece adds one.
    pub fn last_piece(&self) -> u32 {
        let spent = u32::try_from(self.spent.len()).unwrap_or(u32::MAX);
        self.spec.pieces.saturating_add(spent)
    }

    /// Drops the retracted reading, once `newer` fills its slot or that of the piece in its place.
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

    /// Drops the retracted reading, if this zero is off and would put it in doubt.
    pub(super) fn forget_doubtful(&mut self, zeroed: &Zeroed) {
        if zeroed.ok && zeroed.opening.is_none() {
            return;
        }
        let zero = self.zeros.get(&zeroed.instrument);
        let good = zero.and_then(|zero| zero.last_good).map(|(seq, _)| seq);
        self.retracted.take_if(|retracted| {
            let reading = &retracted.reading;
            *reading.instrument == zeroed.instrument && Some(reading.seq) > good
        });
    }
}

impl CountedReading {
    /// The slot of this reading.
    pub fn slot(&self) -> Slot {
        Slot {
            piece: self.piece,
            axis: self.axis.clone(),
        }
    }
}
