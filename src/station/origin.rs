//! Handles a zero key that was pressed with open jaws.
//!
//! The moves of the origin are added up. No reading counts until their sum is zero again, that is, the origin is back
//! at the closed jaws.

use super::Core;
use super::capture::origin::Band;
use crate::entry::Zeroed;
use crate::quantity::{Length, Measured, Now, Quantity};
use crate::spec::ZeroPolicy;

/// An origin that moved by no more than this was set with closed jaws.
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
        let trusted = self.distrusted(instrument).is_none();
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

    /// What counts as at the origin of an instrument that measures lengths.
    fn origin_band(&self, instrument: &str) -> Option<Band> {
        let known = self.catalog.instrument(instrument)?;
        let zero = ZeroPolicy::default().band_counts;
        Some(Band {
            zero: known.counts(zero),
            closed: known.counts(CLOSED_COUNTS),
        })
    }

    /// The zero key was pressed. Where the origin lies now is the sum of all moves: back at
    /// the closed jaws, it is a good zero.
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
        let station = live.station.clone();
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
