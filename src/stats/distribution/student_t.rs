//! Student's t distribution, which a mean divided by its estimated error follows.

use super::search::positive_root;
use super::{degrees, probability, tail};
use crate::stats::Undefined;
use statrs::function::beta::beta_reg;

/// Above this number of degrees of freedom the incomplete beta function has fewer digits than an expansion about the
/// normal distribution.
const MANY: f64 = 1e6;

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
        let t = if self.degrees > MANY {
            self.of_many(super::normal::quantile(1.0 - small)?)
        } else {
            positive_root(|t| small - self.tail(t), 1.0)
        };
        Ok(if p < 0.5 { -t } else { t })
    }

    /// The `t` beside a quantile `z` of the standard normal distribution, where the degrees of freedom are many:
    ///
    /// ```text
    /// t = z + (z³ + z) / 4ν + (5z⁵ + 16z³ + 3z) / 96ν²
    /// ```
    ///
    /// Source: Abramowitz and Stegun, 26.7.5, from memory.
    fn of_many(self, z: f64) -> f64 {
        let square = z * z;
        let first = z * (square + 1.0) / 4.0;
        let second = z * ((5.0 * square + 16.0) * square + 3.0) / 96.0;
        z + (first + second / self.degrees) / self.degrees
    }
}

/// The regularised incomplete beta function, also at its ends.
pub(in crate::stats) fn beta(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else {
        beta_reg(a, b, x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles by scipy 1.17.1, `stats.t.ppf(0.975, ν)`.
    #[test]
    fn quantiles_of_many_degrees_of_freedom_are_those_beside_the_normal_ones() {
        for (degrees, want) in [
            (9.0e5, 1.959_966_620_400_461),
            (1.1e6, 1.959_966_141_152_596_2),
            (5.0e7, 1.959_964_031_985_479_9),
            (1.0e12, 1.959_963_984_542_426_2),
        ] {
            let got = StudentT::new(degrees).unwrap().quantile(0.975).unwrap();
            assert!(
                (got / want - 1.0).abs() < 1e-9,
                "{degrees}: {got}, want {want}"
            );
        }
    }
}
