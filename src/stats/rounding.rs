//! Effects of the instrument's resolution on figures: every reading is rounded to it.

use super::describe::{positive_sd, sd, sd_bounds};
use super::sample::float;
use super::{Limits, Summary, Undefined};

/// With a tolerance of fewer resolution steps than this the instrument is too coarse (common practice, the rule of ten;
/// no source).
pub const FEW_COUNTS: f64 = 10.0;

/// Standard deviation without the effect of rounding (Sheppard's correction).
///
/// ```text
/// sd_corrected = √(sd² - step²/12)
/// ```
///
/// For normal readings the error is 1e-8 if the standard deviation is a step or more, 1.6 % at half a step; at a
/// quarter it is useless. Checked against the exact standard deviation of a rounded normal distribution.
///
/// # Errors
///
/// [`Undefined::NoStep`] without a known resolution, [`Undefined::StepOnly`] if the difference is not positive, and
/// those of [`positive_sd`].
pub fn sd_corrected(all: &Summary) -> Result<f64, Undefined> {
    let (sd, step) = (positive_sd(all)?, all.step()?);
    let square = sd * sd - step * step / 12.0;
    if square <= 0.0 {
        return Err(Undefined::StepOnly);
    }
    Ok(square.sqrt())
}

/// Standard deviation, or that of the resolution alone if it is larger, with whether it is the latter.
///
/// ```text
/// max(sd, step/√12)
/// ```
///
/// Readings that are rounded can all be equal although the pieces are not; a value that lies anywhere within a step has
/// the standard deviation step/√12. Without a known resolution it is the standard deviation.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 readings; [`Undefined::NoSpread`] if all are equal and the resolution is not known.
pub fn sd_at_least_of_step(all: &Summary) -> Result<(f64, bool), Undefined> {
    let Ok(step) = all.step() else {
        return Ok((positive_sd(all)?, false));
    };
    let (measured, floor) = (sd(all)?, step / 12.0_f64.sqrt());
    Ok((measured.max(floor), measured < floor))
}

/// How far rounding may have moved the mean.
///
/// ```text
/// step/2 if sd < step/2, otherwise 0
/// ```
///
/// Readings that spread by half a step or more average rounding out: of normal ones the mean is then wrong by at most
/// `step/π · exp(-2 (π sd/step)²)`, 0.2 % of a step at half a step. With less spread all may be rounded the same way,
/// and more readings do not help. 0 without a known resolution.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 readings.
pub fn mean_may_be_off(all: &Summary) -> Result<f64, Undefined> {
    let Ok(step) = all.step() else {
        return Ok(0.0);
    };
    let is_hidden = sd(all)? < step / 2.0;
    Ok(if is_hidden { step / 2.0 } else { 0.0 })
}

/// Two-sided confidence interval of [`sd_corrected`]: that of the standard deviation with both ends corrected.
///
/// ```text
/// √(bound² - step²/12), not under 0
/// ```
///
/// At 95 %, the interval contains the true value in this share of 10,000 simulated samples of 10 and 30 readings: 95
/// and 95 % if rounded to half a standard deviation, 94 and 95 % to one, 91 and 95 % to two.
///
/// # Errors
///
/// [`Undefined::StepOnly`] if the upper end has no positive value, otherwise those of [`sd_corrected`].
pub fn sd_corrected_bounds(all: &Summary, confidence: f64) -> Result<(f64, f64), Undefined> {
    let (low, high) = sd_bounds(all, confidence)?;
    let rounding = all.step()?.powi(2) / 12.0;
    let corrected = |bound: f64| (bound * bound - rounding).max(0.0).sqrt();
    if corrected(high) <= 0.0 {
        return Err(Undefined::StepOnly);
    }
    Ok((corrected(low), corrected(high)))
}

/// Tolerance in resolution steps: `(upper - lower) / step`.
pub fn counts_in_tolerance(all: &Summary, limits: &Limits) -> Result<f64, Undefined> {
    limits.width_of(all)?;
    let ends = limits.lower.zip(limits.upper);
    let (lower, upper) = ends.ok_or(Undefined::OneSided)?;
    let on_scale = |end| all.scale().whole(end).ok_or(Undefined::TooLarge);
    let width = i128::from(on_scale(upper)?) - i128::from(on_scale(lower)?);
    Ok(float(width) / float(all.step_base()?.into()))
}

/// Six standard deviations in resolution steps.
pub fn counts_in_spread(all: &Summary) -> Result<f64, Undefined> {
    Ok(6.0 * positive_sd(all)? / all.step()?)
}

/// A warning that limits the use of figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Warning {
    /// Name for programs, which never changes.
    pub name: &'static str,
    /// The sentence.
    pub words: &'static str,
}

/// Warnings about the resolution of the instrument for these readings.
pub fn warnings(all: &Summary, limits: &Limits) -> Vec<Warning> {
    let mut found = Vec::new();
    if counts_in_tolerance(all, limits).is_ok_and(|counts| counts < FEW_COUNTS) {
        found.push(Warning {
            name: "coarse_for_tolerance",
            words: "the tolerance is under 10 times the resolution: measure with a finer instrument",
        });
    }
    let dominated = all.count() >= 2
        && all
            .step()
            .is_ok_and(|step| positive_sd(all).map_or_else(|_| true, |sd| sd < step));
    if dominated {
        found.push(Warning {
            name: "step_dominates",
            words: "the standard deviation is smaller than the resolution: it describes the instrument more than the crimps",
        });
    }
    found
}
