//! Which slot is measured next.
//!
//! A slot is a piece and an axis. The next one is the first, in the order of the plan, without a counted reading; so a
//! slot whose reading was retracted or doubted comes up next by itself. A spent piece is skipped, and one more piece
//! number is measured at the end instead.

use crate::entry::state::{SeriesState, Slot};
use crate::spec::{ArmedAxis, AxisName, Order};
use std::collections::BTreeSet;

/// The slot to measure next; `None` when every slot has a counted reading.
pub(super) fn next_slot(series: &SeriesState) -> Option<Slot> {
    next(series).map(slot)
}

/// The same as piece and axis, for what is only looked at.
pub(super) fn next(series: &SeriesState) -> Option<(u32, &ArmedAxis)> {
    let tally = series.tally;
    if series.spec.order == Order::ByValue {
        // The piece that is furthest behind; its axes in the order of the plan.
        return by_value(series).min_by_key(|(piece, _)| *piece);
    }
    if tally.retracted == 0 && tally.doubted == 0 {
        // If no reading was retracted or doubted, the filled slots are the first ones. This avoids a search.
        return nth(series, u32::try_from(series.readings.len()).ok()?);
    }
    let filled: BTreeSet<(u32, &AxisName)> = series
        .readings
        .iter()
        .map(|reading| (reading.piece, &reading.axis))
        .collect();
    all(series).find(|(piece, axis)| !filled.contains(&(*piece, &axis.name)))
}

/// The next slot of each axis that still has one; in the order `by_value`, any of them may come next.
pub(super) fn slots_by_value(series: &SeriesState) -> impl Iterator<Item = Slot> {
    by_value(series).map(slot)
}

fn by_value(series: &SeriesState) -> impl Iterator<Item = (u32, &ArmedAxis)> {
    let axes = series.spec.axes.iter();
    axes.filter_map(|axis| Some((next_piece(series, &axis.name)?, axis)))
}

/// The first piece that has no counted reading of this axis.
pub(super) fn next_of_axis(series: &SeriesState, axis: &AxisName) -> Option<Slot> {
    let piece = next_piece(series, axis)?;
    let axis = axis.clone();
    Some(Slot { piece, axis })
}

fn next_piece(series: &SeriesState, axis: &AxisName) -> Option<u32> {
    let filled: BTreeSet<u32> = series
        .readings
        .iter()
        .filter(|reading| reading.axis == *axis)
        .map(|reading| reading.piece)
        .collect();
    let empty = |piece: &u32| !series.spent.contains(piece) && !filled.contains(piece);
    (1..=series.last_piece()).find(empty)
}

/// Every slot of the series, in the order of its plan.
pub fn slots(series: &SeriesState) -> impl Iterator<Item = Slot> {
    all(series).map(slot)
}

fn all(series: &SeriesState) -> impl Iterator<Item = (u32, &ArmedAxis)> {
    (0..).map_while(move |index| nth(series, index))
}

fn slot((piece, axis): (u32, &ArmedAxis)) -> Slot {
    let axis = axis.name.clone();
    Slot { piece, axis }
}

/// The slot with this index in the plan's order, counted from 0.
fn nth(series: &SeriesState, index: u32) -> Option<(u32, &ArmedAxis)> {
    let spec = &series.spec;
    let axis_count = u32::try_from(spec.axes.len()).ok()?;
    let (piece, axis) = match spec.order {
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
    let measured = spec.axes.get(usize::try_from(axis).ok()?)?;
    let piece = (piece < spec.pieces).then(|| nth_piece(series, piece))?;
    Some((piece, measured))
}

/// The number of the piece with index `nth`, counted from 0, leaving out spent pieces.
fn nth_piece(series: &SeriesState, nth: u32) -> u32 {
    series.spent.iter().fold(nth + 1, |piece, spent| {
        // In rising order, each spent number at or before the piece moves it on by one.
        piece + u32::from(*spent <= piece)
    })
}
