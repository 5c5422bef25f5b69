//! Which slot is measured next.
//!
//! A slot is a piece and an axis. The next one is the first, in the order of the plan, without a counted reading; so a
//! slot whose reading was retracted or doubted comes up next by itself. A spent piece is skipped, and one more piece
//! number is measured at the end instead.

use crate::entry::state::{SeriesState, Slot};
use crate::spec::{AxisName, Order};
use std::collections::BTreeSet;

/// The slot to measure next; `None` when every slot has a counted reading.
pub(super) fn next_slot(series: &SeriesState) -> Option<Slot> {
    let tally = series.tally;
    if series.spec.order == Order::ByValue {
        // The piece that is furthest behind; its axes in the order of the plan.
        return slots_by_value(series).min_by_key(|slot| slot.piece);
    }
    if tally.retracted == 0 && tally.doubted == 0 {
        // If no reading was retracted or doubted, the filled slots are the first ones. This avoids a search.
        return nth_slot(series, u32::try_from(series.readings.len()).ok()?);
    }
    let filled: BTreeSet<(u32, &AxisName)> = series
        .readings
        .iter()
        .map(|reading| (reading.piece, &reading.axis))
        .collect();
    slots(series).find(|slot| !filled.contains(&(slot.piece, &slot.axis)))
}

/// The next slot of each axis that still has one; in the order `by_value`, any of them may come next.
pub(super) fn slots_by_value(series: &SeriesState) -> impl Iterator<Item = Slot> {
    let axes = series.spec.axes.iter();
    axes.filter_map(|axis| next_of_axis(series, &axis.name))
}

/// The first piece that has no counted reading of this axis.
pub(super) fn next_of_axis(series: &SeriesState, axis: &AxisName) -> Option<Slot> {
    let filled: BTreeSet<u32> = series
        .readings
        .iter()
        .filter(|reading| reading.axis == *axis)
        .map(|reading| reading.piece)
        .collect();
    let empty = |piece: &u32| !series.spent.contains(piece) && !filled.contains(piece);
    let piece = (1..=series.last_piece()).find(empty)?;
    let axis = axis.clone();
    Some(Slot { piece, axis })
}

/// Every slot of the series, in the order of its plan.
pub fn slots(series: &SeriesState) -> impl Iterator<Item = Slot> {
    (0..).map_while(move |index| nth_slot(series, index))
}

/// The slot with this index in the plan's order, counted from 0.
fn nth_slot(series: &SeriesState, index: u32) -> Option<Slot> {
    let spec = &series.spec;
    let axis_count = u32::try_from(spec.axes.len()).ok()?;
    let (piece, nth) = match spec.order {
        Order::ByAxis => (
            index.checked_rem(spec.pieces)?,
            index.checked_div(spec.pieces)?,
        ),
        // Listed like pieces; which one is filled next follows from the value.
        Order::ByPiece | Order::ByValue => (
            index.checked_div(axis_count)?,
            index.checked_rem(axis_count)?,
        ),
    };
    let measured = spec.axes.get(usize::try_from(nth).ok()?)?;
    let piece = (piece < spec.pieces).then(|| nth_piece(series, piece))?;
    let axis = measured.name.clone();
    Some(Slot { piece, axis })
}

/// The number of the piece with index `nth`, counted from 0, leaving out spent pieces.
fn nth_piece(series: &SeriesState, nth: u32) -> u32 {
    series.spent.iter().fold(nth + 1, |piece, spent| {
        // In rising order, each spent number at or before the piece moves it on by one.
        piece + u32::from(*spent <= piece)
    })
}
