//! Order `by_value`: the value decides which axis it belongs to.
//!
//! This works only where the plausible windows of the axes do not overlap; arming refuses a plan where they do. A value
//! outside every window is assigned to the axis with the nearest window. It is implausible there, and counts there if
//! the operator repeats it.

use crate::entry::state::SeriesState;
use crate::quantity::Quantity;
use crate::spec::{ArmedAxis, ArmedSpec, Limits};

/// Whether `quantity` has the dimension of `limits`.
pub(super) fn fits(quantity: Quantity, limits: &Limits) -> bool {
    quantity.dimension() == limits.dimension()
}

/// The axis that a value of this instrument belongs to; `None` if no axis of its dimension is measured with it.
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

/// Distance of a value from the plausible window of an axis, in base units; 0 inside.
fn outside(axis: &ArmedAxis, base: i64) -> u64 {
    match axis.plausible {
        Some((least, _)) if base < least.base() => least.base().abs_diff(base),
        Some((_, greatest)) if base > greatest.base() => base.abs_diff(greatest.base()),
        Some(_) | None => 0,
    }
}
