//! Tolerance intervals: limits that contain a share of all pieces with a given confidence.
//!
//! - Here: of normal pieces. [`free`]: of pieces of any distribution, between readings. [`prediction`]: intervals that
//!   contain the next pieces. [`study`]: which of them a set of readings allows.

pub mod free;
pub mod prediction;
pub mod study;

use super::describe::{mean, positive_sd};
use super::distribution::{
    ChiSquared, NoncentralT, above, below, density, increasing_root, quantile,
};
use super::sample::float;
use super::{CONFIDENCE, Limits, Summary, Undefined};
use crate::quantity::named;

/// The default share of all pieces in an interval.
pub const COVERAGE: f64 = 0.99;

/// Factor of a two-sided interval: `mean ± k sd` contains the share `coverage` of a normal distribution with
/// `confidence`.
///
/// ```text
/// ∫ φ(z) P(χ²(n-1) > (n-1) r(z/√n)² / k²) dz = confidence,   Φ(a + r) - Φ(a - r) = coverage
/// ```
///
/// Exact, by the trapezoidal rule. Source: definition of ISO 16269-6 (not opened); checked against a
/// table to 1e-5 and NIST/SEMATECH e-Handbook 7.2.6.3.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 readings, [`Undefined::OutOfRange`] unless both are between 0 and 1.
pub fn two_sided_factor(n: u64, coverage: f64, confidence: f64) -> Result<f64, Undefined> {
    const STEP: f64 = 0.2;
    Undefined::unless(n, 2)?;
    let n = float(n.into());
    let spread = ChiSquared::new(n - 1.0)?;
    let inner = quantile(0.5 + coverage / 2.0)?;
    quantile(confidence)?;
    let mut places = Vec::new();
    let mut z = 0.0;
    while z < 9.0 {
        let off = z / n.sqrt();
        let short = |r: f64| (1.0 - coverage) - (above(off + r) + below(off - r));
        let reach = increasing_root(short, inner.min(off), off + inner + 1.0);
        let weight = if z > 0.0 { 2.0 } else { 1.0 };
        places.push((reach, weight * STEP * density(z)));
        z += STEP;
    }
    let short = |log_k: f64| {
        let k = log_k.exp();
        let terms = places
            .iter()
            .map(|(reach, weight)| weight * spread.above((n - 1.0) * reach * reach / (k * k)));
        terms.sum::<f64>() - confidence
    };
    Ok(increasing_root(short, 1e-3_f64.ln(), 1e5_f64.ln()).exp())
}

/// Howe's approximation of the two-sided factor, for comparison with older books and programs.
///
/// ```text
/// k = z((1+coverage)/2) √( (n-1)(1 + 1/n) / χ²(1-confidence; n-1) )
/// ```
///
/// Source: NIST/SEMATECH e-Handbook 7.2.6.3. It is not used in any output.
pub fn howe_factor(n: u64, coverage: f64, confidence: f64) -> Result<f64, Undefined> {
    Undefined::unless(n, 2)?;
    let n = float(n.into());
    let chi = ChiSquared::new(n - 1.0)?.quantile(1.0 - confidence)?;
    Ok(quantile(0.5 + coverage / 2.0)? * ((n - 1.0) * (1.0 + 1.0 / n) / chi).sqrt())
}

/// Factor of a one-sided bound: the share `coverage` lies above `mean - k sd` with `confidence`.
///
/// ```text
/// k = t(confidence; n-1, δ) / √n,   δ = z(coverage) √n      (noncentral t, exact)
/// ```
///
/// Source and errors as [`two_sided_factor`].
pub fn one_sided_factor(n: u64, coverage: f64, confidence: f64) -> Result<f64, Undefined> {
    Undefined::unless(n, 2)?;
    let n = float(n.into());
    let t = NoncentralT::new(n - 1.0, quantile(coverage)? * n.sqrt())?;
    Ok(t.quantile(confidence)? / n.sqrt())
}

/// A tolerance interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Factor of the standard deviation.
    pub factor: f64,
    /// The lower end; `None` if there is only an upper limit.
    pub low: Option<f64>,
    /// The upper end; `None` if there is only a lower limit.
    pub high: Option<f64>,
}

named! {
    /// The ends of an interval.
    pub enum Side {
        /// A lower and an upper end.
        Both = "both",
        /// A lower end alone.
        Lower = "lower",
        /// An upper end alone.
        Upper = "upper",
    }
}

impl Side {
    /// The ends that limits have; both if there are none.
    pub fn of(limits: &Limits) -> Self {
        match (limits.lower, limits.upper) {
            (Some(_), None) => Self::Lower,
            (None, Some(_)) => Self::Upper,
            (Some(_), Some(_)) | (None, None) => Self::Both,
        }
    }

    /// Number of ends.
    pub(super) fn ends(self) -> u64 {
        match self {
            Self::Both => 2,
            Self::Lower | Self::Upper => 1,
        }
    }

    /// The ends at `reach` from `middle`.
    fn around(self, middle: f64, reach: f64) -> (Option<f64>, Option<f64>) {
        let (low, high) = (Some(middle - reach), Some(middle + reach));
        match self {
            Self::Both => (low, high),
            Self::Lower => (low, None),
            Self::Upper => (None, high),
        }
    }
}

/// The factor for an interval with these ends: [`two_sided_factor`] or [`one_sided_factor`].
pub fn factor(side: Side, n: u64, coverage: f64, confidence: f64) -> Result<f64, Undefined> {
    match side {
        Side::Both => two_sided_factor(n, coverage, confidence),
        Side::Lower | Side::Upper => one_sided_factor(n, coverage, confidence),
    }
}

/// The interval that contains 99 % of all pieces with 95 % confidence: two-sided, or one-sided if there is only one
/// limit.
///
/// # Errors
///
/// As [`two_sided_factor`]; [`Undefined::NoSpread`] if all readings are equal.
pub fn interval(all: &Summary, limits: &Limits) -> Result<Interval, Undefined> {
    let (mean, sd) = (mean(all)?, positive_sd(all)?);
    let side = Side::of(limits);
    let factor = factor(side, all.count(), COVERAGE, CONFIDENCE)?;
    let (low, high) = side.around(mean, factor * sd);
    Ok(Interval { factor, low, high })
}
