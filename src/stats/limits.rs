//! Limits of an axis, for statistics.

use super::{Summary, Undefined};
use crate::quantity::Quantity;

/// Limits of an axis. A figure that compares with limits needs at least one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Limits {
    /// The lower limit.
    pub lower: Option<Quantity>,
    /// The nominal.
    pub nominal: Option<Quantity>,
    /// The upper limit.
    pub upper: Option<Quantity>,
}

impl Limits {
    /// The lower limit in the unit of the readings.
    pub fn lower_of(&self, all: &Summary) -> Result<f64, Undefined> {
        all.quantity_in_unit(self.lower.ok_or(Undefined::NoLowerLimit)?)
    }

    /// The upper limit in the unit of the readings.
    pub fn upper_of(&self, all: &Summary) -> Result<f64, Undefined> {
        all.quantity_in_unit(self.upper.ok_or(Undefined::NoUpperLimit)?)
    }

    /// Upper minus lower limit in the unit of the readings.
    pub fn width_of(&self, all: &Summary) -> Result<f64, Undefined> {
        if self.lower.is_none() && self.upper.is_none() {
            return Err(Undefined::NoLimits);
        }
        match (self.lower_of(all), self.upper_of(all)) {
            (Ok(lower), Ok(upper)) => Ok(upper - lower),
            (Err(Undefined::Mixed), _) | (_, Err(Undefined::Mixed)) => Err(Undefined::Mixed),
            (Err(_), _) | (_, Err(_)) => Err(Undefined::OneSided),
        }
    }
}
