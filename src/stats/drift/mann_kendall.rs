//! Mann and Kendall's test: does the order of the readings show a trend of any shape?

use crate::stats::Undefined;
use crate::stats::distribution;
use crate::stats::grid::Grid;
use crate::stats::sample::float;

/// The test compares all pairs; more readings would take too long.
const MOST: u64 = 20_000;

/// The statistic, with the values that its p-value is computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannKendall {
    /// Number of rising pairs minus number of falling pairs.
    pub s: f64,
    /// Variance of `s` without a trend, corrected for ties.
    pub variance: f64,
    /// Number of pairs without ties, as in Kendall's tau-b.
    pairs: f64,
}

/// The statistic of readings in order.
///
/// ```text
/// S = Σᵢ<ⱼ sign(xⱼ - xᵢ);   var S = ( n(n-1)(2n+5) - Σ t(t-1)(2t+5) ) / 18 over groups of t ties
/// ```
///
/// `S` and the sums are exact. Source: Mann 1945, Kendall 1975, from memory. The normal approximation is usual from
/// about 8 readings on.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 4 readings, [`Undefined::TooMany`] above 20,000, [`Undefined::NoSpread`] if all are
/// equal.
pub fn mann_kendall(bases: &[i64]) -> Result<MannKendall, Undefined> {
    let count = u64::try_from(bases.len()).map_err(|_| Undefined::TooLarge)?;
    Undefined::unless(count, 4)?;
    if count > MOST {
        return Err(Undefined::TooMany {
            got: count,
            most: MOST,
        });
    }
    let mut rest = bases;
    let mut s = 0_i64;
    while let Some((first, later)) = rest.split_first() {
        s += later
            .iter()
            .map(|base| (base - first).signum())
            .sum::<i64>();
        rest = later;
    }
    let weight = |t: i128| t * (t - 1) * (2 * t + 5);
    let grid = Grid::of(bases);
    let tied = |of: fn(i128) -> i128| -> i128 {
        let groups = grid.counts().iter();
        groups.map(|(_, times)| of(i128::from(*times))).sum()
    };
    let n = i128::from(count);
    let variance = float(weight(n) - tied(|t| t * (t - 1) * (2 * t + 5))) / 18.0;
    if variance <= 0.0 {
        return Err(Undefined::NoSpread { count });
    }
    let all = float(n * (n - 1)) / 2.0;
    let untied = float(n * (n - 1) - tied(|t| t * (t - 1))) / 2.0;
    Ok(MannKendall {
        s: float(s.into()),
        variance,
        pairs: (all * untied).sqrt(),
    })
}

impl MannKendall {
    /// Kendall's tau-b against the order: -1 if always falling, 1 if always rising.
    pub fn tau(&self) -> Result<f64, Undefined> {
        Ok(self.s / self.pairs)
    }

    /// The two-sided p-value of S without a trend: normal approximation with continuity correction.
    pub fn p(&self) -> Result<f64, Undefined> {
        let nearer = (self.s.abs() - 1.0).max(0.0);
        let tail = distribution::tail(distribution::above(nearer / self.variance.sqrt()));
        Ok((2.0 * tail).min(1.0))
    }
}
