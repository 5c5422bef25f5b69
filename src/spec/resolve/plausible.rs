//! The plausible window of an axis: a value outside of it is taken for a slip until it is repeated.
//!
//! - With a nominal: a share of it to both sides, at least three tolerances.
//! - A force with a lower limit only: from a third of the limit to the force at which the wire itself would break, or
//!   as the configuration says in percent of the limit. A third (common practice, no source) still has the weak crimps,
//!   and no longer the same pull in pounds-force or kilograms-force.
//! - Any other limit on one side: none.

use crate::quantity::{Area, Dimension, Quantity};
use crate::spec::{Axis, Limits};

/// Tensile strength of hard copper in newtons per square millimetre (ASTM B1, fine wires: up to about 460; from memory).
/// Soft copper, which wires are made of, has about half; wires of a stronger alloy need `plausible` in the configuration.
const STRENGTH: i64 = 460;
/// The window reaches up to this multiple of the lower limit at least, in case the wire is stronger than copper.
const LEAST_MULTIPLE: i64 = 3;

/// The smallest and the largest plausible value; `None` if every value is plausible.
pub(super) fn window(limits: &Limits, axis: &Axis, wire: Area) -> Option<(Quantity, Quantity)> {
    let (from, to) = match (limits.centre(), limits.lower()) {
        (Some(centre), _) => about(centre, limits.width()?, axis.plausible_percent),
        (None, Some(lower)) if limits.dimension() == Dimension::Force => {
            of_force(lower.base(), axis.plausible_of_lower, wire)
        }
        (None, _) => return None,
    };
    let quantity = |base| Quantity::from_base(limits.dimension(), base);
    Some((quantity(from), quantity(to)))
}

fn about(centre: i64, width: i64, percent: u16) -> (i64, i64) {
    let share = centre.saturating_abs().saturating_mul(i64::from(percent)) / 100;
    let three_tolerances = width.saturating_mul(3) / 2;
    let half = share.max(three_tolerances);
    (centre.saturating_sub(half), centre.saturating_add(half))
}

/// In millinewtons.
fn of_force(lower: i64, of_lower: Option<(u16, u16)>, wire: Area) -> (i64, i64) {
    if let Some((from, to)) = of_lower {
        let share = |percent: u16| lower.saturating_mul(percent.into()) / 100;
        return (share(from), share(to));
    }
    let square_micrometres = i64::try_from(wire.square_micrometres()).unwrap_or(i64::MAX);
    // 1 N/mm² is 1 mN in 1000 µm².
    let breaks = square_micrometres.saturating_mul(STRENGTH) / 1_000;
    (lower / 3, breaks.max(lower.saturating_mul(LEAST_MULTIPLE)))
}
