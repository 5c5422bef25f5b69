//! Confidence bounds of a proportion of pieces. They hold for any distribution of readings.

use super::distribution::FisherF;
use super::sample::float;
use super::text::fixed;
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

/// A share with its two-sided confidence interval, all between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// `count / n`.
    pub share: f64,
    /// The lower end of the interval.
    pub low: f64,
    /// The upper end of the interval.
    pub high: f64,
}

impl Share {
    /// Of `count` among `n` pieces; the interval is that of [`interval`].
    ///
    /// # Errors
    ///
    /// Those of [`interval`].
    pub fn of(count: u64, n: u64, confidence: f64) -> Result<Self, Undefined> {
        let (low, high) = interval(count, n, confidence)?;
        Ok(Self {
            share: float(count.into()) / float(n.into()),
            low,
            high,
        })
    }

    /// Share and ends in percent: `60.0 %`.
    pub fn percent(self) -> [String; 3] {
        [self.share, self.low, self.high].map(|share| format!("{} %", fixed(share * 100.0, 1)))
    }
}

/// Two-sided confidence interval of a proportion, if `count` of `n` pieces have the property (Clopper and Pearson).
///
/// ```text
/// low:  the share p with P( X ≥ count | n, p ) = (1 - confidence) / 2; 0 if count is 0
/// high: the share p with P( X ≤ count | n, p ) = (1 - confidence) / 2; 1 if count is n
/// ```
///
/// It holds the true share in at least `confidence` of all samples of pieces taken at random from one process.
/// Source: NIST/SEMATECH e-Handbook 7.2.4.2, "Confidence intervals for small sample sizes" (7.2.4.1 in later editions).
///
/// # Errors
///
/// [`Undefined::TooFew`] without pieces, [`Undefined::OutOfRange`] unless `confidence` is between 0 and 1 or `count` is
/// above `n`.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::proportion;
/// let (low, high) = proportion::interval(4, 20, 0.90)?; // the handbook's example: 4 of 20 are defective
/// assert!((low - 0.071_354).abs() < 2e-6 && (high - 0.401_029).abs() < 2e-6);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn interval(count: u64, n: u64, confidence: f64) -> Result<(f64, f64), Undefined> {
    let rest = n
        .checked_sub(count)
        .ok_or(Undefined::OutOfRange { what: "count" })?;
    let one_sided = 0.5 + confidence / 2.0;
    // The lower bound of a share is the rest of the upper bound of the others.
    let low = 1.0 - upper_bound(rest, n, one_sided)?;
    Ok((low, upper_bound(count, n, one_sided)?))
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
