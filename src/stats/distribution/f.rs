//! Fisher's F distribution, which a ratio of two variances follows.

use super::search::quantile;
use super::student_t::beta;
use super::{degrees, probability, tail};
use crate::stats::Undefined;

/// The distribution, given by the degrees of freedom of numerator and denominator.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FisherF {
    upper: f64,
    lower: f64,
}

impl FisherF {
    /// The degrees of freedom must be positive, and need not be whole.
    pub fn new(numerator: f64, denominator: f64) -> Result<Self, Undefined> {
        Ok(Self {
            upper: degrees(numerator)?,
            lower: degrees(denominator)?,
        })
    }

    /// `P(X ≤ x)`.
    pub fn below(self, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        beta(
            self.upper / 2.0,
            self.lower / 2.0,
            1.0 / (1.0 + self.lower / (self.upper * x)),
        )
    }

    /// `P(X > x)`.
    pub fn above(self, x: f64) -> f64 {
        if x <= 0.0 {
            return 1.0;
        }
        tail(beta(
            self.lower / 2.0,
            self.upper / 2.0,
            1.0 / (1.0 + self.upper * x / self.lower),
        ))
    }

    /// The `x` with `P(X ≤ x) = p`. [`Undefined::OutOfRange`] unless `0 < p < 1`.
    pub fn quantile(self, p: f64) -> Result<f64, Undefined> {
        let p = probability(p)?;
        Ok(quantile(p, |x| self.below(x), |x| self.above(x), 1.0))
    }
}
