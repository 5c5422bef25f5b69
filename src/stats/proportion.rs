//! Confidence bounds of a proportion of pieces. They hold for any distribution of readings.

use super::distribution::FisherF;
use super::sample::float;
use super::{Limits, Summary, Undefined};

/// Upper confidence bound of a proportion, if `count` of `n` pieces have the property (Clopper and Pearson, one-sided).
///
/// ```text
/// the share p with P( X ≤ count | n, p ) = 1 - confidence
/// p = (k+1) F / (n - k + (k+1) F),   F = F(confidence; 2(k+1), 2(n-k))
/// ```
///
/// Exact for pieces taken at random. Source: NIST/SEMATECH e-Handbook 7.2.4.1, from memory; checked against an
/// independent computation.
///
/// # Errors
///
/// [`Undefined::TooFew`] without pieces, [`Undefined::OutOfRange`] unless `confidence` is between 0 and 1.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::proportion;
/// let most = proportion::upper_bound(0, 59, 0.95)?;
/// assert!((most - (1.0 - 0.05_f64.powf(1.0 / 59.0))).abs() < 1e-9); // none of 59: at most 5 %
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn upper_bound(count: u64, n: u64, confidence: f64) -> Result<f64, Undefined> {
    Undefined::unless(n, 1)?;
    if count >= n {
        return Ok(1.0);
    }
    let (k, rest) = (float(count.into()), float((n - count).into()));
    let f = FisherF::new(2.0 * (k + 1.0), 2.0 * rest)?.quantile(confidence)?;
    Ok((k + 1.0) * f / (rest + (k + 1.0) * f))
}

/// Number of readings outside the limits.
///
/// # Errors
///
/// [`Undefined::NoLimits`] without limits, [`Undefined::Mixed`] for limits of another dimension.
pub fn outside(all: &Summary, limits: &Limits) -> Result<u64, Undefined> {
    let ends = [limits.lower, limits.upper];
    if ends.iter().all(Option::is_none) {
        return Err(Undefined::NoLimits);
    }
    for end in ends.into_iter().flatten() {
        all.quantity_in_unit(end)?;
    }
    let scale = all.scale();
    let is_out = |base: i64| {
        limits.lower.is_some_and(|lower| base < scale.limit(lower))
            || limits.upper.is_some_and(|upper| base > scale.limit(upper))
    };
    let counts = all.grid().counts().iter();
    Ok(counts
        .filter(|(base, _)| is_out(*base))
        .map(|(_, times)| times)
        .sum())
}
