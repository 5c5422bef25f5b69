//! The result of a pull test: the lowest reading and its distance from the minimum.
//!
//! In: a series. Out: the lowest counted value with its piece. Nothing is judged here: the verdict of each reading is
//! in its entry.

use super::state::{CountedReading, SeriesState};
use crate::quantity::{Dimension, Quantity};
use crate::spec::AxisName;
use std::fmt;

/// The lowest force of a series against a minimum.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lowest {
    /// The axis, for example `pull_force`.
    pub axis: AxisName,
    /// The lowest reading; the first one if several are equal.
    pub reading: CountedReading,
    /// Number of counted readings.
    pub readings: usize,
    /// The minimum that the sheet requires.
    pub minimum: Quantity,
}

impl Lowest {
    /// The lowest reading of the first axis that is a force with a minimum; `None` before the first reading.
    pub fn of(series: &SeriesState) -> Option<Self> {
        let axis = series.spec.axes.iter().find(|axis| {
            let limits = &axis.limits;
            limits.dimension() == Dimension::Force && limits.lower().is_some()
        })?;
        let minimum = axis.limits.lower()?;
        let of_it = || {
            series
                .readings
                .iter()
                .filter(|reading| reading.axis == axis.name)
        };
        let reading =
            of_it().min_by_key(|reading| (reading.value.quantity().base(), reading.seq))?;
        Some(Self {
            axis: axis.name.clone(),
            reading: reading.clone(),
            readings: of_it().count(),
            minimum,
        })
    }

    /// Value minus minimum, in millinewtons; negative below the minimum.
    pub fn margin(&self) -> i64 {
        let value = self.reading.value.quantity().base();
        value.saturating_sub(self.minimum.base())
    }
}

impl fmt::Display for Lowest {
    /// `the lowest pull force of 5 is 187 N (piece 3, #41), 7 N above the minimum of 180 N`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let margin = self.margin();
        let by = Quantity::from_base(Dimension::Force, margin.saturating_abs());
        write!(
            f,
            "the lowest {} of {} is {} (piece {}, #{}), ",
            self.axis.words(),
            self.readings,
            self.reading.value,
            self.reading.piece,
            self.reading.seq
        )?;
        match margin {
            0 => write!(f, "just the minimum of {}", self.minimum),
            1.. => write!(f, "{by} above the minimum of {}", self.minimum),
            ..0 => write!(f, "{by} below the minimum of {}", self.minimum),
        }
    }
}
