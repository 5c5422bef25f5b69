//! Points of a chart, and the centre and standard deviation that its control limits come from.

use super::{Groups, Input};
use crate::stats::constants::Constants;
use crate::stats::sample::{Scale, base_in, float, float_of};
use crate::stats::{Sample, Undefined};

/// Centre and standard deviation for control limits. They can be stored and used for later readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baseline {
    /// The centre of the readings, in their unit.
    pub center: f64,
    /// Short-term standard deviation of single readings, in their unit.
    pub sigma: f64,
    /// Number of readings in a point; [`Baseline::SEVERAL`] if they differ.
    pub size: usize,
    /// Number of points that it was computed from.
    pub points: usize,
    /// Whether centre and standard deviation were given, and are not estimates.
    pub given: bool,
}

impl Baseline {
    /// The size of points that have different numbers of readings.
    pub const SEVERAL: usize = 0;

    /// Standard deviation of a point, which is a mean of `size` readings.
    pub fn point_sigma(&self) -> f64 {
        self.sigma / float_of(self.size).sqrt()
    }
}

/// Number of first points that the control limits are computed from.
pub(super) fn taken(input: &Input<'_>) -> usize {
    let all = input.groups.len();
    input.baseline.map_or(all, |taken| taken.min(all))
}

/// The mean of the readings of the first `points`: an exact sum, divided once.
pub(super) fn grand_mean(groups: &Groups, points: usize) -> Result<f64, Undefined> {
    let count: usize = groups.sizes().take(points).sum();
    if count == 0 {
        return Err(Undefined::TooFew { got: 0, want: 1 });
    }
    let total: i128 = groups.bases().take(count).map(i128::from).sum();
    Ok(base_in(groups.scale(), float(total) / float_of(count)))
}

/// The mean of whole numbers of base units.
pub(super) fn mean_of(bases: impl Iterator<Item = i64>, scale: Scale) -> Result<f64, Undefined> {
    let (mut total, mut count) = (0_i128, 0_usize);
    for base in bases {
        total += i128::from(base);
        count += 1;
    }
    if count == 0 {
        return Err(Undefined::TooFew { got: 0, want: 1 });
    }
    Ok(base_in(scale, float(total) / float_of(count)))
}

/// Distances between neighbours, in base units.
pub(super) fn moving_ranges(mut bases: impl Iterator<Item = i64>) -> impl Iterator<Item = i64> {
    let mut last = bases.next();
    bases.filter_map(move |base| Some((base - last.replace(base)?).abs()))
}

/// The short-term standard deviation from neighbours: mean moving range divided by `d2(2)`.
///
/// ```text
/// sigma = mean(|xᵢ₊₁ - xᵢ|) / d2(2),   d2(2) = 2/√π
/// ```
///
/// The sum is exact. Source: NIST/SEMATECH e-Handbook 6.3.2.2, which uses d2 = 1.128.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 readings, [`Undefined::NoSpread`] if all neighbours are equal.
pub fn moving_range_sigma(sample: &Sample) -> Result<f64, Undefined> {
    sigma_of_neighbours(sample.bases().iter().copied(), sample.scale())
}

/// [`moving_range_sigma`] of bare readings in base units.
pub(super) fn sigma_of_neighbours(
    bases: impl Iterator<Item = i64>,
    scale: Scale,
) -> Result<f64, Undefined> {
    let (mut total, mut count) = (0_i128, 0_u64);
    let bases = bases.inspect(|_| count += 1);
    moving_ranges(bases).for_each(|range| total += i128::from(range));
    Undefined::unless(count, 2)?;
    if total <= 0 {
        return Err(Undefined::NoSpread { count });
    }
    let ranges = float((count - 1).into());
    sigma_of_mean_range(base_in(scale, float(total) / ranges))
}

/// The standard deviation of readings with this mean distance between neighbours.
pub fn sigma_of_mean_range(mean_range: f64) -> Result<f64, Undefined> {
    Ok(mean_range / Constants::new(2)?.d2)
}

/// The degrees of freedom of [`moving_range_sigma`] for `n` readings: those of a chi-squared estimate with the same
/// relative variance.
///
/// ```text
/// m = n - 1;  v = 2 - 4/π;  w = (4/π)(√3/2 + π/12) - 4/π
/// ν = (4/π) m² / (2 (m v + 2 (m - 1) w))          about 0.605 m
/// ```
///
/// `v` is the variance of a moving range. `w` is the covariance of consecutive ones, whose differences have the
/// correlation -1/2 (`E|XY|` of two normal values, derived; no source).
pub fn moving_range_freedom(n: f64) -> f64 {
    use std::f64::consts::PI;
    let m = n - 1.0;
    let square = 4.0 / PI;
    let variance = 2.0 - square;
    let covariance = square * (0.75_f64.sqrt() + PI / 12.0) - square;
    square * m * m / (2.0 * (m * variance + 2.0 * (m - 1.0) * covariance))
}

/// The stored baseline; otherwise that of single readings from moving ranges, and of subgroups, which have the same size,
/// from the mean of their standard deviations divided by `c4`.
pub(super) fn baseline(input: &Input<'_>) -> Result<Baseline, Undefined> {
    if let Some(kept) = input.kept {
        return Ok(kept);
    }
    let groups = input.groups;
    let (size, points) = (groups.size()?, taken(input));
    let sigma = if size == 1 {
        sigma_of_neighbours(groups.bases().take(points), groups.scale())?
    } else {
        mean_sd(groups, points)? / Constants::new(size)?.c4
    };
    Ok(Baseline {
        center: grand_mean(groups, points)?,
        sigma: positive(sigma, points * size)?,
        size,
        points,
        given: false,
    })
}

/// The mean of the standard deviations of the first `points`.
fn mean_sd(groups: &Groups, points: usize) -> Result<f64, Undefined> {
    let mut sum = 0.0;
    for sd in groups.sds().take(points) {
        sum += sd?;
    }
    if points == 0 {
        return Err(Undefined::TooFewGroups { got: 0, want: 1 });
    }
    Ok(sum / float_of(points))
}

/// `sigma`, or an error if it is 0.
pub(super) fn positive(sigma: f64, readings: usize) -> Result<f64, Undefined> {
    if sigma > 0.0 {
        return Ok(sigma);
    }
    Err(Undefined::NoSpread {
        count: u64::try_from(readings).unwrap_or(u64::MAX),
    })
}
