//! The ratio of an estimated standard deviation to the true one, `s = √(χ²/ν)`, as points and weights of a sum.
//!
//! Means over it are computed by the trapezoidal rule over `u = ln s`. The integrand is smooth and falls at least
//! exponentially on both sides, so the rule converges faster than any power of its step.

use super::degrees;
use crate::stats::Undefined;
use statrs::function::gamma::ln_gamma;

/// Logarithm of the density, relative to its peak, below which nothing is added.
const LEAST_LOG: f64 = -46.0;
/// Number of steps in the narrowest feature of the integrand.
const STEPS: f64 = 3.0;

/// The distribution of the ratio.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Spread {
    /// `s` and its weight.
    places: Vec<(f64, f64)>,
}

impl Spread {
    /// With these degrees of freedom; `slope` is how many times the integrand may change over a change of `ln s` by 1.
    pub(crate) fn new(freedom: f64, slope: f64) -> Result<Self, Undefined> {
        let freedom = degrees(freedom)?;
        let half = freedom / 2.0;
        let peak = std::f64::consts::LN_2 + half * half.ln() - ln_gamma(half) - half;
        // Logarithm of the density over u, relative to its peak at u = 0.
        let log = |u: f64| freedom * u - half * ((2.0 * u).exp() - 1.0);
        let narrowest = (2.0 * freedom).sqrt().max(slope);
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
        Ok(Self { places })
    }

    /// The mean of a probability that depends on the ratio.
    pub(crate) fn mean(&self, of: impl Fn(f64) -> f64) -> f64 {
        let terms = self.places.iter().map(|(s, weight)| weight * of(*s));
        terms.sum::<f64>().clamp(0.0, 1.0)
    }
}
