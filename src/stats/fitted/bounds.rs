//! Confidence bounds of whatever follows from a fitted distribution.

use super::{Family, Member, fit};
use crate::stats::Undefined;
use crate::stats::random::Random;
use crate::stats::sample::{float_of, nearest};

/// Number of simulated samples.
pub const DRAWS: usize = 2_000;
/// With more readings the simulation takes too long.
const MOST: usize = 5_000;
/// Seed of the simulation.
const SEED: u64 = 0x0f17;

/// Distributions that may lie behind the readings, by simulated samples of the same size.
///
/// Lognormal and Weibull, whose logarithms have a place u and a scale b (for Weibull `u = ln scale`): the estimates û*, b̂* of
/// samples of the standard member do not depend on u and b, so that `b̂/b̂*` and `û - b̂ û*/b̂*` are draws of the parameters
/// (generalised pivotal quantities; exact for a quantile). A bound is a quantile of the figure over the draws.
/// Source: Weerahandi 1993; Lawless 2003, appendix E, both from memory.
///
/// Folded normal, which has no such form: a parametric bootstrap. A figure f is taken as a scale is: its bound is `f²/q`, q the
/// quantile of the figure over the samples. Source: Efron and Tibshirani 1993, from memory.
///
/// The shares of seeded runs in which the bounds contain the true value are in docs/coverage.md.
#[derive(Debug, Clone)]
pub struct Draws {
    member: Member,
    members: Vec<Member>,
}

impl Draws {
    /// The draws for a member fitted to `n` values.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFew`] below 3 values, [`Undefined::TooMany`] above 5,000.
    pub fn new(member: Member, n: usize) -> Result<Self, Undefined> {
        Self::of_samples(member, n, DRAWS)
    }

    /// As [`Self::new`], with this number of simulated samples.
    pub fn of_samples(member: Member, n: usize, draws: usize) -> Result<Self, Undefined> {
        let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        Undefined::unless(count(n), 3)?;
        if n > MOST {
            return Err(Undefined::TooMany {
                got: count(n),
                most: count(MOST),
            });
        }
        let members = match member.family {
            Family::Lognormal | Family::Weibull => {
                let pivots = pivots(member.family, n, draws);
                pivots.iter().map(|pivot| moved(member, *pivot)).collect()
            }
            Family::FoldedNormal => samples(member, n, draws),
        };
        Ok(Self { member, members })
    }

    /// The same pivots for another fit, for simulations. Only of lognormal and Weibull distributions.
    #[must_use]
    pub fn of_pivots(member: Member, pivots: &[(f64, f64)]) -> Self {
        let members = pivots.iter().map(|pivot| moved(member, *pivot)).collect();
        Self { member, members }
    }

    /// The two-sided confidence interval of a figure.
    pub fn bounds(&self, figure: impl Fn(&Member) -> f64, confidence: f64) -> (f64, f64) {
        let mut values: Vec<f64> = self.members.iter().map(&figure).collect();
        for value in &mut values {
            if value.is_nan() {
                *value = f64::NEG_INFINITY; // a draw without any bound
            }
        }
        values.sort_by(f64::total_cmp);
        let n = float_of(values.len());
        let at = |share: f64| {
            let rank = usize::try_from(nearest(share * (n + 1.0)).max(1)).unwrap_or(1);
            values
                .get(rank.min(values.len()).saturating_sub(1))
                .copied()
                .unwrap_or(f64::NAN)
        };
        let tail = (1.0 - confidence) / 2.0;
        let (low, high) = (at(tail), at(1.0 - tail));
        match self.member.family {
            Family::Lognormal | Family::Weibull => (low, high),
            Family::FoldedNormal => {
                let found = figure(&self.member);
                (found * found / high, found * found / low)
            }
        }
    }
}

/// Estimates of the place and scale of the logarithms, of samples of the standard member.
pub fn pivots(family: Family, n: usize, draws: usize) -> Vec<(f64, f64)> {
    let mut random = Random::new(SEED);
    let count = float_of(n);
    let standard = Member {
        family,
        a: if family == Family::Weibull { 1.0 } else { 0.0 },
        b: 1.0,
    };
    let mut values = vec![0.0; n];
    let mut pivots = Vec::with_capacity(draws);
    while pivots.len() < draws {
        if family == Family::Lognormal {
            let place = random.next_normal() / count.sqrt();
            let square = 2.0 * random.next_gamma((count - 1.0) / 2.0);
            pivots.push((place, (square / (count - 1.0)).sqrt()));
            continue;
        }
        values.fill_with(|| standard.draw(&mut random));
        if let Ok(found) = fit(family, &values) {
            pivots.push((found.a.ln(), found.b));
        }
    }
    pivots
}

/// The member that a pivot makes of the fitted one.
fn moved(member: Member, (place, scale): (f64, f64)) -> Member {
    let b = member.b / scale;
    let a = match member.family {
        Family::Weibull => (member.a.ln() - b * place).exp(),
        Family::Lognormal | Family::FoldedNormal => member.a - b * place,
    };
    Member { a, b, ..member }
}

/// Fits of samples of the member.
fn samples(member: Member, n: usize, draws: usize) -> Vec<Member> {
    let mut random = Random::new(SEED);
    let mut values = vec![0.0; n];
    let fits = (0..draws).filter_map(|_| {
        values.fill_with(|| member.draw(&mut random));
        fit(member.family, &values).ok()
    });
    fits.collect()
}
