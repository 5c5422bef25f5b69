//! Which slot is measured next.
//!
//! A slot is a piece and an axis. The next one is the first, in the order of the plan, without a
//! counted reading; so a slot whose reading was taken back or doubted comes up next by itself.

use crate::entry::state::{SeriesState, Slot};
use crate::spec::Order;

/// The next slot; `None` when every one has a counted reading.
pub(super) fn next_slot(series: &SeriesState) -> Option<Slot> {
    slots(series).find(|slot| series.in_slot(slot).is_none())
}

/// Every slot of the series, in the order of its plan.
pub fn slots(series: &SeriesState) -> impl Iterator<Item = Slot> {
    let pieces = series.spec.pieces;
    let measured = &series.spec.axes;
    let axis_count = u32::try_from(measured.len()).unwrap_or(u32::MAX);
    let order = series.spec.order;
    (0..pieces.saturating_mul(axis_count)).filter_map(move |index| {
        let (piece, nth) = match order {
            Order::ByAxis => (index % pieces, index / pieces),
            Order::ByPiece => (index / axis_count, index % axis_count),
        };
        let name = &measured.get(usize::try_from(nth).ok()?)?.name;
        Some(Slot {
            piece: piece + 1,
            axis: name.clone(),
        })
    })
}
