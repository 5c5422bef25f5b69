//! Studies before anything is measured: how many pieces a claim needs, and what the study would show.
//!
//! In: a claim that is required, and what is supposed to be true. Out: the smallest number of pieces with which the study
//! demonstrates the claim with the required probability, and its operating characteristic: that probability for other
//! truths. Each question uses the formula by which the study itself decides.
//!
//! - What the preconditions of a claim cost is not in these probabilities: `docs/false-alarms.md`.
//! - More pieces than `most` are not proposed. Then the answer is what is in reach: [`Planned::instead`].

mod capability;
mod found;
mod gauge;
mod means;
mod share;

pub use capability::Index;
pub use found::{SdWithin, sd_within};
pub use gauge::Gauge;
pub use means::{Difference, Equivalence};
pub use share::Share;

use super::distribution::{Spread, above, below, first, quantile};
use super::figures::row;
use super::picture::{Curve, Mark};
use super::sample::counted;
use super::text::{about_percent, percent};
use super::{Figure, FigureKind, Undefined};

/// More pieces are not proposed, because nobody would measure them (common practice, no source).
pub const MOST_PIECES: u64 = 999;
/// The usual probability that a study demonstrates what is true (common practice, no source).
pub const USUAL_POWER: f64 = 0.8;
/// Beyond this number nothing is computed.
const FARTHEST: u64 = 1_000_000;

/// A claim that a study is to demonstrate.
pub trait Question: std::fmt::Debug {
    /// Name for programs, which never changes.
    fn name(&self) -> &'static str;
    /// Fewest pieces of each group with which the study says anything.
    fn fewest(&self) -> u64;
    /// Number of groups, each of as many pieces.
    fn groups(&self) -> u64 {
        1
    }
    /// Readings of each piece.
    fn readings_of_each(&self) -> u64 {
        1
    }
    /// The probability that a study of `n` pieces in each group demonstrates the claim, if `truth` is true.
    fn power(&self, n: u64, truth: f64) -> Result<f64, Undefined>;
    /// What is supposed to be true.
    fn truth(&self) -> f64;
    /// `Ok` if enough pieces demonstrate the claim; otherwise why not.
    fn can_be_shown(&self) -> Result<(), Undefined>;
    /// Further truths, ascending, for the operating characteristic.
    fn truths(&self) -> (f64, f64);
    /// The claim, if it holds, in words: `Ppk is at least 1.33`.
    fn claim(&self) -> String;
    /// What the probability supposes, besides the truth: `normally distributed, independent readings`.
    fn supposes(&self) -> &'static str {
        "normally distributed, independent readings with a standard deviation of two or more steps of the display"
    }
    /// A truth in words: `Ppk is 1.67`.
    fn of_truth(&self, truth: f64) -> String;
    /// The name of the truths, for an axis: `true Ppk`.
    fn axis(&self) -> String;
    /// By what a truth is multiplied where a number stands for it: 100 for percent.
    fn scale(&self) -> f64 {
        1.0
    }
    /// What must come out of `n` pieces, where that is a count: `of which none may have it`.
    fn allows(&self, _n: u64) -> Option<String> {
        None
    }
    /// The claim that is nearest to the required one and that `n` pieces demonstrate with `power`, in words; `None` if
    /// there is none.
    fn in_reach(&self, n: u64, power: f64) -> Option<String>;
    /// The smallest number of pieces in each group with this power.
    fn smallest(&self, power: f64) -> Result<u64, Undefined> {
        let reaches = |n: u64| Ok::<_, Undefined>(self.power(n, self.truth())? >= power);
        first(self.fewest(), FARTHEST, reaches)
    }
}

/// A study that is planned.
#[derive(Debug)]
pub struct Planned {
    question: Box<dyn Question>,
    power: f64,
    /// Number of pieces that may be measured, of all groups.
    most: u64,
    /// Whether measuring destroys the pieces.
    destroys: bool,
    /// Pieces of each group.
    found: Result<u64, Undefined>,
}

/// A point of an operating characteristic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// What is true.
    pub truth: f64,
    /// The probability that the claim is demonstrated.
    pub probability: f64,
}

impl Planned {
    /// The smallest study with this power.
    ///
    /// # Errors
    ///
    /// [`Undefined::OutOfRange`] unless `power` is between 0 and 1; [`Undefined::NotApplicable`] if what is supposed to
    /// be true is not beyond the claim, so that no number of pieces demonstrates it.
    pub fn new(
        question: Box<dyn Question>,
        power: f64,
        most: u64,
        destroys: bool,
    ) -> Result<Self, Undefined> {
        quantile(power)?;
        question.can_be_shown()?;
        Ok(Self {
            found: question.smallest(power),
            question,
            power,
            most,
            destroys,
        })
    }

    /// The question.
    pub fn question(&self) -> &dyn Question {
        &*self.question
    }

    /// Number of pieces of each group; [`Undefined::TooMany`] beyond a million.
    pub fn pieces(&self) -> Result<u64, Undefined> {
        self.found
    }

    /// Number of pieces of all groups.
    fn all_pieces(&self) -> Result<u64, Undefined> {
        match self.pieces() {
            Ok(pieces) => Ok(pieces.saturating_mul(self.question.groups())),
            Err(Undefined::TooMany { .. }) => Err(Undefined::NotApplicable {
                why: "more than a million would be needed",
            }),
            Err(reason) => Err(reason),
        }
    }

    /// Whether no more pieces are needed than may be measured.
    pub fn is_in_reach(&self) -> bool {
        self.all_pieces().is_ok_and(|pieces| pieces <= self.most)
    }

    /// Number of pieces of each group that are proposed: those needed, or those that may be measured; `None` if that is
    /// fewer than the study takes.
    pub fn proposed(&self) -> Option<u64> {
        let may = self.most / self.question.groups();
        let needed = self.pieces().unwrap_or(u64::MAX);
        Some(needed.min(may)).filter(|pieces| *pieces >= self.question.fewest())
    }

    fn proposed_pieces(&self) -> Result<u64, Undefined> {
        let (got, want) = (self.most, self.question.fewest() * self.question.groups());
        self.proposed().ok_or(Undefined::TooFew { got, want })
    }

    /// The operating characteristic of the proposed study: this number of points, at even distances.
    pub fn characteristic(&self, points: u32) -> Result<Vec<Point>, Undefined> {
        let n = self.proposed_pieces()?;
        let (from, to) = self.question.truths();
        let last = f64::from(points.max(2) - 1);
        let at = |nth: u32| from + (to - from) * f64::from(nth) / last;
        let point = |truth: f64| {
            let probability = self.question.power(n, truth)?;
            Ok::<_, Undefined>(Point { truth, probability })
        };
        (0..points.max(2)).map(|nth| point(at(nth))).collect()
    }

    /// The same as a picture; `None` if there is no study.
    pub fn curve(&self, points: u32) -> Option<Curve> {
        let scale = self.question.scale();
        let truth = self.question.truth();
        let points = self.characteristic(points).ok()?.into_iter();
        Some(Curve {
            across: self.question.axis(),
            up: "probability that the claim is demonstrated".to_owned(),
            points: points
                .map(|at| (scale * at.truth, at.probability))
                .collect(),
            marks: vec![Mark {
                at: scale * truth,
                name: format!("supposed: {}", self.question.of_truth(truth)),
            }],
            required: Some(self.power),
        })
    }

    /// Of a claim out of reach: what the pieces that may be measured show instead.
    pub fn instead(&self) -> String {
        let Some(n) = self.proposed() else {
            let want = self.question.fewest() * self.question.groups();
            return format!("the study takes at least {want} pieces");
        };
        let chance = self.question.power(n, self.question.truth());
        let chance = chance.map(about_percent).unwrap_or_default();
        let pieces = self.most_words(n);
        let other = match self.question.in_reach(n, self.power) {
            Some(claim) => format!(
                "in reach with {pieces} and a probability of {}: {claim}",
                percent(self.power)
            ),
            None => format!("no such claim is in reach with {pieces}"),
        };
        format!("with {pieces} the probability is {chance}; {other}")
    }

    fn most_words(&self, n: u64) -> String {
        let readings = self.question.readings_of_each();
        let each = if readings > 1 {
            format!(" ({readings} readings of each)")
        } else {
            String::new()
        };
        match self.question.groups() {
            1 => format!("{n} pieces{each}"),
            groups => format!("{n} pieces of each of {groups} groups"),
        }
    }

    /// The pieces with what must come out of them.
    fn pieces_words(&self, n: u64) -> String {
        let pieces = self.most_words(n);
        match self.question.allows(n) {
            Some(allows) => format!("{pieces}, {allows},"),
            None => pieces,
        }
    }

    /// How many pieces, for what, and what that costs.
    pub fn sentence(&self) -> String {
        let truth = self.question.of_truth(self.question.truth());
        let claim = self.question.claim();
        let asked = format!(
            "that {claim}, with a probability of {} if {truth}",
            percent(self.power)
        );
        let destroyed = match self.proposed() {
            Some(n) if self.destroys => {
                let crimps = n * self.question.groups();
                format!("; this destroys {crimps} crimps")
            }
            Some(_) | None => String::new(),
        };
        let supposed = self.question.supposes();
        match self.pieces() {
            Ok(n) if self.is_in_reach() => {
                format!(
                    "{} demonstrate {asked}{destroyed}; this supposes {supposed}",
                    self.pieces_words(n)
                )
            }
            found => {
                let needed = match found {
                    Ok(n) => self.most_words(n),
                    Err(_) => "more than a million pieces".to_owned(),
                };
                format!(
                    "out of reach: {needed} would be needed to demonstrate {asked}, and no more than {} are proposed; {}{destroyed}",
                    self.most,
                    self.instead()
                )
            }
        }
    }
}

/// `P( low + slope S ≤ Z ≤ high - slope S )` of a standard normal Z and `S = √(χ²/ν)`: the probability that an interval
/// of a mean, whose width follows from an estimated standard deviation, lies between two limits.
///
/// ```text
/// ∫ f(s) max( 0, Φ(high - slope s) - Φ(low + slope s) ) ds
/// ```
///
/// Source: Owen 1965 has this integral as a function Q, from memory; checked against an independent computation.
fn within(freedom: f64, low: f64, high: f64, slope: f64) -> Result<f64, Undefined> {
    // The integrand ends at a corner, which the sum of the trapezoidal rule resolves only by small steps.
    const FINER: f64 = 16.0;
    let steep = FINER * (low.abs().max(high.abs()) + 6.0);
    let spread = Spread::new(freedom, steep)?;
    Ok(spread.mean(|s| {
        let (from, to) = (low + slope * s, high - slope * s);
        if from >= to {
            0.0
        } else if from > 0.0 {
            above(from) - above(to)
        } else {
            below(to) - below(from)
        }
    }))
}

/// The figures of `study plan`.
pub const FIGURES: &[Figure<Planned>] = &[
    row(
        "pieces",
        "pieces that the claim needs",
        FigureKind::Count,
        |of| Ok(counted(of.all_pieces()?)),
    ),
    row(
        "most",
        "pieces that may be measured at most",
        FigureKind::Count,
        |of| Ok(counted(of.most)),
    ),
    row(
        "proposed",
        "pieces of the study below",
        FigureKind::Count,
        |of| Ok(counted(of.proposed_pieces()? * of.question.groups())),
    ),
    row("readings", "readings", FigureKind::Count, |of| {
        let pieces = of.proposed_pieces()? * of.question.groups();
        Ok(counted(pieces * of.question.readings_of_each()))
    }),
    row(
        "destroyed",
        "crimps that it destroys",
        FigureKind::Count,
        |of| {
            let pieces = of.proposed_pieces()? * of.question.groups();
            Ok(if of.destroys { counted(pieces) } else { 0.0 })
        },
    ),
    row(
        "probability",
        "probability that it demonstrates the claim",
        FigureKind::Percent,
        |of| {
            let n = of.proposed_pieces()?;
            Ok(100.0 * of.question.power(n, of.question.truth())?)
        },
    ),
];
