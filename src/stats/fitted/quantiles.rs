//! Capability from quantiles, for any distribution.
//!
//! ```text
//! pp  = (upper - lower) / (x₉₉.₈₆₅ - x₀.₁₃₅)
//! ppk = min( (upper - x₅₀)/(x₉₉.₈₆₅ - x₅₀),  (x₅₀ - lower)/(x₅₀ - x₀.₁₃₅) );   with one limit, that term only
//! ```
//!
//! For a normal distribution these are the usual Pp and Ppk. Source: ISO 22514-2, the general geometric method, from memory.

use super::{Level, Member};
use crate::stats::distribution::above;
use crate::stats::sample::{float, nearest};
use crate::stats::tolerance::{Side, free};
use crate::stats::{Summary, Undefined};

/// The three quantiles of the indices: Φ(-3), one half and Φ(3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantiles {
    /// With 0.135 % below it.
    pub low: f64,
    /// The median.
    pub mid: f64,
    /// With 0.135 % above it.
    pub high: f64,
}

/// The probability below the lowest of the quantiles, Φ(-3).
pub fn tail() -> f64 {
    above(3.0)
}

/// The levels of the three quantiles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels([Level; 3]);

impl Levels {
    /// Their probabilities are between 0 and 1, so that there is always a value.
    pub fn new() -> Result<Self, Undefined> {
        let [low, mid, high] = [tail(), 0.5, 1.0 - tail()].map(Level::new);
        Ok(Self([low?, mid?, high?]))
    }

    /// The three quantiles of a distribution.
    pub fn of(&self, member: &Member) -> Quantiles {
        let [low, mid, high] = self.0.map(|level| member.at(level));
        Quantiles { low, mid, high }
    }
}

impl Quantiles {
    /// The index of a centred process; see [the module](self).
    pub fn potential(&self, lower: f64, upper: f64) -> f64 {
        (upper - lower) / (self.high - self.low)
    }

    /// The index with the actual place; `None` without any limit.
    pub fn centered(&self, lower: Option<f64>, upper: Option<f64>) -> Option<f64> {
        let below = lower.map(|lower| (self.mid - lower) / (self.mid - self.low));
        let above = upper.map(|upper| (upper - self.mid) / (self.high - self.mid));
        match (below, above) {
            (Some(below), Some(above)) => Some(below.min(above)),
            (only, None) | (None, only) => only,
        }
    }
}

/// The quantile of the readings themselves, linear between neighbours at rank `(n + 1) p`.
///
/// Source: NIST/SEMATECH e-Handbook 7.2.6.2 (from memory); Hyndman and Fan 1996, definition 6.
///
/// # Errors
///
/// [`Undefined::TooFew`] if that rank is below the first or above the last reading: a quantile is not extrapolated.
pub fn of_readings(all: &Summary, p: f64) -> Result<f64, Undefined> {
    let n = float(all.count().into());
    let rank = (n + 1.0) * p;
    let outer = p.min(1.0 - p);
    let want = u64::try_from(nearest((1.0 / outer - 1.0).ceil())).unwrap_or(u64::MAX);
    Undefined::unless(all.count(), want)?;
    // A float may put the rank of the last reading a little beyond it.
    let rank = rank.clamp(1.0, n);
    let low = nearest(rank.floor());
    let (one, next) = (
        at_rank(all, low)?,
        at_rank(all, low + 1).or_else(|_| at_rank(all, low))?,
    );
    Ok(one + (rank - rank.floor()) * (next - one))
}

/// The reading at this rank in ascending order, counted from 1.
fn at_rank(all: &Summary, rank: i64) -> Result<f64, Undefined> {
    let rank = u64::try_from(rank).unwrap_or(0);
    let mut before = 0;
    let mut counts = all.grid().counts().iter();
    let found = counts.find(|(_, times)| {
        before += times;
        before >= rank
    });
    let got = all.count();
    let (base, _) = found
        .filter(|_| rank > 0)
        .ok_or(Undefined::TooFew { got, want: rank })?;
    Ok(all.in_unit(*base))
}

/// The lower confidence bound of the quantile: a reading, for any distribution. It is the end of a tolerance interval with
/// one end, [`free::cut`], without the half resolution by which that is moved outwards.
///
/// ```text
/// the highest rank r with P( X < r | n, p ) ≤ 1 - confidence      (binomial)
/// ```
///
/// Exact or more for any continuous distribution; rounded readings make it wider. Source: Conover 1999, 3.2, from memory.
///
/// # Errors
///
/// [`Undefined::TooFew`] if no reading is low enough.
pub fn lower_bound(all: &Summary, p: f64, confidence: f64) -> Result<f64, Undefined> {
    let rank = free::cut(all.count(), Side::Lower, 1.0 - p, confidence)?;
    at_rank(all, i64::try_from(rank).unwrap_or(i64::MAX))
}

/// The upper confidence bound of the quantile; as [`lower_bound`], counted from the other end.
pub fn upper_bound(all: &Summary, p: f64, confidence: f64) -> Result<f64, Undefined> {
    let n = all.count();
    let cut = free::cut(n, Side::Upper, p, confidence)?;
    at_rank(all, i64::try_from(n + 1 - cut).unwrap_or(i64::MAX))
}
