//! Tests whether the standard deviations of groups differ.

use super::anova::{Anova, anova};
use crate::stats::describe::positive_sd;
use crate::stats::distribution::{ChiSquared, FisherF};
use crate::stats::sample::float_of;
use crate::stats::{Sample, Undefined};

/// Brown and Forsythe's test: analysis of variance of the distances from the median of each group.
///
/// The distances are exact: twice the distance is a whole number of base units, and F does not depend on the unit. The
/// test is valid for readings that are not normal, and so for rounded ones. Source: NIST/SEMATECH e-Handbook 1.3.5.10;
/// checked to nine digits.
///
/// # Errors
///
/// As [`anova`]; [`Undefined::NotApplicable`] if all distances within each group are equal.
pub fn brown_forsythe(groups: &[Sample]) -> Result<Anova, Undefined> {
    let distances = groups
        .iter()
        .map(|group| {
            let median = group.summary().grid().quantile(1, 2)?.numerator;
            let twice = |base: &i64| {
                let distance = (2 * i128::from(*base) - median).abs();
                i64::try_from(distance).map_err(|_| Undefined::TooLarge)
            };
            let bases = group.bases().iter().map(twice).collect::<Result<_, _>>()?;
            Sample::from_bases(bases, group.scale())
        })
        .collect::<Result<Vec<_>, Undefined>>()?;
    anova(&distances).map_err(|reason| {
        let spreads = groups
            .iter()
            .any(|group| positive_sd(group.summary()).is_ok());
        if spreads && matches!(reason, Undefined::NoSpread { .. }) {
            // Two readings always have the same distance from their median.
            return Undefined::NotApplicable {
                why: "all readings of a group are equally far from its median",
            };
        }
        reason
    })
}

/// Bartlett's test: statistic and p-value. It is valid for normal readings only, so studies show [`brown_forsythe`].
///
/// ```text
/// T = ( (N-k) ln s² - Σ (nᵢ-1) ln sᵢ² ) / ( 1 + ( Σ 1/(nᵢ-1) - 1/(N-k) ) / (3(k-1)) ),   χ²(k-1)
/// ```
///
/// Source: NIST/SEMATECH e-Handbook 1.3.5.7.
///
/// # Errors
///
/// [`Undefined::TooFewGroups`] below 2, and those of [`positive_sd`] for each group.
pub fn bartlett(groups: &[Sample]) -> Result<(f64, f64), Undefined> {
    let got = u64::try_from(groups.len()).map_err(|_| Undefined::TooLarge)?;
    if got < 2 {
        return Err(Undefined::TooFewGroups { got, want: 2 });
    }
    let k = float_of(groups.len());
    let (mut freedom, mut squares, mut logs, mut inverse) = (0.0, 0.0, 0.0, 0.0);
    for group in groups {
        let own = group.summary().n() - 1.0;
        let sd = positive_sd(group.summary())?;
        freedom += own;
        squares += own * sd * sd;
        logs += own * (sd * sd).ln();
        inverse += 1.0 / own;
    }
    let spread = freedom * (squares / freedom).ln() - logs;
    let correction = 1.0 + (inverse - 1.0 / freedom) / (3.0 * (k - 1.0));
    let statistic = (spread / correction).max(0.0);
    Ok((statistic, ChiSquared::new(k - 1.0)?.above(statistic)))
}

/// Variance of `first` over that of `second`.
///
/// # Errors
///
/// Those of [`positive_sd`] for both.
pub fn variance_ratio(first: &Sample, second: &Sample) -> Result<f64, Undefined> {
    let ratio = positive_sd(first.summary())? / positive_sd(second.summary())?;
    Ok(ratio * ratio)
}

/// Two-sided bounds of [`variance_ratio`]: `ratio / F((1±c)/2; n₁-1, n₂-1)`. Exact for normal readings.
///
/// Source: NIST/SEMATECH e-Handbook 1.3.5.9, from memory.
pub fn variance_ratio_bounds(
    first: &Sample,
    second: &Sample,
    confidence: f64,
) -> Result<(f64, f64), Undefined> {
    let ratio = variance_ratio(first, second)?;
    let f = FisherF::new(first.summary().n() - 1.0, second.summary().n() - 1.0)?;
    Ok((
        ratio / f.quantile(0.5 + confidence / 2.0)?,
        ratio / f.quantile(0.5 - confidence / 2.0)?,
    ))
}
