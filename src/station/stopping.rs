//! Arming while a series is open, and resuming the series that this stopped.
//!
//! - Arming that would stop a series early is refused the first time, so that a card scanned by mistake stops nothing.
//!   The same command within ten seconds, or with `cut`, is carried out.
//! - The series that the last start stopped can be resumed until something is measured.

use super::{Armable, Core, Refusal, jobs, order};
use crate::entry::{Means, Resumed, Seq};
use crate::quantity::{MonoMicros, Now};
use std::time::Duration;

/// A refused arming that is repeated within this time is carried out.
const AGAIN_WITHIN: Duration = Duration::from_secs(10);

/// An arming that was refused because a series was open.
#[derive(Debug)]
pub(super) struct RefusedArming {
    what: Armable,
    at: MonoMicros,
}

impl Core {
    /// Whether arming `what` may stop the series that is open at `station`: it says `cut`, or repeats a refused arming.
    pub(super) fn may_stop(
        &mut self,
        now: Now,
        station: &str,
        what: Armable,
        cut: bool,
    ) -> Result<(), Refusal> {
        let asked = self.asked.remove(station);
        let Some(series) = self.series(station).filter(|_| !cut) else {
            return Ok(());
        };
        let again = asked
            .is_some_and(|asked| asked.what == what && now.mono.since(asked.at) <= AGAIN_WITHIN);
        if again {
            return Ok(());
        }
        let refusal = Refusal::StillOpen {
            series: series.id,
            measured: series.readings.len(),
            slots: order::slots(series).count(),
        };
        let at = now.mono;
        self.asked
            .insert(station.to_owned(), RefusedArming { what, at });
        Err(refusal)
    }

    /// Opens again the series that the last start stopped early.
    pub(super) fn resume(&mut self, now: Now, station: &str, by: Means) -> Result<Seq, Refusal> {
        let known = self.state.stations.get(station);
        let stopped = known.and_then(|known| known.stopped.as_ref());
        let Some(stopped) = stopped else {
            return Err(Refusal::NothingToResume {
                station: station.to_owned(),
            });
        };
        let series = stopped.series.id;
        jobs::same(known, &stopped.series)?;
        let operator = known.and_then(|known| known.operator.clone());
        let lots = known.map(|known| known.lots.clone());
        self.cut_short(now, station, false);
        let resumed = Resumed {
            station: station.to_owned(),
            series,
            operator,
            lots: lots.unwrap_or_default(),
            by,
        };
        Ok(self.append(now, resumed))
    }
}
