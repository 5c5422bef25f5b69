//! The normal distribution.

use super::probability;
use crate::stats::Undefined;
use std::f64::consts::{FRAC_1_SQRT_2, PI};

/// A normal distribution with a mean and a standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    /// Location parameter μ.
    pub mean: f64,
    /// The standard deviation.
    pub sd: f64,
}

impl Normal {
    /// `P(X ≤ x)`.
    pub fn below(self, x: f64) -> f64 {
        below((x - self.mean) / self.sd)
    }

    /// `P(X > x)`.
    pub fn above(self, x: f64) -> f64 {
        above((x - self.mean) / self.sd)
    }
}

/// `P(Z ≤ z)` of the standard normal distribution: `erfc(-z/√2) / 2`, precise to the last digits in both tails.
pub fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// `P(Z > z)`.
pub fn above(z: f64) -> f64 {
    below(-z)
}

/// The density of the standard normal distribution.
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// The `z` with `P(Z ≤ z) = p`.
///
/// A first value from `statrs` with ten digits, then two steps of Newton's method in the smaller tail.
///
/// # Errors
///
/// [`Undefined::OutOfRange`] unless `0 < p < 1`.
pub fn quantile(p: f64) -> Result<f64, Undefined> {
    let p = probability(p)?;
    let small = p.min(1.0 - p);
    let mut z = -std::f64::consts::SQRT_2 * statrs::function::erf::erfc_inv(2.0 * small);
    for _ in 0..2 {
        let slope = density(z);
        if slope > 0.0 {
            z -= (below(z) - small) / slope;
        }
    }
    Ok(if p < 0.5 { z } else { -z })
}
