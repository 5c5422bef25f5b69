//! Linearity: the error of an instrument over its range, from readings of gauge blocks or masters.
//!
//! In: errors (reading minus size), each with the size of what was measured. Out: the bias at each size with its
//! interval, the bias over all sizes, and whether the error changes with the size.

use super::describe::{mean, mean_bounds, positive_sd};
use super::distribution::StudentT;
use super::figures::row;
use super::regression::Regression;
use super::rounding::mean_may_be_off;
use super::sample::float_of;
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
    /// mean ± (t(0.975; n-1) s/√n + u),   t = (|mean| - u) √n / s, at least 0
    /// ```
    ///
    /// u is what rounding may make of the mean: half a step where readings of one size spread by less than half a step,
    /// because then all of them are rounded the same way ([`mean_may_be_off`]); otherwise 0.
    pub fn bias_at(&self, errors: &Sample) -> Result<(f64, f64, f64), Undefined> {
        Self::bias(errors, self.may_be_off()?, CONFIDENCE)
    }

    fn bias(errors: &Sample, off: f64, confidence: f64) -> Result<(f64, f64, f64), Undefined> {
        let all = errors.summary();
        let (low, high) = mean_bounds(all, confidence)?;
        let beyond = (mean(all)?.abs() - off).max(0.0);
        let t = beyond * all.n().sqrt() / positive_sd(all)?;
        let p = StudentT::new(all.n() - 1.0)?.two_sided(t);
        Ok((low - off, high + off, p))
    }

    /// What rounding may make of a mean error: as much as at the worst size.
    fn may_be_off(&self) -> Result<f64, Undefined> {
        let offs = self.sizes().into_iter().map(|(_, errors)| {
            if errors.count() < 2 {
                return Ok(0.0);
            }
            mean_may_be_off(errors.summary())
        });
        offs.collect::<Result<Vec<f64>, Undefined>>()
            .map(|offs| offs.into_iter().fold(0.0, f64::max))
    }

    /// What rounding may make of the slope, if it moves the mean error of each size by up to `off`.
    ///
    /// ```text
    /// off · Σ |x - x̄| / Σ (x - x̄)²
    /// ```
    fn slope_may_be_off(&self, off: f64) -> Result<f64, Undefined> {
        let x = self.line.x();
        let middle = mean(x.summary())?;
        let (mut sizes, mut squares) = (0.0, 0.0);
        for value in x.values() {
            sizes += (value - middle).abs();
            squares += (value - middle).powi(2);
        }
        Ok(off * sizes / squares)
    }

    /// The sizes at which a bias is shown; they share 5 % (Bonferroni).
    fn biased_sizes(&self) -> Result<Vec<f64>, Undefined> {
        let (sizes, off) = (self.sizes(), self.may_be_off()?);
        let confidence = 1.0 - LEVEL / float_of(sizes.len().max(1));
        let is_shown = |errors: &Sample| {
            let found = Self::bias(errors, off, confidence);
            found.is_ok_and(|(low, high, _)| low > 0.0 || high < 0.0)
        };
        let shown = sizes.iter().filter(|(_, errors)| is_shown(errors));
        Ok(shown.map(|(size, _)| *size).collect())
    }

    /// What the errors show, in words.
    pub fn sentences(&self, digits: Digits<'_>) -> Vec<String> {
        let text = |value: f64| digits.text(FigureKind::Reading, value);
        let bias = match (mean(self.line.y().summary()), self.bias_at(self.line.y())) {
            (Ok(mean), Ok((low, high, p))) => {
                let rounding = match self.may_be_off() {
                    Ok(off) if off > 0.0 => ", rounding allowed for",
                    Ok(_) | Err(_) => "",
                };
                let bounds = format!(
                    "95 % confidence interval{rounding}: {} to {}",
                    text(low),
                    text(high)
                );
                if p < LEVEL {
                    format!(
                        "a bias is shown: mean error {} ({bounds}, p = {})",
                        text(mean),
                        chance(p)
                    )
                } else {
                    let (mean, p) = (text(mean), fixed(p, 2));
                    let sizes = self.biased_sizes().unwrap_or_default();
                    let place = |size: &f64| digits.text(FigureKind::Position, *size);
                    let sizes: Vec<String> = sizes.iter().map(place).collect();
                    if sizes.is_empty() {
                        format!("no bias is shown: mean error {mean} ({bounds}, p = {p})")
                    } else {
                        format!(
                            "a bias is shown at {}, where all sizes together have a mean error of {mean} ({bounds}, p = {p})",
                            sizes.join(", ")
                        )
                    }
                }
            }
            (Err(reason), _) | (_, Err(reason)) => format!("the bias cannot be tested: {reason}"),
        };
        vec![bias, self.change(digits)]
    }

    fn change(&self, digits: Digits<'_>) -> String {
        let off = self.may_be_off().unwrap_or(0.0);
        if off > 0.0 {
            return self.change_beyond(off, digits);
        }
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

    /// The change with the size where the readings of a size are all rounded the same way.
    fn change_beyond(&self, off: f64, digits: Digits<'_>) -> String {
        let bounds = self.line.slope_bounds();
        let shown = bounds.and_then(|(low, high)| {
            let most = self.slope_may_be_off(off)?;
            Ok(low > most || high < -most)
        });
        match shown {
            Ok(true) => self.line.sentence(digits),
            Ok(false) => "the readings of a size spread by less than half of the resolution, and no change of the error with the size is shown beyond what rounding may make".to_owned(),
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
