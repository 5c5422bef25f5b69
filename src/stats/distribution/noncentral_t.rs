//! The noncentral t distribution, which a shifted mean divided by its estimated error follows.
//!
//! ```text
//! P(T ≤ t) = ∫₀^∞ f(s) Φ(t s - δ) ds,   s = √(χ²/ν)
//! ```
//!
//! Computed as a mean over [`Spread`]. Definition from memory; checked against exact bounds
//! and tolerance factors in the reference tables.

use super::{Spread, above, below, increasing_root, probability};
use crate::stats::Undefined;

/// The distribution, with the points and weights of its sum.
#[derive(Debug, Clone, PartialEq)]
pub struct NoncentralT {
    shift: f64,
    spread: Spread,
}

impl NoncentralT {
    /// The distribution with these degrees of freedom and the noncentrality `shift`.
    pub fn new(freedom: f64, shift: f64) -> Result<Self, Undefined> {
        if !shift.is_finite() {
            return Err(Undefined::OutOfRange {
                what: "a noncentrality",
            });
        }
        let spread = Spread::new(freedom, shift.abs() + 6.0)?;
        Ok(Self { shift, spread })
    }

    /// `P(T ≤ t)`.
    pub fn below(&self, t: f64) -> f64 {
        self.spread.mean(|s| below(t * s - self.shift))
    }

    /// `P(T > t)`.
    pub fn above(&self, t: f64) -> f64 {
        self.spread.mean(|s| above(t * s - self.shift))
    }

    /// The `t` with `P(T ≤ t) = p`. [`Undefined::OutOfRange`] unless `0 < p < 1`.
    pub fn quantile(&self, p: f64) -> Result<f64, Undefined> {
        let p = probability(p)?;
        let distance = |t: f64| {
            if p < 0.5 {
                self.below(t) - p
            } else {
                (1.0 - p) - self.above(t)
            }
        };
        let reach = |direction: f64| {
            let mut reach = self.shift.abs() + 8.0;
            while direction * distance(direction * reach) < 0.0 && reach < f64::MAX / 4.0 {
                reach *= 2.0;
            }
            direction * reach
        };
        Ok(increasing_root(distance, reach(-1.0), reach(1.0)))
    }
}
