//! What the checks of each month found.

use super::{Check, Stability};
use crate::stats::describe::{mean, mean_bounds};
use crate::stats::{CONFIDENCE, Sample, Undefined};

/// What the checks of a month found.
#[derive(Debug, Clone, PartialEq)]
pub struct Month {
    /// Its name: `2026-11`.
    pub name: String,
    /// The time of its first check.
    pub at: i64,
    /// Number of checks.
    pub checks: u64,
    /// Number of readings.
    pub readings: u64,
    /// The mean error of its checks.
    pub mean: Result<f64, Undefined>,
    /// The interval of the mean, from how much the checks of the month differ.
    pub bounds: Result<(f64, f64), Undefined>,
    /// The lowest error.
    pub lowest: f64,
    /// The highest error.
    pub highest: f64,
    /// Number of errors outside the limits; 0 without limits.
    pub outside: u64,
}

impl Stability {
    /// The months with checks, in their order.
    pub fn months(&self) -> Vec<Month> {
        let mut names: Vec<&str> = self
            .checks
            .iter()
            .map(|check| check.month.as_str())
            .collect();
        names.dedup();
        names
            .into_iter()
            .filter_map(|name| self.month(name))
            .collect()
    }

    fn month(&self, name: &str) -> Option<Month> {
        let checks: Vec<&Check> = self
            .checks
            .iter()
            .filter(|check| check.month == name)
            .collect();
        let errors: Vec<i64> = checks.iter().flat_map(|check| check.errors()).collect();
        let means: Vec<i64> = checks.iter().map(|check| check.mean()).collect();
        let of_checks = self.errors.part(&means);
        let number = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
        let scale = self.errors.scale();
        let limit = |end| scale.limit(end);
        let (lower, upper) = (self.limits.lower.map(limit), self.limits.upper.map(limit));
        let is_outside = |error: &&i64| {
            lower.is_some_and(|lower| **error < lower) || upper.is_some_and(|upper| **error > upper)
        };
        Some(Month {
            name: name.to_owned(),
            at: checks.first()?.at,
            checks: number(checks.len()),
            readings: number(errors.len()),
            bounds: self.month_bounds(&of_checks, checks.len()),
            mean: of_checks.and_then(|means| mean(means.summary())),
            lowest: scale.in_unit(*errors.iter().min()?),
            highest: scale.in_unit(*errors.iter().max()?),
            outside: number(errors.iter().filter(is_outside).count()),
        })
    }

    /// Student's interval of the mean of some checks, wider by what rounding may make of each.
    fn month_bounds(
        &self,
        means: &Result<Sample, Undefined>,
        checks: usize,
    ) -> Result<(f64, f64), Undefined> {
        if checks < 2 {
            return Err(Undefined::NotApplicable {
                why: "one verification series alone does not say how much they differ",
            });
        }
        let means = means.as_ref().map_err(|reason| *reason)?;
        let (low, high) = mean_bounds(means.summary(), CONFIDENCE)?;
        let off = self.may_be_off()?;
        if off <= 0.0 && low >= high {
            return Err(Undefined::NoSpread {
                count: means.count(),
            });
        }
        Ok((low - off, high + off))
    }
}
