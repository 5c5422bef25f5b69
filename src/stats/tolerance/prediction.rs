//! Prediction intervals: limits that contain all of the next pieces with a given confidence.

use super::Side;
use super::free::{self, Between};
use crate::stats::distribution::{
    Spread, StudentT, above, below, density, first, increasing_root, quantile,
};
use crate::stats::sample::counted;
use crate::stats::{Summary, Undefined};

/// Step of the sum over the mean's error, in its standard deviations.
const STEP: f64 = 0.4;
/// How many times the probability may change over a change of the logarithm of the standard deviation by 1.
const SLOPE: f64 = 20.0;
/// Range of that sum to each side.
const REACH: f64 = 8.5;
/// What rounding leaves of a product that is exactly the required confidence.
const DUST: f64 = 1e-12;
/// More pieces would take too long.
const MOST_NEXT: u64 = 100_000;

/// The factor of an interval `mean ± k sd` (or one end of it) that contains all of the next `next` normal pieces.
///
/// ```text
/// ∫∫ f(s) φ(z) [ Φ(z/√n + k s) - Φ(z/√n - k s) ]^m dz ds = confidence,   s = √(χ²(n-1)/(n-1));  m = next
/// one-sided: [ Φ(z/√n + k s) ]^m;   m = 1: k = t √(1 + 1/n)
/// ```
///
/// Exact; the sum over z is that of the trapezoidal rule. Source: Hahn 1969 and 1970 and ISO 16269-8, from memory, the
/// standard not opened; checked against Student's t for one piece and an independent computation for several.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 readings, [`Undefined::OutOfRange`] unless `confidence` is between 0 and 1 and there is
/// a next piece, [`Undefined::TooMany`] above a hundred thousand of them.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::tolerance::{Side, prediction};
/// let one = prediction::factor(Side::Both, 10, 1, 0.95)?;
/// assert!((one - 2.262_157 * (1.1_f64).sqrt()).abs() < 1e-6); // t(0.975; 9) √(1 + 1/10)
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn factor(side: Side, n: u64, next: u64, confidence: f64) -> Result<f64, Undefined> {
    Undefined::unless(n, 2)?;
    quantile(confidence)?;
    if next == 0 {
        return Err(Undefined::OutOfRange {
            what: "the number of next pieces",
        });
    }
    if next > MOST_NEXT {
        return Err(Undefined::TooMany {
            got: next,
            most: MOST_NEXT,
        });
    }
    let single = |tail: f64| {
        let t = StudentT::new(counted(n) - 1.0)?.quantile(1.0 - tail)?;
        Ok::<_, Undefined>(t * (1.0 + 1.0 / counted(n)).sqrt())
    };
    let tail = (1.0 - confidence) / counted(side.ends());
    let (least, most) = (single(tail)?, single(tail / counted(next))?);
    if next == 1 {
        return Ok(least);
    }
    let spread = Spread::new(counted(n) - 1.0, SLOPE)?;
    let short = |k: f64| spread.mean(|s| all_within(side, n, next, k * s)) - confidence;
    // The factor for one piece is too small; that for each of them alone, with its share of the risk, is enough.
    Ok(increasing_root(short, least * 0.999, most * 1.001))
}

/// `∫ φ(z) P(one piece within `reach` of the mean)^next dz`.
fn all_within(side: Side, n: u64, next: u64, reach: f64) -> f64 {
    let root = counted(n).sqrt();
    let mut sum = 0.0;
    let mut z = -REACH;
    while z <= REACH {
        let off = z / root;
        let one = match side {
            Side::Both => below(off + reach) - below(off - reach),
            Side::Lower | Side::Upper => 1.0 - above(off + reach),
        };
        sum += density(z) * STEP * one.max(0.0).powf(counted(next));
        z += STEP;
    }
    sum
}

/// The confidence that an interval between readings contains all of the next pieces, whatever their distribution.
///
/// ```text
/// ∏ᵢ (n - i)/(n + m - i),   i = 0 … below + above - 1;  m = next
/// ```
///
/// Exact for a continuous distribution, more for rounded readings. The mean of contentᵐ over the beta distribution that
/// the content follows. Source: David and Nagaraja, Order Statistics, from memory; for the extremes n(n-1)/((n+m)(n+m-1)).
pub fn confidence(n: u64, cut: u64, next: u64) -> f64 {
    let terms = (0..cut).map(|at| counted(n.saturating_sub(at)) / counted(n + next - at.min(n)));
    terms.product()
}

/// The smallest number of readings between whose extremes all of the next `next` pieces lie with `required` confidence.
///
/// # Errors
///
/// As [`free::pieces`].
pub fn pieces(side: Side, next: u64, required: f64) -> Result<u64, Undefined> {
    quantile(required)?;
    first(side.ends(), free::MOST_PIECES, |n| {
        Ok(confidence(n, side.ends(), next) >= required - DUST)
    })
}

/// The narrowest interval between readings that contains all of the next `next` pieces with `required` confidence.
///
/// # Errors
///
/// [`Undefined::TooFew`] with the number that is enough; otherwise as [`free::pieces`].
pub fn interval(all: &Summary, side: Side, next: u64, required: f64) -> Result<Between, Undefined> {
    let n = all.count();
    Undefined::unless(n, pieces(side, next, required)?)?;
    let falls_short = |cut: u64| Ok(cut > n || confidence(n, cut, next) < required - DUST);
    let cut = first(side.ends(), n + 1, falls_short)? - 1;
    free::between(all, side, cut, confidence(n, cut, next))
}
