//! What a series against a minimum rests on: its lowest reading.
//!
//! In: a series. Out: the lowest counted value with its piece, and how far it is from the minimum.
//! Nothing is judged here: the verdict of each reading is in its entry.

use super::state::{CountedReading, SeriesState};
use crate::quantity::{Dimension, Quantity};
use crate::spec::AxisName;
use std::fmt;

/// The lowest force of a series that has a minimum.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lowest {
    /// What was measured.
    pub axis: AxisName,
    /// The reading; the first of those that are equally low.
    pub reading: CountedReading,
    /// How many readings count.
    pub readings: usize,
    /// The lower limit.
    pub minimum: Quantity,
}

impl Lowest {
    /// Of the first axis of the series that is a force with a minimum; `None` before its first reading.
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

    /// The value less the minimum, in millinewtons; negative below it.
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
