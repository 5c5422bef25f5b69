//! Points of a chart, and the centre and standard deviation that its control limits come from.

use super::{Groups, Input};
use crate::stats::constants::Constants;
use crate::stats::sample::{Scale, base_in, float, float_of};
use crate::stats::{Sample, Undefined, describe};

/// Centre and standard deviation for control limits. They can be stored and used for later readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baseline {
    /// The centre of the readings, in their unit.
    pub center: f64,
    /// Short-term standard deviation of single readings, in their unit.
    pub sigma: f64,
    /// Number of readings in a point.
    pub size: usize,
    /// Number of points that it was computed from.
    pub points: usize,
}

impl Baseline {
    /// Standard deviation of a point, which is a mean of `size` readings.
    pub fn point_sigma(&self) -> f64 {
        self.sigma / float_of(self.size).sqrt()
    }
}

/// The first items, as many as the control limits are computed from.
pub(super) fn first_of<'s, T>(input: &Input<'_>, all: &'s [T]) -> &'s [T] {
    let taken = input.baseline.unwrap_or(all.len());
    all.get(..taken).unwrap_or(all)
}

/// The size of the subgroups, which must be the same.
pub(super) fn common_size(groups: &[Sample]) -> Result<usize, Undefined> {
    let counts = || groups.iter().map(Sample::count);
    match (counts().min(), counts().max()) {
        (Some(least), Some(most)) if least == most => {
            usize::try_from(least).map_err(|_| Undefined::TooLarge)
        }
        (Some(fewest), Some(most)) => Err(Undefined::Unequal { fewest, most }),
        _ => Err(Undefined::TooFewGroups { got: 0, want: 1 }),
    }
}

/// The mean of all readings of all groups: an exact sum, divided once.
pub(super) fn grand_mean(groups: &[Sample]) -> Result<f64, Undefined> {
    let first = groups
        .first()
        .ok_or(Undefined::TooFewGroups { got: 0, want: 1 })?;
    let count: u64 = groups.iter().map(Sample::count).sum();
    Undefined::unless(count, 1)?;
    let total: i128 = groups
        .iter()
        .map(|group| group.summary().moments().total())
        .sum();
    Ok(base_in(first.scale(), float(total) / float(count.into())))
}

/// The range of a group, in base units.
pub(super) fn range_of(group: &Sample) -> Result<i64, Undefined> {
    let grid = group.summary().grid();
    let ends = grid.least().zip(grid.greatest());
    let (least, greatest) = ends.ok_or(Undefined::TooFew { got: 0, want: 1 })?;
    Ok(greatest - least)
}

/// The mean of whole numbers of base units, in the unit of `like`.
pub(super) fn mean_of(bases: &[i64], like: &Sample) -> Result<f64, Undefined> {
    if bases.is_empty() {
        return Err(Undefined::TooFew { got: 0, want: 1 });
    }
    let total: i128 = bases.iter().map(|base| i128::from(*base)).sum();
    Ok(base_in(like.scale(), float(total) / float_of(bases.len())))
}

/// Distances between neighbours, in base units.
pub(super) fn moving_ranges(bases: &[i64]) -> impl Iterator<Item = i64> + '_ {
    let pairs = bases.windows(2);
    pairs.filter_map(|pair| Some((pair.last()? - pair.first()?).abs()))
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
    sigma_of_neighbours(sample.bases(), sample.scale())
}

/// [`moving_range_sigma`] of bare readings in base units.
pub(super) fn sigma_of_neighbours(bases: &[i64], scale: Scale) -> Result<f64, Undefined> {
    let count = u64::try_from(bases.len()).map_err(|_| Undefined::TooLarge)?;
    Undefined::unless(count, 2)?;
    let total: i128 = moving_ranges(bases).map(i128::from).sum();
    if total <= 0 {
        return Err(Undefined::NoSpread { count });
    }
    sigma_of_mean_range(base_in(scale, float(total) / float_of(bases.len() - 1)))
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

/// All readings of single-reading groups as one sample.
pub(super) fn joined(groups: &[Sample]) -> Result<Sample, Undefined> {
    let first = groups
        .first()
        .ok_or(Undefined::TooFewGroups { got: 0, want: 1 })?;
    let bases: Vec<i64> = groups
        .iter()
        .flat_map(|group| group.bases().iter().copied())
        .collect();
    first.part(&bases)
}

/// The stored baseline. Otherwise: for single readings from moving ranges; for subgroups from the mean of their
/// standard deviations divided by `c4`.
pub(super) fn baseline(input: &Input<'_>) -> Result<Baseline, Undefined> {
    if let Some(kept) = input.kept {
        return Ok(kept);
    }
    if let Groups::Singles(all) = input.groups {
        return baseline_of_singles(first_of(input, all.bases()), all.scale());
    }
    let first = first_of(input, input.groups.subgroups()?);
    let size = common_size(first)?;
    let sigma = if size == 1 {
        moving_range_sigma(&joined(first)?)?
    } else {
        mean_sd(first)? / Constants::new(size)?.c4
    };
    Ok(Baseline {
        center: grand_mean(first)?,
        sigma: positive(sigma, first)?,
        size,
        points: first.len(),
    })
}

/// The baseline of bare readings in base units.
pub(super) fn baseline_of_singles(bases: &[i64], scale: Scale) -> Result<Baseline, Undefined> {
    let total: i128 = bases.iter().map(|base| i128::from(*base)).sum();
    Ok(Baseline {
        sigma: sigma_of_neighbours(bases, scale)?,
        center: base_in(scale, float(total) / float_of(bases.len())),
        size: 1,
        points: bases.len(),
    })
}

/// The mean of the standard deviations of the groups.
pub(super) fn mean_sd(groups: &[Sample]) -> Result<f64, Undefined> {
    let sds = groups
        .iter()
        .map(|group| describe::sd(group.summary()))
        .collect::<Result<Vec<f64>, _>>()?;
    if sds.is_empty() {
        return Err(Undefined::TooFewGroups { got: 0, want: 1 });
    }
    Ok(sds.iter().sum::<f64>() / float_of(sds.len()))
}

/// `sigma`, or an error if it is 0.
pub(super) fn positive(sigma: f64, groups: &[Sample]) -> Result<f64, Undefined> {
    if sigma > 0.0 {
        return Ok(sigma);
    }
    Err(Undefined::NoSpread {
        count: groups.iter().map(Sample::count).sum(),
    })
}
