//! Retracts a reading and restores it.
//!
//! - A retracted reading stays in the journal; its slot is measured next.
//! - The last retraction can be undone until the piece has a newer reading on that axis. The reading then counts again,
//!   with the verdict that it had.
//! - Where measuring destroys the piece, a slip must not retract what cannot be measured again. A pedal or double zero
//!   is refused; any other means needs a reason. The piece is spent, and one more piece number is measured in its
//!   place.

use super::commands::checked_words;
use super::{Core, Refusal};
use crate::entry::state::{CountedReading, SeriesState};
use crate::entry::{Means, Restored, Retracted, Seq};
use crate::quantity::Now;

impl Core {
    /// Retracts a counted reading: the one named, or the last.
    pub(super) fn retract(
        &mut self,
        now: Now,
        station: String,
        seq: Option<Seq>,
        reason: Option<String>,
        by: Means,
    ) -> Result<Seq, Refusal> {
        if let Some(reason) = &reason {
            checked_words("a reason", reason)?;
        }
        let series = self.open_series(&station)?;
        let reading = which_reading(series, seq)?;
        let spent = reading.axis.is_destructive();
        if spent {
            may_be_spent(reading, reason.is_some(), by)?;
        }
        let retracted = Retracted {
            station,
            series: series.id,
            reading: reading.seq,
            by: Some(by),
            slot: Some(reading.slot()),
            reason,
            spent,
        };
        Ok(self.append(now, retracted))
    }

    /// Makes the last retracted reading count again.
    pub(super) fn restore(&mut self, now: Now, station: &str, by: Means) -> Result<Seq, Refusal> {
        let series = self.open_series(station)?;
        let retracted = series.retracted.as_ref();
        let retracted = retracted.ok_or(Refusal::NothingToRestore { series: series.id })?;
        let restored = Restored {
            station: station.to_owned(),
            series: series.id,
            reading: retracted.reading.seq,
            by,
        };
        let seq = self.append(now, restored);
        self.alert(now, station);
        self.complete_if_full(now, station);
        Ok(seq)
    }

    pub(super) fn open_series(&self, station: &str) -> Result<&SeriesState, Refusal> {
        self.series(station).ok_or_else(|| Refusal::NothingArmed {
            station: station.to_owned(),
        })
    }
}

/// The counted reading with this number, or the last one.
fn which_reading(series: &SeriesState, seq: Option<Seq>) -> Result<&CountedReading, Refusal> {
    let Some(last) = series.readings.iter().max_by_key(|reading| reading.seq) else {
        return Err(Refusal::NothingToRetract { series: series.id });
    };
    let Some(seq) = seq else { return Ok(last) };
    if let Some(named) = series.readings.iter().find(|reading| reading.seq == seq) {
        return Ok(named);
    }
    Err(Refusal::NoSuchReading {
        got: seq,
        known: series.readings.iter().map(|reading| reading.seq).collect(),
    })
}

/// Refuses to retract the reading of a destroyed piece by pedal or double zero, or without a reason.
fn may_be_spent(reading: &CountedReading, has_reason: bool, by: Means) -> Result<(), Refusal> {
    match by {
        Means::Command | Means::Card if has_reason => Ok(()),
        Means::Command | Means::Card | Means::Pedal | Means::DoubleZero | Means::Folder => {
            Err(Refusal::Destroyed {
                piece: reading.piece,
                axis: reading.axis.clone(),
                value: reading.value,
                by,
            })
        }
    }
}
