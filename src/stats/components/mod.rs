//! Variance components: how much of the spread comes from tools, nests, persons, days?
//!
//! In: exact readings, each with a level of each factor; factors may be nested or crossed, levels may have different
//! numbers of readings, and combinations may be missing. Out: the variance of each factor, of each interaction of two
//! crossed factors, and of the rest, with confidence intervals.
//!
//! Every factor is random: its levels stand for all that could have been taken. The method is the analysis of variance
//! by fitting constants (Henderson's method 3): sequential sums of squares in the order of the factors, set equal to
//! their expectations. In a balanced plan these are the usual tables of nested and crossed plans.

mod intervals;
mod model;
mod solve;
mod words;

pub use intervals::Part;
pub use model::{Factor, Together};
pub use words::PLAN;

use super::distribution::FisherF;
use super::sample::base_in;
use super::text::fixed;
use super::{Summary, Undefined};
use model::Term;

/// The readings with one level of each factor.
#[derive(Debug, Clone)]
pub struct Cell {
    /// The number of the level of each factor.
    pub levels: Vec<usize>,
    /// The readings.
    pub readings: Summary,
}

/// A source of variation: a factor, an interaction, or the rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Name: `tool`, `tool/nest` for nests within tools, `tool:operator` for an interaction, `rest`.
    pub name: String,
    /// Whether it is an interaction.
    pub is_interaction: bool,
    /// Number of levels or combinations; of the rest the number of readings.
    pub levels: usize,
    /// Degrees of freedom.
    pub freedom: f64,
    /// Mean square, in the squared unit of the readings; `None` without degrees of freedom.
    pub mean_square: Option<f64>,
    /// The expected mean square: the factor of each variance component, this source's own first, in the order of the
    /// sources. That of the rest is always 1.
    pub expected: Vec<(String, f64)>,
    /// The weights of all mean squares of which the variance is the sum.
    weights: Vec<f64>,
    /// The weights of the mean squares that this one is tested against.
    against: Vec<f64>,
}

/// The table of the analysis of variance with the variance components.
#[derive(Debug, Clone, PartialEq)]
pub struct Components {
    /// The sources in the order in which they are fitted; the rest is last.
    pub sources: Vec<Source>,
    /// Whether all combinations of levels have the same number of readings (of nested factors: all that exist).
    pub balanced: bool,
    /// Whether the interactions are part of the rest, because no combination was measured twice.
    pub interactions_in_rest: bool,
    count: u64,
}

/// The test whether a source has a share in the spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tested {
    /// Mean square over the one that is expected without the source.
    pub f: f64,
    /// Degrees of freedom of the latter (Satterthwaite, if it is a sum).
    pub freedom: f64,
    /// The p-value.
    pub p: f64,
}

impl Components {
    /// The components of readings in cells; `crossed` takes the interactions of two crossed factors as sources.
    ///
    /// ```text
    /// SS(i) = R(1..i) - R(1..i-1),   E SS(i) = Σ tr(Zj' (Pi - Pi-1) Zj) σj² + df(i) σ²
    /// ```
    ///
    /// Source: Searle and others 1992, Variance Components, chapter 5 (Henderson's method 3), from memory; checked against
    /// NIST/SEMATECH e-Handbook examples, and random sets against an independent computation.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFewGroups`] if a factor has one level, [`Undefined::NoSpread`] if the rest has no spread,
    /// [`Undefined::NotApplicable`] if every reading has a level of its own, or if there are too many levels.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::{quantity::Unit, stats::{Sample, components::{Cell, Components, Factor}}};
    /// // two tools, three readings each, in hundredths of a millimetre
    /// let cells = [[160, 161, 162], [163, 164, 165]].into_iter().enumerate().map(|(tool, readings)| {
    ///     let bases = readings.map(|hundredths| hundredths * 10_000).to_vec();
    ///     let sample = Sample::from_bases(bases, Unit::Millimetre)?;
    ///     Ok(Cell { levels: vec![tool], readings: sample.summary().clone() })
    /// });
    /// let cells = cells.collect::<Result<Vec<_>, tallyjaw::stats::Undefined>>()?;
    /// let tool = Factor::new("tool", None, 2);
    /// let components = Components::new(&cells, &[tool], true)?;
    /// let variances = components.variances();
    /// // mean squares 13.5 and 1, in square hundredths: (13.5 - 1)/3 and 1
    /// assert!((variances[0].unwrap() * 1e4 - 12.5 / 3.0).abs() < 1e-9);
    /// assert!((variances[1].unwrap() * 1e4 - 1.0).abs() < 1e-9);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn new(cells: &[Cell], factors: &[Factor], crossed: bool) -> Result<Self, Undefined> {
        let count: u64 = cells.iter().map(|cell| cell.readings.count()).sum();
        Undefined::unless(count, 3)?;
        for factor in factors {
            if factor.levels < 2 {
                return Err(Undefined::TooFewGroups { got: 1, want: 2 });
            }
        }
        let mut terms = model::terms(cells, factors, crossed);
        let mut fitted = solve::fit(cells, &terms)?;
        let interactions_in_rest = fitted.rest_freedom < 1.0 && terms.iter().any(Term::is_crossed);
        if interactions_in_rest {
            terms.retain(|term| !term.is_crossed());
            fitted = solve::fit(cells, &terms)?;
        }
        if fitted.rest_freedom < 1.0 {
            return Err(Undefined::NotApplicable {
                why: "no two readings have the same levels, so nothing is left to compare with: leave the last factor out, it is then the rest",
            });
        }
        if fitted.rest <= 0.0 {
            return Err(Undefined::NoSpread { count });
        }
        let scale = cells.first().map(|cell| cell.readings.scale());
        let scale = scale.ok_or(Undefined::TooFew { got: 0, want: 3 })?;
        let square = |value: f64| base_in(scale, base_in(scale, value));
        Ok(Self {
            sources: model::sources(&terms, &fitted, square, count),
            balanced: model::is_balanced(cells, factors),
            interactions_in_rest,
            count,
        })
    }

    /// Number of readings.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The variance of each source, which may be negative: then 0 is nearest. A source without degrees of freedom has
    /// none: its levels are those of factors before it.
    pub fn variances(&self) -> Vec<Result<f64, Undefined>> {
        let sources = self.sources.iter();
        sources
            .map(|source| match source.mean_square {
                Some(_) => Ok(self.sum(&source.weights)),
                None => Err(Undefined::NotApplicable {
                    why: "its levels change together with those of factors before it",
                }),
            })
            .collect()
    }

    /// A weighted sum of the mean squares.
    fn sum(&self, weights: &[f64]) -> f64 {
        let squares = self.sources.iter().map(|of| of.mean_square.unwrap_or(0.0));
        squares
            .zip(weights)
            .map(|(square, weight)| square * weight)
            .sum()
    }

    /// The test of a source against the mean square that is expected without it.
    pub fn tested(&self, source: &Source) -> Result<Tested, Undefined> {
        let own = source.mean_square.ok_or(Undefined::NotApplicable {
            why: "it has no degrees of freedom",
        })?;
        let beside = self.sum(&source.against);
        if beside <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "the mean square to compare with is not above zero",
            });
        }
        let squares = self.sources.iter().zip(&source.against);
        let shares = squares
            .filter(|(of, _)| of.freedom > 0.0)
            .map(|(of, weight)| (of.mean_square.unwrap_or(0.0) * weight).powi(2) / of.freedom);
        let freedom = beside * beside / shares.sum::<f64>();
        let f = own / beside;
        let p = FisherF::new(source.freedom, freedom)?.above(f);
        Ok(Tested { f, freedom, p })
    }

    /// The share of each source in the total variance; negative variances count as 0.
    pub fn shares(&self) -> Vec<Option<f64>> {
        let variances = self.variances();
        let own = |variance: &Result<f64, Undefined>| variance.ok().map(|value| value.max(0.0));
        let total: f64 = variances.iter().filter_map(own).sum();
        variances
            .iter()
            .map(|variance| {
                own(variance)
                    .filter(|_| total > 0.0)
                    .map(|value| value / total)
            })
            .collect()
    }

    /// The share of a source in the total variance, in percent, as text.
    pub fn percent(share: f64) -> String {
        fixed(share * 100.0, 1)
    }

    /// The interactions.
    pub fn interactions(&self) -> impl Iterator<Item = &Source> {
        self.sources.iter().filter(|source| source.is_interaction)
    }
}
