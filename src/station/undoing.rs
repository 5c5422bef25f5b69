//! Retracting a reading, and restoring it.
//!
//! - A retracted reading stays in the journal; its slot is measured next.
//! - The last retraction can be undone until its piece has a newer reading on that axis. The same reading
//!   counts again, with the verdict that it had.
//! - Where measuring destroys the piece, a slip of foot or hand must not undo what cannot be measured again: a
//!   pedal or a double zero is refused, anything else needs a reason. The piece is spent, and the next piece
//!   number is measured instead.

use super::commands::checked_words;
use super::{Core, Refusal};
use crate::entry::state::{CountedReading, SeriesState};
use crate::entry::{Means, Restored, Retracted, Seq};
use crate::quantity::Now;

impl Core {
    /// The reading named, or the last one, counts no more.
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

    /// The reading that was retracted last counts again.
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

    fn open_series(&self, station: &str) -> Result<&SeriesState, Refusal> {
        self.series(station).ok_or_else(|| Refusal::NothingArmed {
            station: station.to_owned(),
        })
    }
}

/// The reading named, or the last counted one.
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

/// Whether the reading of a destroyed piece may be retracted like this.
fn may_be_spent(reading: &CountedReading, has_reason: bool, by: Means) -> Result<(), Refusal> {
    match by {
        Means::Command | Means::Card if has_reason => Ok(()),
        Means::Command | Means::Card | Means::Pedal | Means::DoubleZero => {
            Err(Refusal::Destroyed {
                piece: reading.piece,
                axis: reading.axis.clone(),
                value: reading.value,
                by,
            })
        }
    }
}
