//! The result of a verification: the errors of indication at each gauge block.
//!
//! In: a series of gauge block readings. Out: for each block the minimum and maximum error of the counted readings. The
//! error of indication is the value shown minus the size of the block (JCGM 200, ISO 13385-1, from memory). Nothing is
//! judged here: the verdict of each reading is in its entry.

use super::state::SeriesState;
use crate::quantity::{Measured, Quantity};
use crate::spec::AxisName;
use std::fmt;

/// The errors of an instrument at one gauge block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockError {
    /// The measuring faces that were checked, as an axis.
    pub axis: AxisName,
    /// Nominal size of the block.
    pub size: Measured,
    /// Number of counted readings.
    pub readings: usize,
    /// Minimum error, in nanometres; negative where the instrument showed too little.
    pub least: i64,
    /// Maximum error, in nanometres.
    pub greatest: i64,
    /// Maximum permissible error, as a positive quantity.
    pub allowed: Quantity,
}

impl BlockError {
    /// The errors at every block that was measured; empty for a series of crimps.
    pub fn of(series: &SeriesState) -> Vec<Self> {
        let blocks = series.spec.subject.blocks();
        let axes = series.spec.axes.iter().zip(blocks);
        let of_axis = axes.filter_map(|(axis, block)| {
            let size = block.size.quantity().base();
            let errors = || {
                let of_it = series.readings.iter();
                of_it
                    .filter(|reading| reading.axis == axis.name)
                    .map(|reading| reading.value.quantity().base().saturating_sub(size))
            };
            let upper = axis.limits.upper()?;
            let allowed = upper.base().saturating_sub(size);
            Some(Self {
                axis: axis.name.clone(),
                size: block.size,
                readings: errors().count(),
                least: errors().min()?,
                greatest: errors().max()?,
                allowed: Quantity::from_base(upper.dimension(), allowed),
            })
        });
        of_axis.collect()
    }
}

impl fmt::Display for BlockError {
    /// `at 2.50 mm: 0 to +0.01 mm in 3 readings, up to ±0.02 mm is allowed`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let signed = |nanometres: i64| {
            let text = Quantity::from_base(self.allowed.dimension(), nanometres).to_string();
            if nanometres > 0 {
                format!("+{text}")
            } else {
                text
            }
        };
        let readings = match self.readings {
            1 => "1 reading".to_owned(),
            more => format!("{more} readings"),
        };
        write!(f, "at {}: ", self.size)?;
        if self.least != self.greatest {
            write!(f, "{} to ", signed(self.least))?;
        }
        write!(
            f,
            "{} in {readings}, up to ±{} is allowed",
            signed(self.greatest),
            self.allowed
        )
    }
}
