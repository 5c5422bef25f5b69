//! Order `by_value`: the axis is told from the value.
//!
//! It can be told only where the plausible windows of the axes do not meet; a plan where they do is
//! refused at arming. A value outside every window is taken for the axis whose window is nearest:
//! it is implausible, and if it is meant it is said again and counts there.

use super::Refusal;
use super::arming::{fits, refuse};
use crate::entry::state::SeriesState;
use crate::quantity::Quantity;
use crate::spec::{ArmedAxis, ArmedSpec, Order};

/// Refuses axes between which a value cannot tell.
pub(super) fn refuse_meeting(order: Order, axes: &[ArmedAxis]) -> Result<(), Refusal> {
    if order != Order::ByValue {
        return Ok(());
    }
    for (at, one) in axes.iter().enumerate() {
        for other in axes.iter().skip(at + 1) {
            if one.limits.dimension() != other.limits.dimension() {
                continue;
            }
            let meeting = match (one.plausible, other.plausible) {
                (Some(one), Some(other)) if meet(one, other) => format!(
                    "their plausible windows meet, {} to {} and {} to {}",
                    one.0, one.1, other.0, other.1
                ),
                (Some(_), Some(_)) => continue,
                (None, _) | (_, None) => {
                    "a limit on one side only leaves every value plausible".to_owned()
                }
            };
            return Err(refuse(
                format!(
                    "by_value cannot tell {} from {}: {meeting}",
                    one.name, other.name
                ),
                "use order = \"by_piece\" or \"by_axis\", or narrow `plausible` of these axes",
            ));
        }
    }
    Ok(())
}

fn meet(one: (Quantity, Quantity), other: (Quantity, Quantity)) -> bool {
    one.0.base() <= other.1.base() && other.0.base() <= one.1.base()
}

/// The axis that a value of this instrument is for; `None` if the instrument measures no axis of it.
pub(super) fn axis_told<'a>(
    series: &'a SeriesState,
    instrument: &str,
    value: Quantity,
) -> Option<&'a ArmedAxis> {
    let spec: &ArmedSpec = &series.spec;
    spec.axes
        .iter()
        .filter(|axis| axis.guard_of(instrument).is_some() && fits(value, &axis.limits))
        .min_by_key(|axis| outside(axis, value.base()))
}

/// How far a value lies outside the window of an axis, in base units; 0 within it.
fn outside(axis: &ArmedAxis, base: i64) -> u64 {
    match axis.plausible {
        Some((least, _)) if base < least.base() => least.base().abs_diff(base),
        Some((_, greatest)) if base > greatest.base() => base.abs_diff(greatest.base()),
        Some(_) | None => 0,
    }
}
