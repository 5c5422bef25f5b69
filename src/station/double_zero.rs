//! Two zeros within two seconds retract the last reading.
//!
//! A careful operator zeros twice too, and must not lose a reading by it. So it counts as one only
//! where no zero was due, where the first of the two came right after the reading that it is about,
//! and where neither was said; and it retracts one reading, never a second one,
//! nor one whose piece was destroyed by measuring it.

use super::Core;
use crate::entry::{Means, Retracted, Seq, Slot, Zeroed};
use crate::quantity::Now;
use std::time::Duration;

/// The second zero frame comes within this of the first.
const TWICE_WITHIN: Duration = Duration::from_secs(2);

impl Core {
    /// The entry that retracts the last reading, if `zeroed` is the second frame of the double zero.
    /// To be asked before `zeroed` is appended.
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
        // A zero that has become due since the first frame is a normal zero, not the second of a double zero.
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

    /// The reading that one more zero frame of `instrument` retracts, if it still counts and
    /// nothing came after it.
    fn retracted_next(&self, station: &str, instrument: &str) -> Option<(Seq, Slot)> {
        let known = self.state.stations.get(station)?;
        let reading = known.retracted_by_zero()?;
        let zero = known.series.as_ref()?.zeros.get(instrument)?;
        (zero.retracts == Some(reading.seq)).then(|| (reading.seq, reading.slot()))
    }
}
