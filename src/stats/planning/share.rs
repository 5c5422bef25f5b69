//! How many pieces demonstrate that a share of all pieces is small enough.

use super::{FARTHEST, Question};
use crate::stats::Undefined;
use crate::stats::distribution::{Binomial, first, increasing_root};
use crate::stats::text::percent;

/// With more pieces that have the property no plan is looked for.
const MOST_COUNTED: u64 = 10_000;

/// The claim that at most the share `required` of all pieces has a property, such as a bad visual check, by the upper
/// confidence bound of Clopper and Pearson ([`crate::stats::proportion::upper_bound`]).
///
/// ```text
/// demonstrated if at most c of n have it, the largest c with P( X ≤ c | n, required ) ≤ 1 - confidence
/// P( X ≤ c | n, truth )      (binomial)
/// ```
///
/// Exact for pieces taken at random. The smallest n is looked for at c = 0, 1, 2, …: between these the probability
/// falls again. Source: NIST/SEMATECH e-Handbook 7.2.4.1, from memory.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::planning::{Planned, Share};
/// let none = Share { required: 0.05, truth: 0.0, confidence: 0.95 };
/// let planned = Planned::new(Box::new(none), 0.8, 999, false)?;
/// assert_eq!(planned.pieces(), Ok(59)); // none of 59
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// The share that is required at most.
    pub required: f64,
    /// The share that is supposed to be true.
    pub truth: f64,
    /// The confidence of the bound.
    pub confidence: f64,
}

impl Share {
    fn at_most(n: u64, count: u64, share: f64) -> Result<f64, Undefined> {
        if share <= 0.0 {
            return Ok(1.0);
        }
        if share >= 1.0 {
            return Ok(if count >= n { 1.0 } else { 0.0 });
        }
        Ok(Binomial::new(n, share)?.at_most(count))
    }

    fn demonstrates(&self, n: u64, count: u64) -> Result<bool, Undefined> {
        Ok(Self::at_most(n, count, self.required)? <= 1.0 - self.confidence)
    }

    /// The largest number of pieces with the property with which `n` pieces demonstrate the claim; `None` if there is
    /// none.
    pub fn allowed(&self, n: u64) -> Result<Option<u64>, Undefined> {
        let falls_short = |count: u64| Ok::<_, Undefined>(!self.demonstrates(n, count - 1)?);
        // Counted from 1, which stands for 0 of them.
        Ok(first(1, n + 1, falls_short)?.checked_sub(2))
    }
}

impl Question for Share {
    fn name(&self) -> &'static str {
        "proportion"
    }

    fn fewest(&self) -> u64 {
        1
    }

    fn power(&self, n: u64, truth: f64) -> Result<f64, Undefined> {
        let allowed = self.allowed(n)?;
        allowed.map_or(Ok(0.0), |count| Self::at_most(n, count, truth))
    }

    fn truth(&self) -> f64 {
        self.truth
    }

    fn can_be_shown(&self) -> Result<(), Undefined> {
        let is_beyond = self.truth < self.required;
        is_beyond.then_some(()).ok_or(Undefined::NotApplicable {
            why: "the share that is supposed to be true is not below the required one",
        })
    }

    fn truths(&self) -> (f64, f64) {
        (0.0, (1.25 * self.required).min(1.0))
    }

    fn claim(&self) -> String {
        format!("at most {} of all pieces have it", percent(self.required))
    }

    fn supposes(&self) -> &'static str {
        "pieces that are taken at random"
    }

    fn of_truth(&self, truth: f64) -> String {
        format!("{} have it", percent(truth))
    }

    fn axis(&self) -> String {
        "true share, percent".to_owned()
    }

    fn scale(&self) -> f64 {
        100.0
    }

    fn allows(&self, n: u64) -> Option<String> {
        Some(match self.allowed(n).ok()?? {
            0 => "of which none may have it".to_owned(),
            count => format!("of which at most {count} may have it"),
        })
    }

    fn in_reach(&self, n: u64, power: f64) -> Option<String> {
        // With c of n the claim reaches down to the upper bound of c; the best c keeps the power.
        let keeps =
            |count: u64| Ok::<_, Undefined>(Self::at_most(n, count - 1, self.truth)? >= power);
        let count = first(1, n + 1, keeps).ok()?.checked_sub(1)?;
        let risk = 1.0 - self.confidence;
        let excess = |share: f64| Self::at_most(n, count, share).map_or(f64::NAN, |p| risk - p);
        let required = increasing_root(excess, self.truth.max(1e-12), 1.0);
        let required = ((required * 1000.0).ceil() / 1000.0).min(1.0);
        Some(Self { required, ..*self }.claim())
    }

    fn smallest(&self, power: f64) -> Result<u64, Undefined> {
        let pieces_for = |count: u64| first(count + 1, FARTHEST, |n| self.demonstrates(n, count));
        // More pieces that may have it need more pieces, and keep the power better.
        let keeps = |nth: u64| {
            let n = pieces_for(nth - 1)?;
            Ok::<_, Undefined>(Self::at_most(n, nth - 1, self.truth)? >= power)
        };
        let nth = first(1, MOST_COUNTED, keeps)?;
        pieces_for(nth - 1)
    }
}
