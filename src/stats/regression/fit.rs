//! Does a straight line fit? The distances from it, the test of lack of fit, and the test of an even spread.

use super::Regression;
use crate::stats::distribution::{FisherF, StudentT};
use crate::stats::sample::float_of;
use crate::stats::{Sample, Undefined};
use std::collections::BTreeMap;

/// The test of lack of fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LackOfFit {
    /// Mean square of the lack of fit over that of the pure error.
    pub f: f64,
    /// Degrees of freedom of the lack of fit: different x less 2.
    pub freedom: f64,
    /// Degrees of freedom of the pure error: readings less different x.
    pub pure_freedom: f64,
    /// Standard deviation of readings with the same x.
    pub pure_sd: f64,
    /// The p-value of F if the means lie on a straight line.
    pub p: f64,
}

impl Regression {
    /// The readings of y for each x.
    pub(super) fn levels(&self) -> BTreeMap<i64, Vec<i64>> {
        let mut levels: BTreeMap<i64, Vec<i64>> = BTreeMap::new();
        for (x, y) in self.x.bases().iter().zip(self.y.bases()) {
            levels.entry(*x).or_default().push(*y);
        }
        levels
    }

    /// The test of lack of fit: do the means of readings with the same x lie on a straight line?
    ///
    /// ```text
    /// F = ((SSE - SSPE)/(m - 2)) / (SSPE/(n - m)),   SSPE = Σ over x of Σ (y - mean of its x)²,   m different x
    /// ```
    ///
    /// Source: NIST/SEMATECH e-Handbook 4.4.4.6; checked against its example 4.6.1.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] if no x was measured twice, or only two different ones;
    /// [`Undefined::NoSpread`] if all readings of each x are equal.
    pub fn lack_of_fit(&self) -> Result<LackOfFit, Undefined> {
        let levels = self.levels();
        let (n, m) = (self.trend.n, float_of(levels.len()));
        if m < 3.0 {
            return Err(Undefined::NotApplicable {
                why: "two different x always lie on a straight line",
            });
        }
        if n - m < 1.0 {
            return Err(Undefined::NotApplicable {
                why: "no value of x was measured twice",
            });
        }
        let mut pure = 0.0;
        for bases in levels.into_values() {
            let level = Sample::from_bases(bases, self.y.scale())?;
            pure += level.summary().moments().squared_deviations()?;
        }
        if pure <= 0.0 {
            let count = self.y.count();
            return Err(Undefined::NoSpread { count });
        }
        let pure = pure * self.y.summary().in_unit(1).powi(2);
        let rest = self.trend.residual_sd.powi(2) * (n - 2.0);
        let (freedom, pure_freedom) = (m - 2.0, n - m);
        let f = ((rest - pure).max(0.0) / freedom) / (pure / pure_freedom);
        Ok(LackOfFit {
            f,
            freedom,
            pure_freedom,
            pure_sd: (pure / pure_freedom).sqrt(),
            p: FisherF::new(freedom, pure_freedom)?.above(f),
        })
    }

    /// The distances from the line, as whole base units of y.
    pub(super) fn residual_bases(&self) -> Vec<i64> {
        self.trend.residuals(&self.y, self.x.bases())
    }

    /// The two-sided p-value of the rank correlation of x with the sizes of the distances from the line: does the
    /// spread change with x?
    ///
    /// ```text
    /// t = r √((n - 2)/(1 - r²)),   r of Spearman, with mean ranks
    /// ```
    ///
    /// Source: definition; e-Handbook 4.4.4.2 asks the question by a plot.
    ///
    /// # Errors
    ///
    /// [`Undefined::NoSpread`] if all distances are equal.
    pub fn even_spread_p(&self) -> Result<f64, Undefined> {
        let sizes: Vec<i64> = self.residual_bases().iter().map(|off| off.abs()).collect();
        let (a, b) = (ranks(self.x.bases()), ranks(&sizes));
        let places = Sample::from_bases(a, self.y.scale())?;
        let line = crate::stats::drift::Trend::new(&places, &b).map_err(|_| {
            let count = self.y.count();
            Undefined::NoSpread { count }
        })?;
        // The p-value of the slope of one variable on the other is that of their correlation.
        if line.residual_sd <= 0.0 {
            return Ok(f64::MIN_POSITIVE);
        }
        let t = line.slope / (line.residual_sd / line.place_squares.sqrt());
        Ok(StudentT::new(line.n - 2.0)?.two_sided(t))
    }
}

/// Twice the mean rank of each value.
fn ranks(values: &[i64]) -> Vec<i64> {
    let mut counts: BTreeMap<i64, i64> = BTreeMap::new();
    for value in values {
        *counts.entry(*value).or_default() += 1;
    }
    let mut before = 0;
    for count in counts.values_mut() {
        let here = *count;
        *count = 2 * before + here + 1;
        before += here;
    }
    let rank = |value: &i64| counts.get(value).copied().unwrap_or(0);
    values.iter().map(rank).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_values_share_their_mean_rank() {
        assert_eq!(ranks(&[30, 10, 20, 20]), [8, 2, 5, 5]);
    }
}
