//! Student's t distribution, which a mean divided by its estimated error follows.

use super::search::positive_root;
use super::{degrees, probability, tail};
use crate::stats::Undefined;
use statrs::function::beta::beta_reg;

/// The distribution, given by its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StudentT {
    degrees: f64,
}

impl StudentT {
    /// The degrees of freedom must be positive, and need not be whole.
    pub fn new(freedom: f64) -> Result<Self, Undefined> {
        Ok(Self {
            degrees: degrees(freedom)?,
        })
    }

    /// `P(T > t)` for `t ≥ 0`: half the regularised incomplete beta function at `df / (df + t²)`. If that is close to
    /// 1, one minus its complement is used.
    fn tail(self, t: f64) -> f64 {
        let square = t * t;
        if square < self.degrees {
            let rest = square / (self.degrees + square);
            return 0.5 - 0.5 * beta(0.5, self.degrees / 2.0, rest);
        }
        let share = 1.0 / (1.0 + square / self.degrees);
        tail(0.5 * beta(self.degrees / 2.0, 0.5, share))
    }

    /// `P(T ≤ t)`.
    pub fn below(self, t: f64) -> f64 {
        self.above(-t)
    }

    /// `P(T > t)`.
    pub fn above(self, t: f64) -> f64 {
        if t >= 0.0 {
            self.tail(t)
        } else {
            1.0 - self.tail(-t)
        }
    }

    /// The probability of a value at least as far from 0, on either side.
    pub fn two_sided(self, t: f64) -> f64 {
        (2.0 * self.tail(t.abs())).min(1.0)
    }

    /// The `t` with `P(T ≤ t) = p`. [`Undefined::OutOfRange`] unless `0 < p < 1`.
    pub fn quantile(self, p: f64) -> Result<f64, Undefined> {
        let p = probability(p)?;
        let small = p.min(1.0 - p);
        if small >= 0.5 {
            return Ok(0.0);
        }
        let t = positive_root(|t| small - self.tail(t), 1.0);
        Ok(if p < 0.5 { -t } else { t })
    }
}

/// The regularised incomplete beta function, also at its ends.
pub(super) fn beta(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else {
        beta_reg(a, b, x)
    }
}
