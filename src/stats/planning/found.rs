//! The standard deviation that readings have shown, for a plan.

use crate::stats::describe::sd;
use crate::stats::distribution::ChiSquared;
use crate::stats::{Sample, Undefined};

/// A standard deviation within groups, with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SdWithin {
    /// The value.
    pub sd: f64,
    /// The lower confidence bound.
    pub low: f64,
    /// The upper confidence bound.
    pub high: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
}

/// The standard deviation within groups, such as series: differences between them are not in it.
///
/// ```text
/// s² = Σ (nᵢ - 1) sᵢ² / ν,   ν = Σ (nᵢ - 1),   s √(ν/χ²((1±c)/2; ν))
/// ```
///
/// The interval is exact for normal readings. Source: e-Handbook 7.3.1 (pooled) and 7.2.3.1 (interval), from memory.
///
/// # Errors
///
/// [`Undefined::TooFew`] if no group has two readings, [`Undefined::NoSpread`] if the readings of each group are all equal.
///
/// # Examples
///
/// ```
/// use tallyjaw::{quantity::Unit, stats::{Sample, planning::sd_within}};
/// let group = |values: [i64; 3]| Sample::from_bases(values.map(|v| v * 10_000).to_vec(), Unit::Millimetre);
/// // Variances of 1 and 4 squared hundredths, each with 2 degrees of freedom.
/// let found = sd_within(&[group([161, 162, 163])?, group([170, 172, 174])?], 0.95)?;
/// assert!((found.sd - 0.025_f64.sqrt() / 10.0).abs() < 1e-12);
/// assert_eq!(found.degrees_of_freedom, 4.0);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn sd_within(groups: &[Sample], confidence: f64) -> Result<SdWithin, Undefined> {
    let (mut squares, mut freedom, mut count) = (0.0, 0.0, 0);
    for group in groups.iter().filter(|group| group.count() > 1) {
        let all = group.summary();
        squares += (all.n() - 1.0) * sd(all)?.powi(2);
        freedom += all.n() - 1.0;
        count += group.count();
    }
    if freedom < 1.0 {
        let got = groups.iter().map(Sample::count).max().unwrap_or(0);
        return Err(Undefined::TooFew { got, want: 2 });
    }
    if squares <= 0.0 {
        return Err(Undefined::NoSpread { count });
    }
    let chi = ChiSquared::new(freedom)?;
    let bound = |p: f64| Ok::<_, Undefined>((squares / chi.quantile(p)?).sqrt());
    Ok(SdWithin {
        sd: (squares / freedom).sqrt(),
        low: bound(0.5 + confidence / 2.0)?,
        high: bound(0.5 - confidence / 2.0)?,
        degrees_of_freedom: freedom,
    })
}
