//! Ranks nests by how near the mean of their pieces is to that of factory pieces, and says which of them may be the
//! nearest.
//!
//! How often the ranking is right is simulated in `tests/suite/stats/nests.rs`; the tables are in `docs/no-sheet.md`.

use super::compare::Difference;
use super::describe::{mean, sd};
use super::distribution::StudentT;
use super::proposal::FEWEST;
use super::sample::{float, float_of};
use super::{CONFIDENCE, Summary, Undefined};

/// The mean of pieces on one axis, with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// Number of pieces.
    pub count: u64,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation, or that of the resolution alone if it is larger.
    pub sd: f64,
    /// Whether `sd` is that of the resolution.
    pub is_of_resolution: bool,
    /// The largest effect of rounding on the mean, which more pieces do not reduce.
    pub rounding: f64,
}

/// The data to rank: the factory's mean on each axis, and those of each nest in the same order.
#[derive(Debug, Clone, PartialEq)]
pub struct Nests {
    factory: Vec<Mean>,
    nests: Vec<Vec<Mean>>,
}

/// The result of the ranking for a nest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// The nearest of the nests that no other is shown to be nearer than.
    Nearest,
    /// No other is shown to be nearer, so it cannot be distinguished from the nearest.
    NotDistinguished,
    /// On some axis another is shown to be nearer.
    Farther,
}

/// A nest in the ranking.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// Which of the nests it is, from 0.
    pub nest: usize,
    /// The result of the ranking.
    pub standing: Standing,
    /// Each axis.
    pub axes: Vec<Against>,
}

/// A nest against the factory on one axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Against {
    /// Its pieces.
    pub mean: Mean,
    /// Their mean minus that of the factory.
    pub difference: f64,
    /// The confidence interval of the difference.
    pub bounds: (f64, f64),
    /// Whether the interval excludes 0.
    pub differs: bool,
    /// Whether no other nest is shown to be nearer on this axis.
    pub may_be_nearest: bool,
}

/// If the correlation of its two tests is above this, a comparison has half the level.
const CORRELATED: f64 = 0.7;

/// A sum of means, each times a weight.
struct Contrast {
    of: Difference,
    rounding: f64,
}

impl Mean {
    /// The mean of these readings.
    ///
    /// ```text
    /// sd       = max(s, step/√12)
    /// rounding = step/2 if the readings show at most two neighbouring values, else 0
    /// ```
    ///
    /// The lower limit of the standard deviation is that of [`super::proposal::propose`]. If all values are rounded to
    /// the same one, their mean is off by up to half a step, and more values do not reduce that. If three different
    /// values occur, the standard deviation σ of the pieces is hardly below a quarter of a step, and rounding moves
    /// their mean by a tenth of a step at most: the first term of a Fourier series, step/π · exp(-2π²σ²/step²), from
    /// memory.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFew`] below [`FEWEST`] readings, [`Undefined`] if the resolution is not known.
    pub fn of(all: &Summary) -> Result<Self, Undefined> {
        Undefined::unless(all.count(), FEWEST)?;
        let (mean, step, measured) = (mean(all)?, all.step()?, sd(all)?);
        let floor = step / 12.0_f64.sqrt();
        let ends = all.grid().greatest().zip(all.grid().least());
        let span = ends.map_or(0, |(most, least)| most.saturating_sub(least));
        Ok(Self {
            count: all.count(),
            mean,
            sd: measured.max(floor),
            is_of_resolution: measured < floor,
            rounding: if span <= all.step_base()? {
                step / 2.0
            } else {
                0.0
            },
        })
    }

    /// Half the width of the confidence interval of the mean: `t((1+c)/2; n-1) · sd/√n + rounding`.
    pub fn reach(&self) -> Result<f64, Undefined> {
        let t = StudentT::new(self.freedom())?.quantile(0.5 + CONFIDENCE / 2.0)?;
        Ok(t * self.square().sqrt() + self.rounding)
    }

    /// The confidence interval of the mean.
    pub fn bounds(&self) -> Result<(f64, f64), Undefined> {
        let reach = self.reach()?;
        Ok((self.mean - reach, self.mean + reach))
    }

    fn freedom(&self) -> f64 {
        float(self.count.into()) - 1.0
    }

    /// The squared standard error of the mean.
    fn square(&self) -> f64 {
        self.sd * self.sd / float(self.count.into())
    }
}

impl Contrast {
    /// The standard error is of independent means, each with its own standard deviation; degrees of freedom by
    /// Satterthwaite.
    ///
    /// ```text
    /// error² = Σ vᵢ,   df = error⁴ / Σ vᵢ²/(nᵢ-1),   vᵢ = wᵢ² sᵢ²/nᵢ,   rounding = Σ |wᵢ| roundingᵢ
    /// ```
    fn of(parts: &[(f64, &Mean)]) -> Self {
        let (mut value, mut square, mut per_freedom, mut rounding) = (0.0, 0.0, 0.0, 0.0);
        for (weight, mean) in parts {
            let own = weight * weight * mean.square();
            value += weight * mean.mean;
            square += own;
            per_freedom += own * own / mean.freedom();
            rounding += weight.abs() * mean.rounding;
        }
        let error = square.sqrt();
        Self {
            of: Difference {
                difference: value,
                error,
                freedom: square * square / per_freedom,
                t: value / error,
            },
            rounding,
        }
    }

    fn bounds(&self, confidence: f64) -> Result<(f64, f64), Undefined> {
        let (low, high) = self.of.bounds(confidence)?;
        Ok((low - self.rounding, high + self.rounding))
    }

    /// The sign of the sum, if a one-sided test at this level shows it; else 0.
    fn sign(&self, level: f64) -> Result<f64, Undefined> {
        let beyond = self.of.difference.abs() - self.rounding;
        let p = StudentT::new(self.of.freedom)?.above(beyond / self.of.error);
        let is_shown = beyond > 0.0 && p < level;
        Ok(if is_shown {
            self.of.difference.signum()
        } else {
            0.0
        })
    }
}

impl Nests {
    /// The factory's mean on each axis, and for each nest its means on the same axes.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] unless each nest has the axes of the factory, and there is at least one of both.
    pub fn new(factory: Vec<Mean>, nests: Vec<Vec<Mean>>) -> Result<Self, Undefined> {
        let is_whole = |nest: &Vec<Mean>| nest.len() == factory.len();
        if factory.is_empty() || nests.is_empty() || !nests.iter().all(is_whole) {
            return Err(Undefined::NotApplicable {
                why: "each nest needs pieces on every axis of the factory pieces",
            });
        }
        Ok(Self { factory, nests })
    }

    /// The significance level of a comparison: 5 %, shared by the other nests and the axes.
    ///
    /// ```text
    /// alpha = 0.05 / ((nests - 1) · axes)
    /// ```
    pub fn alpha(&self) -> f64 {
        let others = float_of(self.nests.len().saturating_sub(1).max(1));
        (1.0 - CONFIDENCE) / (others * float_of(self.factory.len()))
    }

    /// Whether `one` is shown to be nearer to the factory than `other` on an axis.
    ///
    /// `|o - f| > |n - f|` exactly if `o - n` and `(o + n)/2 - f` have the same sign and neither is 0. So it is shown if
    /// one-sided tests show both signs, and they are the same (an intersection-union test; Berger 1982, from memory):
    /// wrong at most as often as [`Nests::alpha`] says.
    ///
    /// If the other mean is known much less precisely than the rest, the two tests are correlated, and could be wrong
    /// in both directions. For normal means this begins to matter above a correlation of 0.75 (computed); so above 0.7
    /// the level is halved.
    fn is_nearer(&self, one: &Mean, other: &Mean, factory: &Mean) -> Result<bool, Undefined> {
        let both = one.square() + other.square();
        let scale = both * (both + 4.0 * factory.square());
        let correlation = (other.square() - one.square()) / scale.sqrt();
        let level = if correlation > CORRELATED {
            self.alpha() / 2.0
        } else {
            self.alpha()
        };
        let apart = Contrast::of(&[(1.0, other), (-1.0, one)]).sign(level)?;
        let beside = Contrast::of(&[(0.5, other), (0.5, one), (-1.0, factory)]).sign(level)?;
        Ok(apart * beside > 0.0)
    }

    /// The nests, nearest first. Those that may be the nearest on every axis come before the others; within both groups
    /// they are sorted by the largest distance from the factory on any axis.
    ///
    /// A nest may be the nearest on an axis if no other is shown to be nearer. With 95 % confidence the truly nearest
    /// nest of each axis is among those that may be (a subset that holds the best; Gupta 1965 and Hsu 1984, from
    /// memory; here with Bonferroni's correction, because only the comparisons of the truly nearest nest with each
    /// other one can wrongly exclude it).
    pub fn rank(&self) -> Result<Vec<Ranked>, Undefined> {
        let ranked = self.nests.iter().enumerate();
        let ranked = ranked.map(|(at, nest)| {
            let axes = nest.iter().enumerate();
            let axes = axes.map(|(axis, mean)| self.against(at, axis, mean));
            Ok(Ranked {
                nest: at,
                standing: Standing::Farther,
                axes: axes.collect::<Result<Vec<_>, _>>()?,
            })
        });
        let mut ranked = ranked.collect::<Result<Vec<_>, Undefined>>()?;
        ranked.sort_by(|one, other| {
            let rank = |nest: &Ranked| !nest.may_be_nearest();
            let by_axes = rank(one).cmp(&rank(other));
            by_axes.then(one.distance().total_cmp(&other.distance()))
        });
        let first = ranked.first().map(|nest| nest.nest);
        for nest in &mut ranked {
            if nest.may_be_nearest() {
                nest.standing = if Some(nest.nest) == first {
                    Standing::Nearest
                } else {
                    Standing::NotDistinguished
                };
            }
        }
        Ok(ranked)
    }

    fn against(&self, nest: usize, axis: usize, mean: &Mean) -> Result<Against, Undefined> {
        let factory = self.factory.get(axis).unwrap_or(mean);
        let mut may_be_nearest = true;
        for (at, other) in self.nests.iter().enumerate() {
            if let (true, Some(other)) = (at != nest, other.get(axis)) {
                may_be_nearest &= !self.is_nearer(other, mean, factory)?;
            }
        }
        let difference = Contrast::of(&[(1.0, mean), (-1.0, factory)]);
        let (low, high) = difference.bounds(CONFIDENCE)?;
        Ok(Against {
            mean: *mean,
            difference: difference.of.difference,
            bounds: (low, high),
            differs: low > 0.0 || high < 0.0,
            may_be_nearest,
        })
    }
}

impl Ranked {
    /// Whether on no axis another nest is shown to be nearer.
    fn may_be_nearest(&self) -> bool {
        self.axes.iter().all(|axis| axis.may_be_nearest)
    }

    /// The largest distance from the factory on any axis.
    pub fn distance(&self) -> f64 {
        let distances = self.axes.iter().map(|axis| axis.difference.abs());
        distances.fold(0.0, f64::max)
    }
}
