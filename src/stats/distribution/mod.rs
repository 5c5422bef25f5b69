//! Distributions: probabilities and quantiles to at least ten digits.
//!
//! In: a value or a probability, and degrees of freedom (not necessarily whole). Out: the other one.
//!
//! - `below(x)` is `P(X ≤ x)`, `above(x)` is `P(X > x)`. Each is computed directly, so that a small probability keeps
//!   its digits. A tail that p-values come from is never 0: if it is smaller than a float can hold it becomes the
//!   smallest one, 2e-308.
//! - A quantile is found by narrowing an interval until neighbouring floats are left, so the search cannot diverge.

mod chi_squared;
mod counts;
mod f;
mod noncentral_t;
mod normal;
mod search;
mod spread;
mod student_t;

pub use chi_squared::ChiSquared;
pub use counts::{Binomial, Hypergeometric};
pub use f::FisherF;
pub use noncentral_t::NoncentralT;
pub use normal::{Normal, above, below, density, quantile};
pub use student_t::StudentT;

pub(super) use search::{first, increasing_root};
pub(super) use spread::Spread;
pub(super) use student_t::beta;

use super::Undefined;

/// `p` if it is strictly between 0 and 1.
fn probability(p: f64) -> Result<f64, Undefined> {
    let inside = p > 0.0 && p < 1.0;
    inside.then_some(p).ok_or(Undefined::OutOfRange {
        what: "a probability",
    })
}

/// A tail probability, replaced by the smallest float if it is 0.
pub(super) fn tail(p: f64) -> f64 {
    p.max(f64::MIN_POSITIVE)
}

/// `degrees` if they are positive and finite.
fn degrees(degrees: f64) -> Result<f64, Undefined> {
    let inside = degrees > 0.0 && degrees.is_finite();
    inside.then_some(degrees).ok_or(Undefined::OutOfRange {
        what: "degrees of freedom",
    })
}
