//! Confidence intervals of variance components, and of sums of them.

use super::{Components, Source};
use crate::stats::Undefined;
use crate::stats::gauge::{Term, difference_bounds};

/// A standard deviation with its confidence interval, in the unit of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// The standard deviation; 0 if the variance is negative.
    pub sd: f64,
    /// The lower end of the interval.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Components {
    /// The standard deviation of a source, with its confidence interval by the modified large-sample method: exact for
    /// the rest, approximate for the others; in an unbalanced plan the mean squares are taken as independent, which
    /// they are nearly. docs/coverage.md has how often the intervals hold the truth.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] for a source without degrees of freedom.
    pub fn part(&self, source: &Source, confidence: f64) -> Result<Part, Undefined> {
        self.part_of(&[source], confidence)
    }

    /// The same of the sum of some sources.
    pub fn part_of(&self, sources: &[&Source], confidence: f64) -> Result<Part, Undefined> {
        let mut weights = vec![0.0; self.sources.len()];
        for source in sources {
            if source.mean_square.is_none() {
                return Err(Undefined::NotApplicable {
                    why: "its levels change together with those of factors before it",
                });
            }
            for (into, weight) in weights.iter_mut().zip(&source.weights) {
                *into += weight;
            }
        }
        let term = |(of, weight): (&Source, &f64)| Term {
            mean: of.mean_square.unwrap_or(0.0) * weight.abs(),
            freedom: of.freedom,
        };
        let weighed = || self.sources.iter().zip(&weights);
        let of_sign = |sign: f64| {
            let of_sign =
                weighed().filter(|(of, weight)| of.freedom > 0.0 && **weight * sign > 1e-12);
            of_sign.map(term).collect::<Vec<Term>>()
        };
        let (low, high) = difference_bounds(&of_sign(1.0), &of_sign(-1.0), confidence)?;
        let root = |square: f64| square.max(0.0).sqrt();
        // Each negative variance counts as 0, as it does alone.
        let single = sources
            .iter()
            .map(|source| self.sum(&source.weights).max(0.0));
        Ok(Part {
            sd: root(single.sum()),
            low: root(low),
            high: root(high),
        })
    }
}
