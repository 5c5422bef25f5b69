//! Arming over a series that is open, and resuming what that stopped.
//!
//! - An arming that would stop a series early is refused the first time, so that a card scanned by mistake throws
//!   nothing away; said again within ten seconds, or with `cut`, it is carried out.
//! - What the last arming stopped can be resumed until something is measured.

use super::arming::refuse;
use super::{Armable, Core, Refusal};
use crate::entry::{Means, Resumed};
use crate::quantity::{MonoMicros, Now};
use std::time::Duration;

/// An arming that is said again within this is meant.
const AGAIN_WITHIN: Duration = Duration::from_secs(10);

/// An arming that was refused since a series was open.
#[derive(Debug)]
pub(super) struct Asked {
    what: Armable,
    at: MonoMicros,
}

impl Core {
    /// Whether arming `what` may stop the series that is open at `station`.
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
        let slots = super::order::slots(series).count();
        let refusal = refuse(
            format!(
                "series {} is still open: {} of {slots} measured",
                series.id,
                series.readings.len()
            ),
            "say it again within ten seconds to stop it early; on the command line: --cut",
        );
        let at = now.mono;
        self.asked.insert(station.to_owned(), Asked { what, at });
        Err(refusal)
    }

    /// Opens the series again that the last arming stopped early.
    pub(super) fn resume(&mut self, now: Now, station: &str, by: Means) -> Result<(), Refusal> {
        let known = self.state.stations.get(station);
        let stopped = known.and_then(|known| known.stopped.as_ref());
        let Some(series) = stopped.map(|stopped| stopped.series.id) else {
            return Err(refuse(
                format!("{station} has no series to resume"),
                "one that the last arming stopped early can be resumed, until something is measured or a zero is off",
            ));
        };
        let operator = known.and_then(|known| known.operator.clone());
        self.cut_short(now, station, false);
        let resumed = Resumed {
            station: station.to_owned(),
            series,
            operator,
            by,
        };
        self.append(now, resumed);
        Ok(())
    }
}
