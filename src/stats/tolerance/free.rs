//! Tolerance intervals of any distribution: between a low and a high reading.
//!
//! In: readings. Out: an interval from the `below`-th lowest to the `above`-th highest reading. The more of the outermost
//! readings may be left out, the narrower it is. A reading stands for every value within half a resolution, so the ends
//! are moved outwards by that much, and the interval holds for the pieces and not only for their readings.

use super::Side;
use crate::stats::distribution::{Binomial, first, quantile};

use crate::stats::{Summary, Undefined};

/// No study measures more pieces.
pub(super) const MOST_PIECES: u64 = 1_000_000_000;

/// An interval between readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// The lower end; `None` if the interval has none.
    pub low: Option<f64>,
    /// The upper end; `None` if the interval has none.
    pub high: Option<f64>,
    /// The confidence that is reached, at least the required one.
    pub confidence: f64,
    /// The lower end is at this place in ascending order; 0 if the interval has none.
    pub below: u64,
    /// The upper end is at this place in descending order; 0 if the interval has none.
    pub above: u64,
}

/// The confidence that an interval between readings contains the share `content`, where `below` and `above` are the
/// places of its ends.
///
/// ```text
/// P( X ≤ n - below - above | n, content )      (binomial)
/// ```
///
/// Exact for a continuous distribution, more for readings that are rounded. Source: Wilks 1941, from memory;
/// ISO 16269-6 has the same (not opened); NIST/SEMATECH e-Handbook 7.2.6.4 for the extremes.
///
/// # Errors
///
/// [`Undefined::OutOfRange`] unless `content` is between 0 and 1.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::tolerance::free;
/// // Two-sided, 95 % of all pieces with 95 % confidence: 93 readings are enough and 92 are not.
/// assert!(free::confidence(93, 1, 1, 0.95)? >= 0.95 && free::confidence(92, 1, 1, 0.95)? < 0.95);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn confidence(n: u64, below: u64, above: u64, content: f64) -> Result<f64, Undefined> {
    reached(n, below.saturating_add(above), content)
}

fn reached(n: u64, cut: u64, content: f64) -> Result<f64, Undefined> {
    // At least `cut` of n pieces outside a share of 1 - content.
    let outside = Binomial::new(n, 1.0 - content)?;
    Ok(if cut == 0 {
        1.0
    } else {
        outside.above(cut - 1)
    })
}

/// The smallest number of readings whose extremes contain `content` with `required` confidence.
///
/// # Errors
///
/// [`Undefined::OutOfRange`] unless both are between 0 and 1, [`Undefined::TooMany`] beyond a thousand million.
pub fn pieces(side: Side, content: f64, required: f64) -> Result<u64, Undefined> {
    quantile(required)?;
    let reaches = |n: u64| Ok::<_, Undefined>(reached(n, side.ends(), content)? >= required);
    first(side.ends(), MOST_PIECES, reaches)
}

/// The narrowest interval between readings that contains `content` of all pieces with `required` confidence. Of an odd
/// number of readings that may be left out, one more is left out at the top.
///
/// # Errors
///
/// [`Undefined::TooFew`] with the number that is enough, and those of [`pieces`].
pub fn interval(
    all: &Summary,
    side: Side,
    content: f64,
    required: f64,
) -> Result<Between, Undefined> {
    let n = all.count();
    let cut = cut(n, side, content, required)?;
    between(all, side, cut, reached(n, cut, content)?)
}

/// How many of the spaces outside of and between n ordered readings may be left out, so that the rest contains `content`
/// of all pieces with `required` confidence. With one end the reading at this place from that end is also a confidence
/// bound of a quantile: at least `content` of all pieces lie beyond it exactly if the quantile of the rest does not.
///
/// # Errors
///
/// As [`interval`].
pub fn cut(n: u64, side: Side, content: f64, required: f64) -> Result<u64, Undefined> {
    let want = pieces(side, content, required)?;
    Undefined::unless(n, want)?;
    // The largest cut: the number before the first that falls short.
    let falls_short =
        |cut: u64| Ok::<_, Undefined>(cut > n || reached(n, cut, content)? < required);
    Ok(first(side.ends(), n + 1, falls_short)? - 1)
}

/// The interval from which `cut` spaces between the ordered readings are left out.
pub(super) fn between(
    all: &Summary,
    side: Side,
    cut: u64,
    confidence: f64,
) -> Result<Between, Undefined> {
    let n = all.count();
    let (below, above) = match side {
        Side::Both => (cut / 2, cut - cut / 2),
        Side::Lower => (cut, 0),
        Side::Upper => (0, cut),
    };
    let half = all.step().unwrap_or(0.0) / 2.0;
    let at = |rank: Option<u64>| {
        let base = rank.and_then(|rank| all.grid().at_rank(rank));
        let base = base.ok_or(Undefined::TooFew {
            got: n,
            want: cut.max(1),
        })?;
        Ok::<_, Undefined>(all.in_unit(base))
    };
    let low = (below > 0).then(|| at(below.checked_sub(1)));
    let high = (above > 0).then(|| at(n.checked_sub(above)));
    Ok(Between {
        low: low.transpose()?.map(|low| low - half),
        high: high.transpose()?.map(|high| high + half),
        confidence,
        below,
        above,
    })
}
