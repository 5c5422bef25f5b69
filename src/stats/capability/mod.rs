//! Capability: how the spread of the pieces compares with the limits, with confidence bounds.
//!
//! *Capability* (`cp`, `cpk`) uses the short-term standard deviation: it shows what the process could do if it were
//! stable. *Performance* (`pp`, `ppk`) uses the standard deviation of all readings: it shows what the customer gets.
//! They differ if the process drifts.

mod claim;
mod figures;
pub mod index;

pub(super) use claim::why_not;
pub use claim::{Claim, FEWEST_PIECES, Ground};
pub use figures::{FIGURES, PULL_FIGURES};

use super::chart::{moving_range_freedom, moving_range_sigma};
use super::describe::{mean, positive_sd, sd};
use super::distribution::Normal;
use super::sample::{float, nearest};
use super::tolerance::{self, Interval};
use super::{CONFIDENCE, Limits, Sample, Summary, Undefined};

/// The index that is usually required (common practice, no source).
pub const USUAL_ASKED: f64 = 1.33;

/// Larger samples are not recommended, because nobody would measure them (common practice, no source).
const MOST_PIECES: u64 = 999;

/// The short-term standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Within {
    /// The standard deviation, in the unit of the readings.
    pub sigma: f64,
    /// Its degrees of freedom.
    pub freedom: f64,
    /// The method of estimation, in words.
    pub how: &'static str,
}

/// Readings with limits, for the indices.
#[derive(Debug, Clone)]
pub struct Capability {
    all: Summary,
    limits: Limits,
    within: Result<Within, Undefined>,
    asked: f64,
    /// The readings in order, or why the order is unknown.
    order: Result<Sample, Undefined>,
    /// Subgroups; empty for single readings.
    groups: Vec<Sample>,
}

impl Capability {
    /// Single readings in the order in which they were taken. The short-term standard deviation comes from moving
    /// ranges.
    pub fn of_singles(sample: &Sample, limits: Limits) -> Self {
        let within = moving_range_sigma(sample).map(|sigma| Within {
            sigma,
            freedom: moving_range_freedom(sample.summary().n()),
            how: "moving ranges",
        });
        Self::of_summary(sample.summary().clone(), within, limits).in_order(Ok(sample.clone()))
    }

    /// Readings in subgroups. The short-term standard deviation is pooled over the subgroups.
    pub fn of_groups(sample: &Sample, groups: &[Sample], limits: Limits) -> Self {
        Self {
            groups: groups.to_vec(),
            ..Self::of_summary(sample.summary().clone(), pooled(groups), limits)
        }
        .in_order(Ok(sample.clone()))
    }

    /// A capability from sums and counts, with the short-term standard deviation if there is one. Without the order of
    /// the readings nothing is demonstrated.
    pub fn of_summary(all: Summary, within: Result<Within, Undefined>, limits: Limits) -> Self {
        Self {
            all,
            limits,
            within,
            asked: USUAL_ASKED,
            order: Err(Undefined::NotApplicable {
                why: "the order of the readings is not known",
            }),
            groups: Vec::new(),
        }
    }

    /// Adds the order of the readings, or why it is unknown.
    #[must_use]
    pub fn in_order(self, order: Result<Sample, Undefined>) -> Self {
        Self { order, ..self }
    }

    /// Sets the required index.
    #[must_use]
    pub fn asking(self, asked: f64) -> Self {
        Self { asked, ..self }
    }

    /// As [`Self::asking`], in hundredths.
    #[must_use]
    pub fn asking_hundredths(self, asked: u32) -> Self {
        self.asking(float(asked.into()) / 100.0)
    }

    /// Sums and counts of the readings.
    pub fn summary(&self) -> &Summary {
        &self.all
    }

    /// The limits of the indices.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The required index.
    pub fn asked(&self) -> f64 {
        self.asked
    }

    /// The short-term standard deviation.
    pub fn within(&self) -> Result<Within, Undefined> {
        self.within
    }

    fn overall(&self) -> Result<Within, Undefined> {
        Ok(Within {
            sigma: positive_sd(&self.all)?,
            freedom: self.all.n() - 1.0,
            how: "all readings",
        })
    }

    fn potential(&self, spread: Within) -> Result<f64, Undefined> {
        self.limits.width_of(&self.all)?;
        let (lower, upper) = (
            self.limits.lower_of(&self.all)?,
            self.limits.upper_of(&self.all)?,
        );
        index::potential(lower, upper, spread.sigma)
    }

    fn potential_bounds(&self, spread: Within) -> Result<(f64, f64), Undefined> {
        index::potential_bounds(self.potential(spread)?, spread.freedom, CONFIDENCE)
    }

    fn centered(&self, spread: Within) -> Result<f64, Undefined> {
        let limit = |end: Result<f64, Undefined>| match end {
            Ok(end) => Ok(Some(end)),
            Err(Undefined::Mixed) => Err(Undefined::Mixed),
            Err(_) => Ok(None),
        };
        index::centered(
            limit(self.limits.lower_of(&self.all))?,
            limit(self.limits.upper_of(&self.all))?,
            mean(&self.all)?,
            spread.sigma,
        )
    }

    fn centered_bounds(&self, spread: Within) -> Result<(f64, f64), Undefined> {
        index::centered_bounds(
            self.centered(spread)?,
            self.all.n(),
            spread.freedom,
            CONFIDENCE,
        )
    }

    /// The lower 95 % confidence bound of Ppk.
    pub fn ppk_least(&self) -> Result<f64, Undefined> {
        let spread = self.overall()?;
        index::lower_bound(
            self.centered(spread)?,
            self.all.n(),
            spread.freedom,
            CONFIDENCE,
        )
    }

    /// As [`Self::ppk_least`] in whole thousandths, rounded down: it is never shown larger than it is.
    pub fn ppk_least_milli(&self) -> Result<i64, Undefined> {
        Ok(nearest((self.ppk_least()? * 1_000.0).floor()))
    }

    /// Number of pieces that demonstrate the required index if Ppk stays as it is.
    pub fn pieces_needed(&self) -> Result<u64, Undefined> {
        let found = self.centered(self.overall()?)?;
        let needed = index::pieces_needed(found, self.asked, CONFIDENCE)?;
        if needed > MOST_PIECES {
            return Err(Undefined::NotApplicable {
                why: "Ppk is too near to the required index",
            });
        }
        Ok(needed)
    }

    fn normal(&self) -> Result<Normal, Undefined> {
        Ok(Normal {
            mean: mean(&self.all)?,
            sd: positive_sd(&self.all)?,
        })
    }

    fn tolerance(&self) -> Result<Interval, Undefined> {
        tolerance::interval(&self.all, &self.limits)
    }
}

/// The standard deviation within subgroups, pooled over all: `√( Σ Σ (x - group mean)² / Σ (nᵢ - 1) )`.
fn pooled(groups: &[Sample]) -> Result<Within, Undefined> {
    let mut squares = 0.0;
    let mut freedom = 0.0;
    let mut count = 0;
    for group in groups {
        let sd = if group.count() > 1 {
            sd(group.summary())?
        } else {
            0.0
        };
        let own = float(i128::from(group.count()) - 1).max(0.0);
        squares += own * sd * sd;
        freedom += own;
        count += group.count();
    }
    if freedom < 1.0 {
        return Err(Undefined::TooFew {
            got: count,
            want: count + 1,
        });
    }
    if squares <= 0.0 {
        return Err(Undefined::NoSpread { count });
    }
    Ok(Within {
        sigma: (squares / freedom).sqrt(),
        freedom,
        how: "subgroups, pooled",
    })
}
