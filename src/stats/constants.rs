//! The constants of control charts, computed from their definitions instead of read from a table.
//!
//! Checked against a table for n = 2 to 25, to seven decimals.

use super::Undefined;
use super::distribution::{below, density, increasing_root};
use super::sample::float_of;
use statrs::function::gamma::ln_gamma;
use std::sync::OnceLock;

/// Largest subgroup that a chart of means accepts.
pub const MOST_IN_SUBGROUP: usize = 100;
/// Beyond this many standard deviations the normal distribution is negligible.
const REACH: f64 = 12.0;
/// Step of the trapezoidal rule. On smooth functions that vanish at both ends it converges faster than any power of the
/// step.
const STEP: f64 = 0.1;

/// Constants by subgroup size. Each is computed once, because simulated charts need them many thousand times.
static KNOWN: [OnceLock<Constants>; MOST_IN_SUBGROUP + 1] =
    [const { OnceLock::new() }; MOST_IN_SUBGROUP + 1];

/// The constants for one size of subgroup.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    size: f64,
    /// Mean of the range of `n` standard normal values: `∫ 1 - Φ(x)ⁿ - (1 - Φ(x))ⁿ dx`.
    pub d2: f64,
    /// Standard deviation of that range: `√(2 ∫ r P(R > r) dr - d2²)` with
    /// `P(R ≤ r) = n ∫ φ(x) (Φ(x + r) - Φ(x))ⁿ⁻¹ dx`.
    pub d3: f64,
    /// Mean of the standard deviation of `n` standard normal values.
    pub c4: f64,
}

impl Constants {
    /// Constants for subgroups of `size` readings. [`Undefined::OutOfRange`] unless `size` is 2 to 100.
    pub fn new(size: usize) -> Result<Self, Undefined> {
        if !(2..=MOST_IN_SUBGROUP).contains(&size) {
            return Err(Undefined::OutOfRange {
                what: "the size of a subgroup",
            });
        }
        match KNOWN.get(size) {
            Some(known) => Ok(*known.get_or_init(|| Self::computed(size))),
            None => Ok(Self::computed(size)),
        }
    }

    fn computed(size: usize) -> Self {
        let n = float_of(size);
        let d2 = mean_range(n);
        Self {
            size: n,
            d2,
            d3: (mean_squared_range(n) - d2 * d2).max(0.0).sqrt(),
            c4: c4(n),
        }
    }

    /// Distance of the control limits of means from their centre, in mean ranges: `3 / (d2 √n)`.
    pub fn a2(&self) -> f64 {
        3.0 / (self.d2 * self.size.sqrt())
    }

    /// Distance of the control limits of means from their centre, in mean standard deviations: `3 / (c4 √n)`.
    pub fn a3(&self) -> f64 {
        3.0 / (self.c4 * self.size.sqrt())
    }

    /// Lower and upper control limit of a standard deviation, as multiples of the mean one: `1 ∓ 3 √(1 - c4²) / c4`,
    /// not below 0.
    pub fn b3_b4(&self) -> (f64, f64) {
        around_one((1.0 - self.c4 * self.c4).sqrt() / self.c4)
    }

    /// Lower and upper control limit of a range, as multiples of the mean range: `1 ∓ 3 d3 / d2`, not below 0.
    pub fn d3_d4(&self) -> (f64, f64) {
        around_one(self.d3 / self.d2)
    }

    /// Distance of the control limits of single readings from their centre, in mean ranges: `3 / d2`.
    pub fn e2(&self) -> f64 {
        3.0 / self.d2
    }
}

fn around_one(relative: f64) -> (f64, f64) {
    ((1.0 - 3.0 * relative).max(0.0), 1.0 + 3.0 * relative)
}

/// The expected standard deviation of `n` standard normal values: `√(2 / (n - 1)) Γ(n/2) / Γ((n-1)/2)`.
pub fn c4(n: f64) -> f64 {
    (2.0 / (n - 1.0)).sqrt() * (ln_gamma(n / 2.0) - ln_gamma((n - 1.0) / 2.0)).exp()
}

/// The trapezoidal sum of `f` from `from` to `to`, where `f` vanishes at both ends.
fn trapezoid(f: impl Fn(f64) -> f64, from: f64, to: f64, step: f64) -> f64 {
    let mut sum = 0.0;
    let mut x = from;
    while x <= to {
        sum += f(x);
        x += step;
    }
    sum * step
}

fn mean_range(n: f64) -> f64 {
    let share = |x: f64| 1.0 - below(x).powf(n) - below(-x).powf(n);
    trapezoid(share, -REACH, REACH, STEP)
}

/// The expected squared range, `E R² = 2 ∫ r P(R > r) dr`, integrated over `u = ln r`.
fn mean_squared_range(n: f64) -> f64 {
    // Φ on the inner grid, computed once for all r.
    let mut inner = Vec::new();
    let mut x = -REACH;
    while x <= REACH {
        inner.push((x, density(x), below(x)));
        x += STEP;
    }
    let above = |r: f64| {
        let within = inner
            .iter()
            .map(|(x, density, under)| density * (below(x + r) - under).max(0.0).powf(n - 1.0));
        1.0 - n * within.sum::<f64>() * STEP
    };
    let over_log = |u: f64| {
        let r = u.exp();
        r * r * above(r)
    };
    2.0 * trapezoid(over_log, -18.0, REACH.ln(), STEP)
}

/// `d2*` for the mean of `groups` ranges of `size` values each, and the degrees of freedom of the standard deviation
/// that is estimated with it.
///
/// ```text
/// d2* = √(d2² + d3² / g);  ν solves c4(ν + 1) = d2 / d2*
/// ```
///
/// Source: Duncan, Patnaik (definition from memory; seven printed values from memory agree to 1e-5).
pub fn d2_star(size: usize, groups: usize) -> Result<(f64, f64), Undefined> {
    if groups == 0 {
        return Err(Undefined::TooFewGroups { got: 0, want: 1 });
    }
    let of = Constants::new(size)?;
    let star = (of.d2 * of.d2 + of.d3 * of.d3 / float_of(groups)).sqrt();
    let ratio = of.d2 / star;
    let freedom = increasing_root(|nu| c4(nu + 1.0) - ratio, 0.01, 1e6);
    Ok((star, freedom))
}
