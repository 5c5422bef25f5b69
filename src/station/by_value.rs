//! Order `by_value`: the axis follows from the value.
//!
//! It does so only where the plausible windows of the axes do not meet; a plan where they do is
//! refused at arming. A value outside every window is taken for the axis whose window is nearest:
//! it is implausible, and if it is meant it is said again and counts there.

use crate::entry::state::SeriesState;
use crate::quantity::Quantity;
use crate::spec::{ArmedAxis, ArmedSpec, Limits};

/// Whether `quantity` has the dimension of `limits`.
pub(super) fn fits(quantity: Quantity, limits: &Limits) -> bool {
    quantity.dimension() == limits.dimension()
}

/// The axis that a value of this instrument is for; `None` if the instrument measures no axis of it.
pub(super) fn axis_of_value<'a>(
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
