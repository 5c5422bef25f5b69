//! Readings of one axis; the only door from integers to floats.
//!
//! In: exact values, the unit to speak in and, where it is known, the step of the instrument. Out: a
//! [`Sample`] that keeps their order, or, without it, a [`Summary`] of exact sums and counts.

use super::grid::{Fraction, Grid};
use super::moments::Moments;
use super::{Figure, Undefined};
use crate::quantity::{Measured, Quantity, Unit};

/// The nearest float to a whole number.
#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the one door from integers to floats; the nearest float is what is asked for"
)]
pub fn float(whole: i128) -> f64 {
    whole as f64
}

/// The nearest whole number, and back through the door.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "the way back: out of range saturates, which is what is asked for"
)]
pub(super) fn nearest(value: f64) -> i64 {
    value.round() as i64
}

/// The nearest float to a number of things.
pub(super) fn float_of(count: usize) -> f64 {
    i128::try_from(count).map_or(f64::MAX, float)
}

/// A number of base units, whole or not, in `unit`.
pub(super) fn base_in(unit: Unit, base: f64) -> f64 {
    let (numerator, denominator) = unit.base_per_one();
    base * float(denominator) / float(numerator)
}

/// What readings amount to, exactly: enough for every figure that does not ask for their order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    unit: Unit,
    step: Option<i64>,
    moments: Moments,
    grid: Grid,
}

/// Readings of one axis in the order in which they were taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    bases: Vec<i64>,
    summary: Summary,
}

impl Summary {
    /// From sums and counts that were kept beside a stream.
    pub fn new(unit: Unit, step: Option<i64>, moments: Moments, grid: Grid) -> Self {
        Self {
            unit,
            step,
            moments,
            grid,
        }
    }

    /// The unit that figures are told in.
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// How many readings.
    pub fn count(&self) -> u64 {
        self.moments.count()
    }

    /// How many readings, as a float.
    pub(super) fn n(&self) -> f64 {
        float(self.count().into())
    }

    /// The exact sums.
    pub fn moments(&self) -> &Moments {
        &self.moments
    }

    /// The exact counts.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// What readings are rounded to, in the unit of the readings.
    pub fn step(&self) -> Result<f64, Undefined> {
        Ok(self.in_unit(self.step_base()?))
    }

    /// What readings are rounded to, in base units.
    pub(super) fn step_base(&self) -> Result<i64, Undefined> {
        self.step.filter(|step| *step > 0).ok_or(Undefined::NoStep)
    }

    /// Base units in the unit of the readings.
    pub fn in_unit(&self, base: i64) -> f64 {
        base_in(self.unit, float(base.into()))
    }

    /// A quantity in the unit of the readings; a force has no place among lengths.
    pub fn quantity_in_unit(&self, quantity: Quantity) -> Result<f64, Undefined> {
        if quantity.dimension() != self.unit.dimension() {
            return Err(Undefined::Mixed);
        }
        Ok(self.in_unit(quantity.base()))
    }

    /// A fraction of base units in the unit of the readings.
    pub(super) fn fraction_in_unit(&self, fraction: Fraction) -> f64 {
        base_in(
            self.unit,
            float(fraction.numerator) / float(fraction.denominator),
        )
    }

    /// The same readings with another step.
    #[must_use]
    pub fn with_step(self, step: Option<Quantity>) -> Self {
        Self {
            step: step.map(Quantity::base).or(self.step),
            ..self
        }
    }
}

impl Sample {
    /// From base units (nanometres or millinewtons, as `unit` measures), in order.
    pub fn from_bases(bases: Vec<i64>, unit: Unit) -> Result<Self, Undefined> {
        let mut moments = Moments::default();
        for base in &bases {
            moments.push(*base)?;
        }
        let grid = Grid::of(&bases);
        Ok(Self {
            bases,
            summary: Summary::new(unit, None, moments, grid),
        })
    }

    /// From exact values, in order.
    pub fn new(values: impl IntoIterator<Item = Quantity>, unit: Unit) -> Result<Self, Undefined> {
        let bases = values
            .into_iter()
            .map(|value| {
                let fits = value.dimension() == unit.dimension();
                fits.then(|| value.base()).ok_or(Undefined::Mixed)
            })
            .collect::<Result<_, _>>()?;
        Self::from_bases(bases, unit)
    }

    /// From values as they were shown, in the unit of the first; the finest digit shown is taken for
    /// the step.
    pub fn from_measured(values: &[Measured]) -> Result<Self, Undefined> {
        let first = values
            .first()
            .ok_or(Undefined::TooFew { got: 0, want: 1 })?;
        let sample = Self::new(values.iter().map(|value| value.quantity()), first.unit())?;
        Ok(sample.with_step(
            values
                .iter()
                .filter_map(last_digit)
                .min_by_key(|step| step.base()),
        ))
    }

    /// The same readings with the step of the instrument; `None` leaves what is known.
    #[must_use]
    pub fn with_step(self, step: Option<Quantity>) -> Self {
        Self {
            bases: self.bases,
            summary: self.summary.with_step(step),
        }
    }

    /// What they amount to without their order.
    pub fn summary(&self) -> &Summary {
        &self.summary
    }

    /// How many readings.
    pub fn count(&self) -> u64 {
        self.summary.count()
    }

    /// The unit that figures are told in.
    pub fn unit(&self) -> Unit {
        self.summary.unit
    }

    /// The readings in base units, in order.
    pub fn bases(&self) -> &[i64] {
        &self.bases
    }

    /// The readings in their unit, in order.
    pub fn values(&self) -> impl DoubleEndedIterator<Item = f64> + ExactSizeIterator {
        self.bases.iter().map(|base| self.summary.in_unit(*base))
    }

    /// Some of the readings, as a sample of the same unit and step.
    pub(super) fn part(&self, bases: &[i64]) -> Result<Self, Undefined> {
        let mut part = Self::from_bases(bases.to_vec(), self.unit())?;
        part.summary.step = self.summary.step;
        Ok(part)
    }

    /// A figure of what they amount to.
    pub fn figure(&self, figure: &Figure<Summary>) -> Result<f64, Undefined> {
        (figure.of)(&self.summary)
    }
}

/// One in the last place that a value was shown with.
fn last_digit(value: &Measured) -> Option<Quantity> {
    let one = crate::quantity::Decimal::new(1, value.digits().decimals());
    Quantity::of(one, value.unit()).filter(|step| step.base() > 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_finest_digit_shown_is_the_step() {
        let values: Vec<Measured> = ["1.6 mm", "1.62 mm", "0.0640 in"]
            .iter()
            .map(|text| text.parse().unwrap())
            .collect();
        let sample = Sample::from_measured(&values[..2]).unwrap();
        assert_eq!(sample.summary().step(), Ok(0.01));
        let inches = Sample::from_measured(&values).unwrap();
        assert_eq!(inches.summary().step(), Ok(0.00254));
        assert_eq!(inches.unit(), Unit::Millimetre);
    }

    #[test]
    fn a_force_among_lengths_is_refused() {
        let values = ["1.6 mm", "180 N"].map(|text| text.parse::<Measured>().unwrap());
        assert_eq!(Sample::from_measured(&values), Err(Undefined::Mixed));
    }
}
