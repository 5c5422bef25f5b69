//! Limits proposed from factory pieces, where no maker's sheet is known: a nominal, and the interval in which a share of
//! all such pieces lies.
//!
//! How often the interval holds the stated share is simulated in `tests/suite/stats/proposals.rs`; the table is in
//! `docs/no-sheet.md`.

use super::describe::{mean, mean_bounds};
use super::figures::whole;
use super::rounding::sd_at_least_of_step;
use super::sample::float;
use super::tolerance::two_sided_factor;
use super::{CONFIDENCE, Summary, Undefined};

/// The share of all pieces in the interval.
pub const COVERAGE: f64 = 0.95;
/// With fewer pieces the spread cannot be estimated usefully (common practice, no source).
pub const FEWEST: u64 = 3;

/// The properties of the population that the pieces are from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Proposal {
    /// Number of pieces.
    pub count: u64,
    /// Their mean.
    pub mean: f64,
    /// The confidence interval of the mean; `None` if all readings are equal.
    pub mean_bounds: Option<(f64, f64)>,
    /// Their standard deviation, or that of the resolution alone if it is larger.
    pub sd: f64,
    /// Whether `sd` is that of the resolution.
    pub is_of_resolution: bool,
    /// Factor of the standard deviation.
    pub factor: f64,
    /// The nominal: the mean, rounded to the resolution, in base units.
    pub nominal: i64,
    /// The interval's ends, rounded outwards to the resolution, in base units.
    pub ends: (i64, i64),
}

/// The interval that holds 95 % of all pieces with 95 % confidence, and the nominal.
///
/// ```text
/// mean ± k s,   s = max(sd, step/√12),   k = the exact two-sided factor; ends rounded outwards to the step
/// ```
///
/// Why s has a lower limit: [`sd_at_least_of_step`]. Source of the factor: [`two_sided_factor`]; the lower limit:
/// common practice, no source.
///
/// # Errors
///
/// [`Undefined::TooFew`] below [`FEWEST`] readings, [`Undefined`] if the resolution is not known.
pub fn propose(all: &Summary) -> Result<Proposal, Undefined> {
    Undefined::unless(all.count(), FEWEST)?;
    let (mean, step) = (mean(all)?, all.step()?);
    let (sd, is_of_resolution) = sd_at_least_of_step(all)?;
    let factor = two_sided_factor(all.count(), COVERAGE, CONFIDENCE)?;
    let reach = factor * sd;
    // The interval in whole steps, then in base units. An excess that is only rounding error does not count as a
    // further step.
    let steps = |value: f64| value / step;
    let base = float(1) / all.in_unit(1);
    let in_base = |steps: f64| whole(steps * step * base);
    Ok(Proposal {
        count: all.count(),
        mean,
        mean_bounds: mean_bounds(all, CONFIDENCE).ok(),
        sd,
        is_of_resolution,
        factor,
        nominal: in_base(steps(mean).round()),
        ends: (
            in_base((steps(mean - reach) + 1e-9).floor()),
            in_base((steps(mean + reach) - 1e-9).ceil()),
        ),
    })
}
