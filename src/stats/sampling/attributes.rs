//! Single sampling by attributes: a lot is accepted if few enough pieces of its sample are nonconforming.

use super::{FARTHEST, Points};
use crate::stats::Undefined;
use crate::stats::distribution::{Binomial, Hypergeometric, first};
use crate::stats::figures::whole;
use crate::stats::sample::counted;

/// A single sampling plan by attributes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attributes {
    /// Number of pieces of the lot; `None` if it is large against the sample.
    pub lot: Option<u64>,
    /// Number of pieces of the sample.
    pub pieces: u64,
    /// The acceptance number: the lot is accepted if no more are nonconforming.
    pub accept: u64,
}

impl Attributes {
    /// The smallest sample, and its acceptance number, that keeps both points.
    ///
    /// ```text
    /// P( X ≤ c | n, limiting ) ≤ consumer,   P( X ≤ c | n, aql ) ≥ 1 - producer
    /// ```
    ///
    /// X is binomial, or hypergeometric for a lot of known size. Of c = 0, 1, 2, … the first whose smallest sample for the
    /// first condition also keeps the second. Source: NIST/SEMATECH e-Handbook 6.2.3.2, from memory; the principle is that
    /// of ISO 2859-1, whose tables are not reproduced.
    ///
    /// # Errors
    ///
    /// Those of [`Points::check`]; [`Undefined::TooMany`] if a million pieces, or the lot, are not enough.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::stats::sampling::{Attributes, Points};
    /// let points = Points { aql: 0.01, producer: 0.05, limiting: 0.065, consumer: 0.10 };
    /// let plan = Attributes::of_points(&points, None)?;
    /// assert!(plan.accepts(0.01)? >= 0.95 && plan.accepts(0.065)? <= 0.10);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn of_points(points: &Points, lot: Option<u64>) -> Result<Self, Undefined> {
        points.check()?;
        let most = lot.unwrap_or(FARTHEST);
        let smallest = |accept: u64| {
            let keeps = |pieces: u64| {
                let plan = Self {
                    lot,
                    pieces,
                    accept,
                };
                Ok::<_, Undefined>(plan.accepts_limiting(points.limiting)? <= points.consumer)
            };
            let pieces = first(accept + 1, most, keeps)?;
            Ok::<_, Undefined>(Self {
                lot,
                pieces,
                accept,
            })
        };
        let mut accept = 0;
        loop {
            let plan = smallest(accept)?;
            if plan.accepts(points.aql)? >= 1.0 - points.producer {
                return Ok(plan);
            }
            accept += 1;
        }
    }

    /// The plan of the same sample size whose acceptance number is the smallest that keeps the producer's risk.
    pub fn of_producer(
        pieces: u64,
        aql: f64,
        producer: f64,
        lot: Option<u64>,
    ) -> Result<Self, Undefined> {
        let plan = |accept: u64| Self {
            lot,
            pieces,
            accept,
        };
        // Counted from 1, which stands for an acceptance number of 0.
        let keeps = |nth: u64| Ok::<_, Undefined>(plan(nth - 1).accepts(aql)? >= 1.0 - producer);
        Ok(plan(first(1, pieces + 1, keeps)? - 1))
    }

    /// The probability that a lot is accepted of whose pieces this share is nonconforming. Of a lot of known size that
    /// many whole pieces at most are.
    pub fn accepts(&self, share: f64) -> Result<f64, Undefined> {
        self.probability(share, f64::floor, 1e-9)
    }

    /// The same with at least this share nonconforming.
    fn accepts_limiting(&self, share: f64) -> Result<f64, Undefined> {
        self.probability(share, f64::ceil, -1e-9)
    }

    fn probability(&self, share: f64, round: fn(f64) -> f64, dust: f64) -> Result<f64, Undefined> {
        if share <= 0.0 {
            return Ok(1.0);
        }
        let Some(lot) = self.lot else {
            return Ok(Binomial::new(self.pieces, share)?.at_most(self.accept));
        };
        let bad = whole(round(counted(lot) * share + dust));
        let bad = u64::try_from(bad).unwrap_or(0);
        Ok(Hypergeometric::new(lot, bad, self.pieces)?.at_most(self.accept))
    }
}
