//! Distributions of counts: how many of some pieces have a property.
//!
//! A tail is summed term by term from the side on which the terms fall, until a further term adds nothing. So the number
//! of pieces has no bound, and a small tail keeps its digits.

use super::probability;
use crate::stats::Undefined;
use crate::stats::sample::counted;
use statrs::function::gamma::ln_gamma;

/// A term that is smaller than this share of the sum adds nothing.
const NOTHING: f64 = 1e-18;

/// The binomial distribution: pieces of a process, each with the property with the same probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Binomial {
    pieces: u64,
    share: f64,
}

/// The hypergeometric distribution: pieces drawn from a lot, of which some have the property.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hypergeometric {
    lot: u64,
    with: u64,
    pieces: u64,
}

impl Binomial {
    /// [`Undefined::OutOfRange`] unless `0 < share < 1`.
    pub fn new(pieces: u64, share: f64) -> Result<Self, Undefined> {
        let share = probability(share)?;
        Ok(Self { pieces, share })
    }

    /// `P(X ≤ count)`.
    pub fn at_most(self, count: u64) -> f64 {
        at_most(self, count)
    }

    /// `P(X > count)`.
    pub fn above(self, count: u64) -> f64 {
        above(self, count)
    }
}

impl Hypergeometric {
    /// [`Undefined::OutOfRange`] if more pieces are drawn, or have the property, than the lot has.
    pub fn new(lot: u64, with: u64, pieces: u64) -> Result<Self, Undefined> {
        let fits = with <= lot && pieces <= lot;
        let new = Self { lot, with, pieces };
        fits.then_some(new).ok_or(Undefined::OutOfRange {
            what: "the number of pieces of the lot",
        })
    }

    /// `P(X ≤ count)`.
    pub fn at_most(self, count: u64) -> f64 {
        at_most(self, count)
    }

    /// `P(X > count)`.
    pub fn above(self, count: u64) -> f64 {
        above(self, count)
    }
}

/// What the sums need of a distribution.
trait Counts: Copy {
    /// The lowest and the highest count that can occur.
    fn ends(self) -> (u64, u64);
    fn mean(self) -> f64;
    /// `P(X = count)` within the ends.
    fn single(self, count: u64) -> f64;
    /// `P(X = count + 1) / P(X = count)` within the ends.
    fn ratio(self, count: u64) -> f64;
}

impl Counts for Binomial {
    fn ends(self) -> (u64, u64) {
        (0, self.pieces)
    }

    fn mean(self) -> f64 {
        counted(self.pieces) * self.share
    }

    fn single(self, count: u64) -> f64 {
        let rest = counted(self.pieces - count);
        let log = counted(count) * self.share.ln() + rest * (-self.share).ln_1p();
        (ln_choose(self.pieces, count) + log).exp()
    }

    fn ratio(self, count: u64) -> f64 {
        let odds = self.share / (1.0 - self.share);
        counted(self.pieces - count) / counted(count + 1) * odds
    }
}

impl Counts for Hypergeometric {
    fn ends(self) -> (u64, u64) {
        let others = self.lot - self.with;
        (
            self.pieces.saturating_sub(others),
            self.pieces.min(self.with),
        )
    }

    fn mean(self) -> f64 {
        counted(self.pieces) * counted(self.with) / counted(self.lot).max(1.0)
    }

    fn single(self, count: u64) -> f64 {
        let others = ln_choose(self.lot - self.with, self.pieces - count);
        (ln_choose(self.with, count) + others - ln_choose(self.lot, self.pieces)).exp()
    }

    fn ratio(self, count: u64) -> f64 {
        let left = self.lot - self.with + count + 1 - self.pieces;
        counted(self.with - count) / counted(count + 1) * counted(self.pieces - count)
            / counted(left)
    }
}

fn at_most<C: Counts>(of: C, count: u64) -> f64 {
    let (low, high) = of.ends();
    if count < low {
        0.0
    } else if count >= high {
        1.0
    } else if counted(count) < of.mean() {
        downwards(of, count)
    } else {
        (1.0 - upwards(of, count + 1)).max(0.0)
    }
}

fn above<C: Counts>(of: C, count: u64) -> f64 {
    let (low, high) = of.ends();
    if count < low {
        1.0
    } else if count >= high {
        0.0
    } else if counted(count) < of.mean() {
        (1.0 - downwards(of, count)).max(0.0)
    } else {
        upwards(of, count + 1)
    }
}

/// `P(X ≤ count)`.
fn downwards<C: Counts>(of: C, count: u64) -> f64 {
    let ratios = (of.ends().0..count).rev().map(|at| 1.0 / of.ratio(at));
    sum(of.single(count), ratios)
}

/// `P(X ≥ count)`.
fn upwards<C: Counts>(of: C, count: u64) -> f64 {
    let ratios = (count..of.ends().1).map(|at| of.ratio(at));
    sum(of.single(count), ratios)
}

fn sum(first: f64, ratios: impl Iterator<Item = f64>) -> f64 {
    let (mut term, mut sum) = (first, first);
    for ratio in ratios {
        term *= ratio;
        sum += term;
        if term <= sum * NOTHING {
            break;
        }
    }
    sum.min(1.0)
}

fn ln_choose(all: u64, some: u64) -> f64 {
    let factorial = |count: u64| ln_gamma(counted(count) + 1.0);
    factorial(all) - factorial(some) - factorial(all - some)
}
