//! The noncentral t distribution, which a shifted mean divided by its estimated error follows.
//!
//! ```text
//! P(T ≤ t) = ∫₀^∞ f(s) Φ(t s - δ) ds,   s = √(χ²/ν)
//! ```
//!
//! Computed by the trapezoidal rule over `u = ln s`. The integrand is smooth and falls at least exponentially on both
//! sides, so the rule converges faster than any power of its step. Definition from memory; checked against exact bounds
//! and tolerance factors in the reference tables.

use super::{above, below, degrees, increasing_root, probability};
use crate::stats::Undefined;
use statrs::function::gamma::ln_gamma;

/// Logarithm of the density, relative to its peak, below which nothing is added.
const LEAST_LOG: f64 = -46.0;
/// Number of steps in the narrowest feature of the integrand.
const STEPS: f64 = 3.0;

/// The distribution, with the points and weights of its sum.
#[derive(Debug, Clone, PartialEq)]
pub struct NoncentralT {
    shift: f64,
    /// `s` and its weight.
    places: Vec<(f64, f64)>,
}

impl NoncentralT {
    /// The distribution with these degrees of freedom and the noncentrality `shift`.
    pub fn new(freedom: f64, shift: f64) -> Result<Self, Undefined> {
        let freedom = degrees(freedom)?;
        if !shift.is_finite() {
            return Err(Undefined::OutOfRange {
                what: "a noncentrality",
            });
        }
        let half = freedom / 2.0;
        let peak = std::f64::consts::LN_2 + half * half.ln() - ln_gamma(half) - half;
        // Logarithm of the density over u, relative to its peak at u = 0.
        let log = |u: f64| freedom * u - half * ((2.0 * u).exp() - 1.0);
        let narrowest = (2.0 * freedom).sqrt().max(shift.abs() + 6.0);
        let step = 1.0 / (STEPS * narrowest);
        let mut places = Vec::new();
        for direction in [-1.0, 1.0] {
            let mut at = if direction < 0.0 { 0.0 } else { step };
            while log(direction * at) > LEAST_LOG {
                let u = direction * at;
                places.push((u.exp(), (log(u) + peak).exp() * step));
                at += step;
            }
        }
        Ok(Self { shift, places })
    }

    /// `P(T ≤ t)`.
    pub fn below(&self, t: f64) -> f64 {
        self.sum(|s| below(t * s - self.shift))
    }

    /// `P(T > t)`.
    pub fn above(&self, t: f64) -> f64 {
        self.sum(|s| above(t * s - self.shift))
    }

    fn sum(&self, of: impl Fn(f64) -> f64) -> f64 {
        let terms = self.places.iter().map(|(s, weight)| weight * of(*s));
        terms.sum::<f64>().clamp(0.0, 1.0)
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
