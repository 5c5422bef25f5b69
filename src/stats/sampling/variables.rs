//! Single sampling by variables: a lot is accepted if the mean of its sample lies far enough from the limit.

use super::{FARTHEST, Points};
use crate::stats::Undefined;
use crate::stats::distribution::{NoncentralT, above, below, beta, first, quantile};
use crate::stats::sample::counted;

/// A single sampling plan by variables, for one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variables {
    /// Number of pieces of the sample.
    pub pieces: u64,
    /// The acceptability constant: the lot is accepted if the mean is at least this many standard deviations from the
    /// limit.
    pub constant: f64,
    /// Whether the standard deviation is known; otherwise it is that of the sample.
    pub is_sigma_known: bool,
}

impl Variables {
    /// The smallest sample that keeps both points, with the constant that keeps the producer's risk exactly.
    ///
    /// ```text
    /// s-method:      P( T(n-1; z √n) ≥ k √n ) = 1 - producer at aql, ≤ consumer at limiting     (noncentral t)
    /// sigma-method:  n = ((z(producer) + z(consumer))/(z(aql) - z(limiting)))², rounded up;  k = z(aql) - z(producer)/√n
    /// ```
    ///
    /// z(p) is the normal quantile of 1 - p. Exact for normal pieces and one limit. Of two limits each is kept by itself, or
    /// both together by [`Self::share_beyond_both`]. Source: Lieberman and Resnikoff 1955, from
    /// memory; the methods are those of ISO 3951-1, whose tables are not reproduced.
    ///
    /// # Errors
    ///
    /// Those of [`Points::check`]; [`Undefined::TooMany`] if a million pieces are not enough.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::stats::sampling::{Points, Variables};
    /// let points = Points { aql: 0.01, producer: 0.05, limiting: 0.03, consumer: 0.05 };
    /// let plan = Variables::of_points(&points, true)?;
    /// assert_eq!(plan.pieces, 55);
    /// assert!((plan.constant - 2.104_556).abs() < 1e-6);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn of_points(points: &Points, is_sigma_known: bool) -> Result<Self, Undefined> {
        points.check()?;
        let of =
            |pieces: u64| Self::of_producer(pieces, points.aql, points.producer, is_sigma_known);
        let keeps = |pieces: u64| {
            Ok::<_, Undefined>(of(pieces)?.accepts(points.limiting)? <= points.consumer)
        };
        let fewest = if is_sigma_known { 1 } else { 2 };
        of(first(fewest, FARTHEST, keeps)?)
    }

    /// The plan of this sample size that keeps the producer's risk at this acceptance quality limit.
    pub fn of_producer(
        pieces: u64,
        aql: f64,
        producer: f64,
        is_sigma_known: bool,
    ) -> Result<Self, Undefined> {
        let root = counted(pieces).sqrt();
        let z = quantile(1.0 - aql)?;
        let constant = if is_sigma_known {
            z - quantile(1.0 - producer)? / root
        } else {
            Undefined::unless(pieces, 2)?;
            NoncentralT::new(counted(pieces) - 1.0, z * root)?.quantile(producer)? / root
        };
        Ok(Self {
            pieces,
            constant,
            is_sigma_known,
        })
    }

    /// The probability that a lot is accepted of whose pieces this share lies beyond the limit.
    pub fn accepts(&self, share: f64) -> Result<f64, Undefined> {
        if share <= 0.0 {
            return Ok(1.0);
        }
        let root = counted(self.pieces).sqrt();
        let z = quantile(1.0 - share)?;
        if self.is_sigma_known {
            return Ok(below(root * (z - self.constant)));
        }
        let t = NoncentralT::new(counted(self.pieces) - 1.0, z * root)?;
        Ok(t.above(self.constant * root))
    }

    /// Whether a sample accepts the lot: the nearer limit is at least the constant away from the mean, in standard
    /// deviations.
    ///
    /// ```text
    /// Q = min( (upper - mean)/sd, (mean - lower)/sd ) ≥ k
    /// ```
    pub fn is_accepted(&self, quality: f64) -> bool {
        quality >= self.constant
    }

    /// The share of the pieces that lies beyond a limit this many standard deviations from the mean, as a sample estimates it
    /// without bias.
    ///
    /// ```text
    /// s-method:      I(x; n/2 - 1, n/2 - 1),  x = ½ (1 - Q √n/(n-1)), not under 0      (regularised incomplete beta function)
    /// sigma-method:  1 - Φ( Q √(n/(n-1)) )
    /// ```
    ///
    /// Source: Lieberman and Resnikoff 1955, from memory; of 3 pieces it is arccos(Q √3/2)/π, of 4 it is ½ - Q/3.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFew`] below 3 pieces, with a known standard deviation below 2.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::stats::sampling::Variables;
    /// let plan = Variables { pieces: 4, constant: 1.0, is_sigma_known: false };
    /// assert!((plan.share_beyond(1.2)? - 0.1).abs() < 1e-12);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn share_beyond(&self, quality: f64) -> Result<f64, Undefined> {
        let n = counted(self.pieces);
        if self.is_sigma_known {
            Undefined::unless(self.pieces, 2)?;
            return Ok(above(quality * (n / (n - 1.0)).sqrt()));
        }
        Undefined::unless(self.pieces, 3)?;
        let half = n / 2.0 - 1.0;
        Ok(beta(
            half,
            half,
            0.5 * (1.0 - quality * n.sqrt() / (n - 1.0)),
        ))
    }

    /// The estimated share beyond both limits together, and the largest that is accepted: that of one limit at the constant.
    ///
    /// # Errors
    ///
    /// As [`Self::share_beyond`].
    pub fn share_beyond_both(&self, lower: f64, upper: f64) -> Result<(f64, f64), Undefined> {
        let share = self.share_beyond(lower)? + self.share_beyond(upper)?;
        Ok((share, self.share_beyond(self.constant)?))
    }
}
