//! Two zeros within two seconds retract the last reading.
//!
//! A careful operator may check the zero twice and must not lose a reading by that. So a double zero retracts only
//! where all of this holds:
//!
//! - no zero was due, and neither of the two was announced by a command or card;
//! - the first of the two came directly after the reading;
//! - the piece was not destroyed by measuring it.
//!
//! It retracts one reading, and never the one before that.

use super::Core;
use crate::entry::{Means, Retracted, Seq, Slot, Zeroed};
use crate::quantity::Now;
use std::time::Duration;

/// The second zero frame must come within this time of the first.
const TWICE_WITHIN: Duration = Duration::from_secs(2);

impl Core {
    /// The entry that retracts the last reading, if `zeroed` is the second frame of a double zero. Call it before
    /// `zeroed` is appended.
    pub(super) fn zeroed_twice(&self, now: Now, zeroed: &Zeroed) -> Option<Retracted> {
        let first = self.live.get(&zeroed.instrument)?.zero_frame_at?;
        let said = self
            .state
            .instruments
            .get(&zeroed.instrument)
            .is_some_and(|known| known.zero_said);
        if now.mono.since(first) > TWICE_WITHIN || said || !zeroed.ok {
            return None;
        }
        // A zero that became due after the first frame is a required zero and not part of a double zero.
        if zeroed.role != crate::entry::ZeroRole::Unasked {
            return None;
        }
        let (reading, slot) = self.retracted_next(&zeroed.station, &zeroed.instrument)?;
        Some(Retracted {
            station: zeroed.station.clone(),
            series: self.series(&zeroed.station)?.id,
            reading,
            by: Some(Means::DoubleZero),
            slot: Some(slot),
            reason: None,
            spent: false,
        })
    }

    /// The reading that one more zero frame of `instrument` retracts. It must still count, and nothing may have come
    /// after it.
    fn retracted_next(&self, station: &str, instrument: &str) -> Option<(Seq, Slot)> {
        let known = self.state.stations.get(station)?;
        let reading = known.retracted_by_zero()?;
        let zero = known.series.as_ref()?.zeros.get(instrument)?;
        (zero.retracts == Some(reading.seq)).then(|| (reading.seq, reading.slot()))
    }
}
