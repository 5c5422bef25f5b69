//! Statistics of any number of readings, one after the other, in memory that does not grow with them.
//!
//! In: base units in order. Out: the same [`Summary`] as from a [`Sample`], the short-term standard deviation, and the
//! order of the first few thousand readings. Memory holds exact sums and the count of each value, of which there are
//! few because values are multiples of the resolution.

use super::capability::Within;
use super::chart::{moving_range_freedom, sigma_of_mean_range};
use super::grid::{Grid, MOST_VALUES};
use super::moments::Moments;
use super::sample::{Scale, base_in, float};
use super::{Sample, Summary, Undefined, order};
use std::collections::HashMap;

/// Statistics of the readings so far.
///
/// ```
/// use tallyjaw::{quantity::Unit, stats::{Sample, stream::Stream}};
/// let bases = vec![1_620_000, 1_630_000, 1_610_000, 1_620_000];
/// let mut stream = Stream::new(Unit::Millimetre);
/// for base in &bases {
///     stream.push(*base)?;
/// }
/// let sample = Sample::from_bases(bases, Unit::Millimetre)?;
/// assert_eq!(&stream.summary(None)?, sample.summary());
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
#[derive(Debug, Clone)]
pub struct Stream {
    scale: Scale,
    moments: Moments,
    counts: HashMap<i64, u64>,
    last: Option<i64>,
    /// The first readings in order: as many as tests of order accept, and one more.
    first: Vec<i64>,
    /// Sum of the distances between neighbours.
    ranges: i128,
}

impl Stream {
    /// A stream without readings yet, with figures in the unit of `scale`.
    pub fn new(scale: impl Into<Scale>) -> Self {
        Self {
            scale: scale.into(),
            moments: Moments::default(),
            counts: HashMap::new(),
            last: None,
            first: Vec::new(),
            ranges: 0,
        }
    }

    /// Adds the next reading, in base units.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooLarge`] if sums overflow, or if there are more than a million different values, which no
    /// instrument gives.
    pub fn push(&mut self, base: i64) -> Result<(), Undefined> {
        self.moments.push(base)?;
        *self.counts.entry(base).or_default() += 1;
        if self.counts.len() > MOST_VALUES {
            return Err(Undefined::TooLarge);
        }
        if self.moments.count() <= order::MOST + 1 {
            self.first.push(base);
        }
        if let Some(last) = self.last.replace(base) {
            self.ranges += (i128::from(base) - i128::from(last)).abs();
        }
        Ok(())
    }

    /// Number of readings so far.
    pub fn count(&self) -> u64 {
        self.moments.count()
    }

    /// Sums and counts so far, with the resolution on the scale of the readings.
    pub fn summary(&self, step: Option<i64>) -> Result<Summary, Undefined> {
        let counts = self.counts.iter().map(|(base, times)| (*base, *times));
        let grid = Grid::of_counts(counts.collect())?;
        Ok(Summary::new(self.scale, step, self.moments, grid))
    }

    /// The readings in order.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooMany`] if there are more than tests of order accept, because the order is not kept then.
    pub fn order(&self, step: Option<i64>) -> Result<Sample, Undefined> {
        if self.count() > order::MOST {
            return Err(Undefined::TooMany {
                got: self.count(),
                most: order::MOST,
            });
        }
        Ok(Sample::from_bases(self.first.clone(), self.scale)?.with_step_base(step))
    }

    /// The short-term standard deviation, from moving ranges.
    ///
    /// # Errors
    ///
    /// As [`super::chart::moving_range_sigma`].
    pub fn within(&self) -> Result<Within, Undefined> {
        let count = self.count();
        Undefined::unless(count, 2)?;
        if self.ranges == 0 {
            return Err(Undefined::NoSpread { count });
        }
        let n = float(count.into());
        let mean_range = base_in(self.scale, float(self.ranges) / (n - 1.0));
        Ok(Within {
            sigma: sigma_of_mean_range(mean_range)?,
            freedom: moving_range_freedom(n),
            how: "moving ranges",
        })
    }
}
