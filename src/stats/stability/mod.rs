//! Stability: do the errors of an instrument at gauge blocks change over months, and how fast?
//!
//! In: errors (reading minus size), each with the check (a verification series) that it was found in, the size, and the time.
//! Out: for each month what its checks found, and the drift per month with its interval.
//!
//! - A check counts once, by the mean of its mean errors at each size: its readings share one zero and one temperature, so they say
//!   less than as many checks.
//! - Only sizes that every check has are taken; otherwise other sizes would look like another error.
//!
//! Source: instrumental drift, JCGM 200 4.21; drift and stability in a gauge study, e-Handbook 2.4.5.3 and 2.4.4 (from memory).

mod months;
mod words;

pub use months::Month;

use super::distribution::StudentT;
use super::drift::{Drift, Trend};
use super::figures::row;
use super::sample::{float, float_of, nearest};
use super::{CONFIDENCE, Figure, FigureKind, Limits, Sample, Undefined};
use std::collections::{BTreeMap, BTreeSet};

/// Microseconds in a month: a twelfth of 365.25 days.
pub const MONTH: i64 = 2_629_800_000_000;
/// A line through fewer checks has no distances from it.
const FEWEST_CHECKS: usize = 3;

/// What an error was found in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// The check: readings of one check have the same.
    pub check: String,
    /// The size of the block, in base units.
    pub size: i64,
    /// The time, in microseconds.
    pub at: i64,
    /// The month, as `2026-11`: names of later months are greater.
    pub month: String,
}

/// A check, as one point.
#[derive(Debug, Clone)]
struct Check {
    at: i64,
    month: String,
    /// The errors at each size.
    sizes: BTreeMap<i64, Vec<i64>>,
}

impl Check {
    /// The mean of the mean errors at each size, to a base unit.
    fn mean(&self) -> i64 {
        let means = self.sizes.values().map(|errors| mean_of(errors));
        nearest(means.sum::<f64>() / float_of(self.sizes.len().max(1)))
    }

    fn errors(&self) -> impl Iterator<Item = i64> {
        self.sizes.values().flatten().copied()
    }
}

fn mean_of(errors: &[i64]) -> f64 {
    let sum: i128 = errors.iter().map(|error| i128::from(*error)).sum();
    float(sum) / float_of(errors.len().max(1))
}

/// The checks of one instrument.
#[derive(Debug, Clone)]
pub struct Stability {
    checks: Vec<Check>,
    limits: Limits,
    /// The errors of the sizes that all checks have.
    errors: Sample,
    /// The mean error of each check, in the order of time.
    drift: Drift,
    /// Sizes that were left out, since not every check has them.
    partial: Vec<f64>,
}

impl Stability {
    /// The errors `errors`, each with its mark. Limits are those of an error.
    ///
    /// # Errors
    ///
    /// [`Undefined::Unequal`] if the numbers of errors and marks differ, [`Undefined::NotApplicable`] if no size is in every check.
    pub fn new(errors: &Sample, marks: &[Mark], limits: Limits) -> Result<Self, Undefined> {
        let number = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
        if errors.bases().len() != marks.len() {
            let (one, other) = (errors.count(), number(marks.len()));
            let (fewest, most) = (one.min(other), one.max(other));
            return Err(Undefined::Unequal { fewest, most });
        }
        let mut checks: BTreeMap<&str, Check> = BTreeMap::new();
        for (error, mark) in errors.bases().iter().zip(marks) {
            let check = checks.entry(&mark.check).or_insert_with(|| Check {
                at: mark.at,
                month: mark.month.clone(),
                sizes: BTreeMap::new(),
            });
            if mark.at < check.at {
                check.at = mark.at;
                check.month.clone_from(&mark.month);
            }
            check.sizes.entry(mark.size).or_default().push(*error);
        }
        let mut checks: Vec<Check> = checks.into_values().collect();
        checks.sort_by_key(|check| check.at);
        let partial = leave_out_partial(&mut checks);
        if checks.iter().any(|check| check.sizes.is_empty()) {
            return Err(Undefined::NotApplicable {
                why: "no block size is in every verification series",
            });
        }
        let means: Vec<i64> = checks.iter().map(Check::mean).collect();
        let times = checks.iter().map(|check| check.at).collect();
        let kept: Vec<i64> = checks.iter().flat_map(Check::errors).collect();
        Ok(Self {
            drift: Drift::new(&errors.part(&means)?, times, limits)?.per(MONTH),
            errors: errors.part(&kept)?,
            partial: partial
                .iter()
                .map(|size| errors.scale().in_unit(*size))
                .collect(),
            checks,
            limits,
        })
    }

    /// The line through the mean errors of the checks.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] below 3 checks; [`Undefined::OutOfRange`] if all have the same time.
    pub fn trend(&self) -> Result<Trend, Undefined> {
        if self.checks.len() < FEWEST_CHECKS {
            return Err(Undefined::NotApplicable {
                why: "a drift needs at least 3 verification series",
            });
        }
        self.drift.trend()
    }

    /// The mean error and the time of each check.
    pub fn points(&self) -> impl Iterator<Item = (i64, i64)> {
        let means = self.drift.sample().bases().iter().copied();
        self.checks.iter().map(|check| check.at).zip(means)
    }

    /// The limits of an error.
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// The errors at the sizes that every check has.
    pub fn errors(&self) -> &Sample {
        &self.errors
    }

    /// How far rounding may have moved the mean error of a check: half a step where single errors spread by less than that about
    /// the line, size by size. Then the readings of a check may all be rounded the same way, and more of them do not help.
    ///
    /// ```text
    /// r = e - ē(size) - b (t - t̄(size)),   √( Σ r² / (N - sizes - 1) ) < step/2
    /// ```
    ///
    /// The same where all checks lie on the line. 0 without a known resolution.
    ///
    /// # Errors
    ///
    /// Those of [`Self::trend`].
    pub fn may_be_off(&self) -> Result<f64, Undefined> {
        let trend = self.trend()?;
        let Ok(step) = self.errors.summary().step() else {
            return Ok(0.0);
        };
        let mut sizes: BTreeMap<i64, Vec<(f64, f64)>> = BTreeMap::new();
        let scale = self.errors.scale();
        for check in &self.checks {
            let time = float(check.at.into()) - trend.middle;
            for (size, errors) in &check.sizes {
                let points = errors.iter().map(|error| (time, scale.in_unit(*error)));
                sizes.entry(*size).or_default().extend(points);
            }
        }
        let squares = |points: &Vec<(f64, f64)>| {
            let n = float_of(points.len());
            let time = points.iter().map(|(time, _)| time).sum::<f64>() / n;
            let error = points.iter().map(|(_, error)| error).sum::<f64>() / n;
            let off = points
                .iter()
                .map(|(at, of)| of - error - trend.slope * (at - time));
            off.map(|off| off * off).sum::<f64>()
        };
        let freedom = self.errors.summary().n() - float_of(sizes.len()) - 1.0;
        let sum: f64 = sizes.values().map(squares).sum();
        let is_near = freedom < 1.0 || (sum / freedom).sqrt() < step / 2.0;
        let is_hidden = is_near || trend.residual_sd <= 0.0;
        Ok(if is_hidden { step / 2.0 } else { 0.0 })
    }

    /// What rounding may make of the drift, per month.
    ///
    /// ```text
    /// off · Σ |t - t̄| / Σ (t - t̄)²
    /// ```
    fn slope_may_be_off(&self) -> Result<f64, Undefined> {
        let (off, trend) = (self.may_be_off()?, self.trend()?);
        let away = |check: &Check| (float(check.at.into()) - trend.middle).abs();
        let all: f64 = self.checks.iter().map(away).sum();
        Ok(off * all / trend.place_squares * float(MONTH.into()))
    }

    /// The drift, in units of the readings per month (30.44 days): the slope of the line of least squares through the mean errors of
    /// the checks.
    pub fn slope(&self) -> Result<f64, Undefined> {
        Ok(self.trend()?.slope * float(MONTH.into()))
    }

    /// The confidence interval of the drift.
    ///
    /// ```text
    /// b ± ( t(0.975; m-2) s/√Σ(t - t̄)² + what rounding may make )
    /// ```
    ///
    /// m checks, s the standard deviation of their mean errors about the line. docs/coverage.md says how often it holds.
    ///
    /// # Errors
    ///
    /// Those of [`Self::trend`], and [`Undefined::NoSpread`] if all mean errors lie on the line and the resolution is not known.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::{quantity::Unit, stats::{Limits, Sample, stability::{MONTH, Mark, Stability}}};
    /// // Four monthly checks of a block of 25 mm, in micrometres: 0, 10, 30 and 40.
    /// let errors = [0, 10, 30, 40].map(|error: i64| 1_000 * error).to_vec();
    /// let mark = |month: i64| Mark {
    ///     check: format!("{month}"),
    ///     size: 25_000_000,
    ///     at: month * MONTH,
    ///     month: format!("2026-0{}", month + 1),
    /// };
    /// let marks: Vec<Mark> = (0..4).map(mark).collect();
    /// let of = Stability::new(&Sample::from_bases(errors, Unit::Millimetre)?, &marks, Limits::default())?;
    /// // 14 µm a month; s = √(20/2) µm, √Σ(t - t̄)² = √5 months, t(0.975; 2) = 4.303.
    /// assert!((of.slope()? - 0.014).abs() < 1e-12);
    /// assert!((of.slope_bounds()?.0 - (0.014 - 4.302_653 * 0.001_414_214)).abs() < 1e-8);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn slope_bounds(&self) -> Result<(f64, f64), Undefined> {
        let (trend, off) = (self.trend()?, self.slope_may_be_off()?);
        if trend.residual_sd <= 0.0 && off <= 0.0 {
            let count = self.errors.count();
            return Err(Undefined::NoSpread { count });
        }
        let (low, high) = trend.slope_bounds(CONFIDENCE)?;
        let per = float(MONTH.into());
        Ok((low * per - off, high * per + off))
    }

    /// The two-sided p-value of no drift, after what rounding may make is taken off.
    ///
    /// # Errors
    ///
    /// As [`Self::slope_bounds`], and [`Undefined::NotApplicable`] if all mean errors lie on the line.
    pub fn slope_p(&self) -> Result<f64, Undefined> {
        let (trend, off) = (self.trend()?, self.slope_may_be_off()?);
        let beyond = (self.slope()?.abs() - off).max(0.0);
        if trend.residual_sd <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "the mean errors of all verification series lie on the line",
            });
        }
        let error = trend.residual_sd / trend.place_squares.sqrt() * float(MONTH.into());
        Ok(StudentT::new(trend.n - 2.0)?.two_sided(beyond / error))
    }

    /// The months from the first check to the last.
    pub fn span(&self) -> f64 {
        let ends = self.checks.first().zip(self.checks.last());
        let span = ends.map_or(0, |(first, last)| last.at.saturating_sub(first.at));
        float(span.into()) / float(MONTH.into())
    }

    /// The repeatability: the standard deviation of readings of one size within one check.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] if no check has a size twice.
    pub fn within_sd(&self) -> Result<f64, Undefined> {
        let (mut squares, mut freedom) = (0.0, 0.0);
        let scale = self.errors.scale();
        for errors in self.checks.iter().flat_map(|check| check.sizes.values()) {
            let middle = mean_of(errors);
            let off = errors
                .iter()
                .map(|error| (float((*error).into()) - middle).powi(2));
            squares += off.sum::<f64>();
            freedom += float_of(errors.len()) - 1.0;
        }
        if freedom < 1.0 {
            return Err(Undefined::NotApplicable {
                why: "no block was measured twice in a verification series",
            });
        }
        let one = scale.in_unit(1);
        Ok((squares / freedom).sqrt() * one)
    }
}

/// Takes sizes that are not in every check out of all of them, and returns these.
fn leave_out_partial(checks: &mut [Check]) -> BTreeSet<i64> {
    let all: BTreeSet<i64> = checks
        .iter()
        .flat_map(|check| check.sizes.keys().copied())
        .collect();
    let is_partial = |size: &i64| !checks.iter().all(|check| check.sizes.contains_key(size));
    let partial: BTreeSet<i64> = all.into_iter().filter(is_partial).collect();
    for check in checks {
        check.sizes.retain(|size, _| !partial.contains(size));
    }
    partial
}

/// The figures of `study stability`.
pub const FIGURES: &[Figure<Stability>] = &[
    row("n", "readings", FigureKind::Count, |of| {
        Ok(of.errors.summary().n())
    }),
    row("checks", "verification series", FigureKind::Count, |of| {
        Ok(float_of(of.checks.len()))
    }),
    row("slope", "drift", FigureKind::Slope, Stability::slope),
    row(
        "slope_low",
        "drift, lower confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.slope_bounds()?.0),
    ),
    row(
        "slope_high",
        "drift, upper confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.slope_bounds()?.1),
    ),
    row(
        "slope_p",
        "p of no drift",
        FigureKind::Probability,
        Stability::slope_p,
    ),
    row(
        "residual_sd",
        "standard deviation of verification series about the line",
        FigureKind::Reading,
        |of| Ok(of.trend()?.residual_sd),
    ),
    row(
        "within_sd",
        "standard deviation of repeated readings of a block",
        FigureKind::Reading,
        Stability::within_sd,
    ),
];
