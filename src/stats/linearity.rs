//! Linearity: the error of an instrument over its range, from readings of gauge blocks or masters.
//!
//! In: errors (reading minus size), each with the size of what was measured. Out: the bias at each size with its
//! interval, the bias over all sizes, and whether the error changes with the size.

use super::describe::{mean, mean_bounds, positive_sd};
use super::distribution::StudentT;
use super::figures::row;
use super::regression::Regression;
use super::text::{Digits, chance, fixed};
use super::{CONFIDENCE, Figure, FigureKind, Sample, Undefined};
use std::collections::BTreeMap;

/// Significance level of bias and linearity.
const LEVEL: f64 = 0.05;

/// Errors with the sizes at which they were found.
#[derive(Debug, Clone)]
pub struct Linearity {
    line: Regression,
}

impl Linearity {
    /// Errors `errors`, found at `sizes`.
    ///
    /// # Errors
    ///
    /// As [`Regression::new`].
    pub fn new(sizes: Sample, errors: Sample) -> Result<Self, Undefined> {
        let line = Regression::new(sizes, errors)?.named("size", "error");
        Ok(Self { line })
    }

    /// The line through the errors.
    pub fn line(&self) -> &Regression {
        &self.line
    }

    /// The sizes, each with its errors.
    pub fn sizes(&self) -> Vec<(f64, Sample)> {
        let mut sizes: BTreeMap<i64, Vec<i64>> = BTreeMap::new();
        let (x, y) = (self.line.x(), self.line.y());
        for (size, error) in x.bases().iter().zip(y.bases()) {
            sizes.entry(*size).or_default().push(*error);
        }
        let of_size = |(size, errors): (i64, Vec<i64>)| {
            let errors = y.part(&errors).ok()?;
            Some((x.summary().in_unit(size), errors))
        };
        sizes.into_iter().filter_map(of_size).collect()
    }

    /// The confidence interval of the mean of some errors, and the two-sided p-value of no bias.
    ///
    /// ```text
    /// mean ± t(0.975; n-1) s/√n,   t = mean √n / s
    /// ```
    pub fn bias_at(&self, errors: &Sample) -> Result<(f64, f64, f64), Undefined> {
        let all = errors.summary();
        let (low, high) = mean_bounds(all, CONFIDENCE)?;
        let t = mean(all)? * all.n().sqrt() / positive_sd(all)?;
        Ok((low, high, StudentT::new(all.n() - 1.0)?.two_sided(t)))
    }

    /// What the errors show, in words.
    pub fn sentences(&self, digits: Digits<'_>) -> Vec<String> {
        let text = |value: f64| digits.text(FigureKind::Reading, value);
        let bias = match (mean(self.line.y().summary()), self.bias_at(self.line.y())) {
            (Ok(mean), Ok((low, high, p))) => {
                let bounds = format!("95 % confidence interval: {} to {}", text(low), text(high));
                if p < LEVEL {
                    format!(
                        "a bias is shown: mean error {} ({bounds}, p = {})",
                        text(mean),
                        chance(p)
                    )
                } else {
                    format!(
                        "no bias is shown: mean error {} ({bounds}, p = {})",
                        text(mean),
                        fixed(p, 2)
                    )
                }
            }
            (Err(reason), _) | (_, Err(reason)) => format!("the bias cannot be tested: {reason}"),
        };
        vec![bias, self.change(digits)]
    }

    fn change(&self, digits: Digits<'_>) -> String {
        let misfit = self.line.lack_of_fit().is_ok_and(|test| test.p < LEVEL);
        if misfit {
            return "the errors change with the size, and not along a straight line: read them size by size".to_owned();
        }
        match self.line.slope_p() {
            Ok(p) if p < LEVEL => self.line.sentence(digits),
            Ok(p) => format!(
                "no change of the error with the size is shown (p = {})",
                fixed(p, 2)
            ),
            Err(reason) => {
                format!("a change of the error with the size cannot be tested: {reason}")
            }
        }
    }
}

/// The figures of `study linearity`.
pub const FIGURES: &[Figure<Linearity>] = &[
    row("n", "readings", FigureKind::Count, |of| {
        Ok(of.line.y().summary().n())
    }),
    row("bias", "mean error", FigureKind::Reading, |of| {
        mean(of.line.y().summary())
    }),
    row(
        "bias_low",
        "mean error, lower confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.bias_at(of.line.y())?.0),
    ),
    row(
        "bias_high",
        "mean error, upper confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.bias_at(of.line.y())?.1),
    ),
    row("bias_p", "p of no bias", FigureKind::Probability, |of| {
        Ok(of.bias_at(of.line.y())?.2)
    }),
    row(
        "slope",
        "change of the error with the size",
        FigureKind::Slope,
        |of| Ok(of.line.slope()),
    ),
    row(
        "slope_low",
        "change, lower confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.line.slope_bounds()?.0),
    ),
    row(
        "slope_high",
        "change, upper confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.line.slope_bounds()?.1),
    ),
    row("slope_p", "p of no change", FigureKind::Probability, |of| {
        of.line.slope_p()
    }),
    row(
        "residual_sd",
        "standard deviation about the fitted line",
        FigureKind::Reading,
        |of| Ok(of.line.residual_sd()),
    ),
    row(
        "lack_of_fit_p",
        "p of the lack of fit",
        FigureKind::Probability,
        |of| Ok(of.line.lack_of_fit()?.p),
    ),
];
