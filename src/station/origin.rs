//! What happens when the zero key is pressed with open jaws.
//!
//! The core sums up the moves of the origin. No reading counts until the sum is zero again, because only then is the
//! origin back at the closed jaws.

use super::Core;
use super::capture::origin::Band;
use crate::entry::Zeroed;
use crate::quantity::{Length, Measured, Now, Quantity};
use crate::spec::ZeroPolicy;

/// Limit in resolution steps: an origin that moved by no more than this was set with closed jaws.
const CLOSED_COUNTS: u32 = 5;

impl Core {
    /// Checks whether the value shows a press of the zero key; otherwise passes it to capture.
    pub(super) fn decoded_value(
        &mut self,
        now: Now,
        instrument: &str,
        value: Measured,
        origin: Option<Length>,
        raw: Vec<u8>,
    ) {
        let Some(band) = self.origin_band(instrument) else {
            return;
        };
        let trusted = self.why_distrusted(instrument).is_none();
        let Some(live) = self.live.get_mut(instrument) else {
            return;
        };
        let streams = live.capturing.streams();
        let moved = live
            .origin
            .moved(now.mono, value, origin, streams, band)
            .filter(|_| trusted);
        if let Some(moved) = moved {
            live.capturing.settle(value);
            self.origin_moved(now, instrument, value, moved, raw);
        } else if let Some(captured) = live.capturing.take(now.mono, value) {
            self.value(now, instrument, &captured, raw);
        }
    }

    /// Tolerances for the origin of this instrument; `None` if it measures no lengths.
    fn origin_band(&self, instrument: &str) -> Option<Band> {
        let known = self.catalog.instrument(instrument)?;
        let zero = ZeroPolicy::default().band_counts;
        Some(Band {
            zero: known.counts(zero),
            closed: known.counts(CLOSED_COUNTS),
        })
    }

    /// Enters a press of the zero key. The sum of all moves shows where the origin is now; a sum of zero means closed
    /// jaws, so the press counts as a good zero.
    fn origin_moved(&mut self, now: Now, name: &str, value: Measured, moved: i64, raw: Vec<u8>) {
        let (Some(known), Some(live)) = (self.catalog.instrument(name), self.live.get(name)) else {
            return;
        };
        let before = self
            .state
            .instruments
            .get(name)
            .and_then(|known| known.opening);
        let opening = before.map_or(0, Quantity::base).saturating_add(moved);
        let closed = opening.saturating_abs() <= known.counts(CLOSED_COUNTS);
        let opening = (!closed).then(|| Quantity::from_base(value.quantity().dimension(), opening));
        let station = live.station.to_string();
        let zeroed = Zeroed {
            series: self.series(&station).map(|series| series.id),
            role: self.zero_role(now, &station, name),
            station: station.clone(),
            instrument: name.to_owned(),
            value,
            ok: closed,
            opening,
            raw,
        };
        self.zeroed(now, zeroed);
        self.complete_if_full(now, &station);
    }
}
