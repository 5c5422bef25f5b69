//! Readings that are not normal: distributions fitted to them, and capability from quantiles.
//!
//! In: readings above an origin, and the distribution that the engineer chose, or a stated criterion for the choice. Out: its
//! parameters, quantiles and indices, each with bounds, and a test of the fit.
//!
//! - No distribution is chosen silently: a choice from the same readings is named, and nothing is demonstrated by it.
//! - Simulations have a fixed seed.

mod bounds;
mod claim;
mod fit;
pub mod quantiles;
mod study;

pub use bounds::{DRAWS, Draws, pivots};
pub use fit::fit;
pub use study::{Chosen, FIGURES, Fitted};

use super::Undefined;
use super::distribution::{above, below, density, increasing_root, quantile};
use super::random::Random;
use crate::quantity::named;

named! {
    /// A family of distributions of values above 0, with two parameters.
    pub enum Family {
        /// The logarithm is normal: multiplied causes, such as many forces and times.
        Lognormal = "lognormal",
        /// The weakest of many parts, such as breaking forces.
        Weibull = "weibull",
        /// The amount of a normal value, such as an offset or a form error of which the side is not known.
        FoldedNormal = "folded_normal",
    }
}

/// A distribution of a family.
///
/// ```text
/// lognormal       P(X ≤ x) = Φ((ln x - a)/b)
/// Weibull         P(X ≤ x) = 1 - exp(-(x/a)^(1/b))       scale a, shape 1/b
/// folded normal   P(X ≤ x) = Φ((x - a)/b) - Φ((-x - a)/b)
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Member {
    /// The family.
    pub family: Family,
    /// Its first parameter: mean of the logarithms, scale, or mean of the values with their sign.
    pub a: f64,
    /// Its second parameter: standard deviation of the logarithms, reciprocal of the shape, or standard deviation of the
    /// values with their sign. Above 0.
    pub b: f64,
}

/// A probability, and what is made of it once for many quantiles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    p: f64,
    /// The standard normal value with this probability below it.
    z: f64,
    /// `-ln(1 - p)`.
    hazard: f64,
}

impl Level {
    /// [`Undefined::OutOfRange`] unless `0 < p < 1`.
    pub fn new(p: f64) -> Result<Self, Undefined> {
        let z = quantile(p)?;
        let hazard = -f64::ln_1p(-p);
        Ok(Self { p, z, hazard })
    }
}

impl Member {
    /// `P(X ≤ x)`.
    pub fn below(&self, x: f64) -> f64 {
        let Self { family, a, b } = *self;
        if x <= 0.0 {
            return 0.0;
        }
        match family {
            Family::Lognormal => below((x.ln() - a) / b),
            Family::Weibull => -f64::exp_m1(-(x / a).powf(1.0 / b)),
            Family::FoldedNormal => (below((x - a) / b) - below((-x - a) / b)).max(0.0),
        }
    }

    /// `P(X > x)`.
    pub fn above(&self, x: f64) -> f64 {
        let Self { family, a, b } = *self;
        if x <= 0.0 {
            return 1.0;
        }
        match family {
            Family::Lognormal => above((x.ln() - a) / b),
            Family::Weibull => (-(x / a).powf(1.0 / b)).exp(),
            Family::FoldedNormal => above((x - a) / b) + above((x + a) / b),
        }
    }

    /// The `x` with `P(X ≤ x) = p`. [`Undefined::OutOfRange`] unless `0 < p < 1`.
    pub fn quantile(&self, p: f64) -> Result<f64, Undefined> {
        Ok(self.at(Level::new(p)?))
    }

    /// As [`Self::quantile`].
    pub fn at(&self, level: Level) -> f64 {
        let Level { p, z, hazard } = level;
        let Self { family, a, b } = *self;
        match family {
            Family::Lognormal => (a + b * z).exp(),
            Family::Weibull => a * hazard.powf(b),
            Family::FoldedNormal => {
                let excess = |x: f64| {
                    if p < 0.5 {
                        self.below(x) - p
                    } else {
                        (1.0 - p) - self.above(x)
                    }
                };
                increasing_root(excess, 0.0, a.abs() + b * (z.abs() + 2.0))
            }
        }
    }

    /// The logarithm of the density at `x`, which is above 0.
    fn ln_density(&self, x: f64) -> f64 {
        let Self { family, a, b } = *self;
        match family {
            Family::Lognormal => density((x.ln() - a) / b).ln() - (b * x).ln(),
            Family::Weibull => {
                let shape = 1.0 / b;
                shape.ln() - a.ln() + (shape - 1.0) * (x / a).ln() - (x / a).powf(shape)
            }
            Family::FoldedNormal => {
                (density((x - a) / b) + density((x + a) / b))
                    .max(f64::MIN_POSITIVE)
                    .ln()
                    - b.ln()
            }
        }
    }

    /// The logarithm of the likelihood of values.
    pub fn ln_likelihood(&self, values: &[f64]) -> f64 {
        values.iter().map(|x| self.ln_density(*x)).sum()
    }

    /// A random value.
    fn draw(&self, random: &mut Random) -> f64 {
        let Self { family, a, b } = *self;
        match family {
            Family::Lognormal => (a + b * random.next_normal()).exp(),
            Family::Weibull => a * (-random.next_share().ln()).powf(b),
            Family::FoldedNormal => (a + b * random.next_normal()).abs(),
        }
    }

    /// The parameters as people write them, with their names.
    pub fn parameters(&self) -> [(&'static str, f64); 2] {
        let Self { family, a, b } = *self;
        match family {
            Family::Lognormal => [("mean of logarithms", a), ("sd of logarithms", b)],
            Family::Weibull => [("scale", a), ("shape", 1.0 / b)],
            Family::FoldedNormal => [("mean before folding", a), ("sd before folding", b)],
        }
    }

    /// The standard normal value with the same probability below it, for tests of the fit and control charts.
    pub(super) fn score(&self, x: f64) -> f64 {
        const FAR: f64 = 37.0;
        let (low, high) = (self.below(x), self.above(x));
        let z = if low < high {
            quantile(low).unwrap_or(-FAR)
        } else {
            quantile(high).map_or(FAR, |z| -z)
        };
        z.clamp(-FAR, FAR)
    }
}
