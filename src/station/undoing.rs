//! Retracting a reading, and restoring it.
//!
//! - A retracted reading stays in the journal; its slot is measured next.
//! - The last retraction can be undone until its piece has a newer reading on that axis. The same reading
//!   counts again, with the verdict that it had.
//! - Where measuring destroys the piece, a slip of foot or hand must not undo what cannot be measured again: a
//!   pedal or a double zero is refused, anything else needs a reason. The piece is spent, and the next piece
//!   number is measured instead.

use super::arming::refuse;
use super::commands::{checked_words, nothing_armed};
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
    ) -> Result<(), Refusal> {
        if let Some(reason) = &reason {
            checked_words("a reason", reason)?;
        }
        let series = self
            .series(&station)
            .ok_or_else(|| nothing_armed(&station))?;
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
        self.append(now, retracted);
        Ok(())
    }

    /// The reading that was retracted last counts again.
    pub(super) fn restore(&mut self, now: Now, station: &str, by: Means) -> Result<(), Refusal> {
        let series = self.series(station).ok_or_else(|| nothing_armed(station))?;
        let retracted = series.retracted.as_ref().ok_or_else(|| {
            refuse(
                format!("series {} has no retracted reading to restore", series.id),
                "the last one that was retracted can be restored, until its piece is measured again or a zero is off",
            )
        })?;
        let restored = Restored {
            station: station.to_owned(),
            series: series.id,
            reading: retracted.reading.seq,
            by,
        };
        self.append(now, restored);
        self.alert(now, station);
        self.complete_if_full(now, station);
        Ok(())
    }
}

/// The reading named, or the last counted one.
fn which_reading(series: &SeriesState, seq: Option<Seq>) -> Result<&CountedReading, Refusal> {
    let Some(last) = series.readings.iter().max_by_key(|reading| reading.seq) else {
        let message = format!("series {} has no counted reading to retract", series.id);
        return Err(refuse(message, "measure first"));
    };
    let Some(seq) = seq else { return Ok(last) };
    if let Some(named) = series.readings.iter().find(|reading| reading.seq == seq) {
        return Ok(named);
    }
    let known: Vec<_> = series
        .readings
        .iter()
        .map(|reading| reading.seq.to_string())
        .collect();
    Err(refuse(
        format!(
            "{seq} is no counted reading of the open series, want one of {}",
            known.join(", ")
        ),
        "list them: tallyjaw status",
    ))
}

/// Whether the reading of a destroyed piece may be retracted like this.
fn may_be_spent(reading: &CountedReading, has_reason: bool, by: Means) -> Result<(), Refusal> {
    let what = format!(
        "piece {} was destroyed by its {} of {}",
        reading.piece,
        reading.axis.words(),
        reading.value
    );
    let remedy =
        "say why, by card, page or command: tj/retract/REASON, or tallyjaw retract --reason WORDS";
    match by {
        Means::Pedal | Means::DoubleZero => {
            let means = by.words();
            Err(refuse(format!("{what}: not retracted {means}"), remedy))
        }
        Means::Command | Means::Card if has_reason => Ok(()),
        Means::Command | Means::Card => Err(refuse(format!("{what}: no reason given"), remedy)),
    }
}
