//! The chi-squared distribution, which a variance follows.

use super::search::quantile;
use super::{degrees, probability, tail};
use crate::stats::Undefined;
use statrs::function::gamma::{gamma_lr, gamma_ur};

/// The distribution, given by its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquared {
    degrees: f64,
}

impl ChiSquared {
    /// The degrees of freedom must be positive, and need not be whole.
    pub fn new(freedom: f64) -> Result<Self, Undefined> {
        Ok(Self {
            degrees: degrees(freedom)?,
        })
    }

    /// `P(X ≤ x)`: the regularised lower incomplete gamma function at `(df/2, x/2)`.
    pub fn below(self, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        gamma_lr(self.degrees / 2.0, x / 2.0)
    }

    /// `P(X > x)`.
    pub fn above(self, x: f64) -> f64 {
        if x <= 0.0 {
            return 1.0;
        }
        tail(gamma_ur(self.degrees / 2.0, x / 2.0))
    }

    /// The `x` with `P(X ≤ x) = p`. [`Undefined::OutOfRange`] unless `0 < p < 1`.
    pub fn quantile(self, p: f64) -> Result<f64, Undefined> {
        let p = probability(p)?;
        Ok(quantile(
            p,
            |x| self.below(x),
            |x| self.above(x),
            self.degrees,
        ))
    }
}
