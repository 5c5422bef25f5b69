//! Readings of one axis, and the only conversions between integers and floats.
//!
//! In: exact values, the unit of results, and the resolution if it is known. Out: a [`Sample`], which keeps the order
//! of the readings, or a [`Summary`] of exact sums and counts.

use super::grid::{Fraction, Grid};
use super::moments::Moments;
use super::{Figure, Undefined};
use crate::quantity::{Quantity, Unit};

/// The float nearest to a whole number.
#[expect(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the one door from integers to floats; the nearest float is what is needed"
)]
pub fn float(whole: i128) -> f64 {
    whole as f64
}

/// The whole number nearest to a float.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "the way back: out of range saturates, which is what is needed"
)]
pub(super) fn nearest(value: f64) -> i64 {
    value.round() as i64
}

/// The float nearest to a number of pieces.
pub(super) fn counted(count: u64) -> f64 {
    float(count.into())
}

/// The float nearest to a count.
pub(super) fn float_of(count: usize) -> f64 {
    i128::try_from(count).map_or(f64::MAX, float)
}

/// The unit of the whole numbers that readings are stored as: base units, or parts of them where digits are finer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scale {
    unit: Unit,
    finer: u8,
    /// `10^finer`, which fits.
    parts: i64,
    /// The value of 1 in the unit, as numerator and denominator.
    one: (i128, i128),
}

impl Scale {
    /// A scale with `10^finer` parts in each base unit of `unit`. [`Undefined::TooLarge`] above 18.
    pub fn new(unit: Unit, finer: u8) -> Result<Self, Undefined> {
        if finer == 0 {
            return Ok(unit.into());
        }
        let parts = 10_i64.checked_pow(u32::from(finer));
        let parts = parts.ok_or(Undefined::TooLarge)?;
        let (per_one, numerator) = unit.base_per_one();
        let denominator = per_one.checked_mul(parts.into());
        let denominator = denominator.ok_or(Undefined::TooLarge)?;
        // Reduced, so that a decimal number converts to exactly what was written.
        let common = common_divisor(numerator, denominator);
        Ok(Self {
            unit,
            finer,
            parts,
            one: (numerator / common, denominator / common),
        })
    }

    /// The unit of figures.
    pub fn unit(self) -> Unit {
        self.unit
    }

    /// Number of decimals finer than a base unit.
    pub fn finer(self) -> u8 {
        self.finer
    }

    /// A whole number on this scale, in its unit.
    pub fn in_unit(self, base: i64) -> f64 {
        base_in(self, float(base.into()))
    }

    /// The whole number on this scale nearest to a value in its unit.
    pub fn nearest(self, value: f64) -> i64 {
        let (numerator, denominator) = self.one;
        nearest(value * float(denominator) / float(numerator))
    }

    /// A limit on this scale, for comparing readings with it. A limit that does not fit lies beyond all readings.
    pub fn limit(self, quantity: Quantity) -> i64 {
        quantity.base().saturating_mul(self.parts)
    }

    /// A quantity on this scale; `None` if it does not fit.
    pub fn whole(self, quantity: Quantity) -> Option<i64> {
        quantity.base().checked_mul(self.parts)
    }
}

impl From<Unit> for Scale {
    fn from(unit: Unit) -> Self {
        let (denominator, numerator) = unit.base_per_one();
        Self {
            unit,
            finer: 0,
            parts: 1,
            one: (numerator, denominator),
        }
    }
}

/// A number on `scale`, in its unit.
pub(super) fn base_in(scale: Scale, base: f64) -> f64 {
    let (numerator, denominator) = scale.one;
    base * float(numerator) / float(denominator)
}

fn common_divisor(mut a: i128, mut b: i128) -> i128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Exact sums and counts of readings, enough for every figure that does not depend on their order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    scale: Scale,
    step: Option<i64>,
    moments: Moments,
    grid: Grid,
}

/// Readings of one axis, in the order in which they were taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    bases: Vec<i64>,
    summary: Summary,
}

impl Summary {
    /// A summary of the sums and counts that a stream has kept.
    pub fn new(scale: impl Into<Scale>, step: Option<i64>, moments: Moments, grid: Grid) -> Self {
        Self {
            scale: scale.into(),
            step,
            moments,
            grid,
        }
    }

    /// The unit of figures.
    pub fn unit(&self) -> Unit {
        self.scale.unit
    }

    /// The scale of the readings.
    pub fn scale(&self) -> Scale {
        self.scale
    }

    /// Number of readings.
    pub fn count(&self) -> u64 {
        self.moments.count()
    }

    /// Number of readings, as a float.
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

    /// The resolution, in the unit of the readings.
    pub fn step(&self) -> Result<f64, Undefined> {
        Ok(self.in_unit(self.step_base()?))
    }

    /// The resolution, in base units.
    pub(super) fn step_base(&self) -> Result<i64, Undefined> {
        self.step.filter(|step| *step > 0).ok_or(Undefined::NoStep)
    }

    /// A number of base units, in the unit of the readings.
    pub fn in_unit(&self, base: i64) -> f64 {
        base_in(self.scale, float(base.into()))
    }

    /// A quantity in the unit of the readings; an error if its dimension differs.
    pub fn quantity_in_unit(&self, quantity: Quantity) -> Result<f64, Undefined> {
        if quantity.dimension() != self.unit().dimension() {
            return Err(Undefined::Mixed);
        }
        Ok(base_in(self.unit().into(), float(quantity.base().into())))
    }

    /// A fraction of base units, in the unit of the readings.
    pub(super) fn fraction_in_unit(&self, fraction: Fraction) -> f64 {
        base_in(
            self.scale,
            float(fraction.numerator) / float(fraction.denominator),
        )
    }

    /// The same readings with another resolution.
    #[must_use]
    pub fn with_step(self, step: Option<Quantity>) -> Self {
        Self {
            step: step.and_then(|step| self.scale.whole(step)).or(self.step),
            ..self
        }
    }
}

impl Sample {
    /// A sample of readings in base units of the scale, in order.
    pub fn from_bases(bases: Vec<i64>, scale: impl Into<Scale>) -> Result<Self, Undefined> {
        let mut moments = Moments::default();
        for base in &bases {
            moments.push(*base)?;
        }
        let grid = Grid::of(&bases);
        Ok(Self {
            bases,
            summary: Summary::new(scale, None, moments, grid),
        })
    }

    /// A sample of exact values, in order.
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

    /// The same readings with this resolution; `None` keeps the one that is known.
    #[must_use]
    pub fn with_step(self, step: Option<Quantity>) -> Self {
        Self {
            bases: self.bases,
            summary: self.summary.with_step(step),
        }
    }

    /// The same readings with this resolution on their own scale; `None` if it is unknown.
    #[must_use]
    pub fn with_step_base(mut self, step: Option<i64>) -> Self {
        self.summary.step = step;
        self
    }

    /// The readings without their order.
    pub fn summary(&self) -> &Summary {
        &self.summary
    }

    /// Number of readings.
    pub fn count(&self) -> u64 {
        self.summary.count()
    }

    /// The unit of figures.
    pub fn unit(&self) -> Unit {
        self.summary.unit()
    }

    /// The scale of the readings.
    pub fn scale(&self) -> Scale {
        self.summary.scale
    }

    /// The readings in base units, in order.
    pub fn bases(&self) -> &[i64] {
        &self.bases
    }

    /// The readings in their unit, in order.
    pub fn values(&self) -> impl DoubleEndedIterator<Item = f64> + ExactSizeIterator {
        self.bases.iter().map(|base| self.summary.in_unit(*base))
    }

    /// A sample of some of the readings, with the same unit and resolution.
    pub(super) fn part(&self, bases: &[i64]) -> Result<Self, Undefined> {
        let part = Self::from_bases(bases.to_vec(), self.scale())?;
        Ok(part.with_step_base(self.summary.step))
    }

    /// The value of a figure.
    pub fn figure(&self, figure: &Figure<Summary>) -> Result<f64, Undefined> {
        (figure.of)(&self.summary)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Measured;

    #[test]
    fn a_force_among_lengths_is_refused() {
        let values = ["1.6 mm", "180 N"].map(|text| text.parse::<Measured>().unwrap().quantity());
        assert_eq!(Sample::new(values, Unit::Millimetre), Err(Undefined::Mixed));
    }
}
