//! Gauge study: how much of the total variation comes from the measurement?
//!
//! In: several appraisers measure the same parts several times each, in a balanced plan. Out: the standard deviations
//! `ev` (repeatability), `av` (appraisers), `grr` (both), `pv` (parts) and `tv` (total), by the range method or by
//! analysis of variance; and the number of distinct categories.

mod against_master;
mod anova_method;
mod bounds;
mod expanded;
mod plan;
mod range_method;

pub use against_master::{FIGURES as MASTER_FIGURES, Master};
pub use anova_method::{Line, Square, Table, by_anova};
pub use bounds::{Term, difference_bounds, sum_bounds};
pub use expanded::expanded;
pub use plan::{Plan, Trial};
pub use range_method::by_range;

use super::figures::row;
use super::rounding::Warning;
use super::text::fixed;
use super::{Figure, FigureKind, Limits, Summary, Undefined};

const NOT_DECIDED: &str = "it is not decided whether the measurement system is acceptable (at most 30 %); more parts and appraisers narrow the interval";
const NO_BOUNDS: Undefined = Undefined::NotApplicable {
    why: "the range method has no confidence interval; use the analysis of variance",
};

/// Variation of measurement and parts, as standard deviations in the unit of the readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// `range`, `anova`, or `components` of an expanded or unbalanced study.
    pub method: &'static str,
    /// Repeatability: the same appraiser measures the same part again.
    pub ev: f64,
    /// Reproducibility: appraisers, including their interaction with parts.
    pub av: f64,
    /// Repeatability and reproducibility together: `√(ev² + av²)`.
    pub grr: f64,
    /// Part variation.
    pub pv: f64,
    /// Total variation: `√(grr² + pv²)`.
    pub tv: f64,
    /// Two-sided 95 % bounds of ev, av, grr and pv; `None` if the method has none.
    pub bounds: Option<Bounds>,
    /// Wider bounds, of which two hold jointly with 95 % confidence.
    pub bounds_of_two: Option<Bounds>,
    /// Still wider bounds, of which three hold jointly with 95 % confidence.
    pub bounds_of_three: Option<Bounds>,
    /// Whether the interaction of parts and appraisers was pooled with the error; `None` for the range method.
    pub pooled: Option<bool>,
    /// Width of the tolerance, or why there is none.
    pub tolerance: Result<f64, Undefined>,
}

/// Two-sided 95 % confidence bounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Repeatability.
    pub ev: (f64, f64),
    /// Reproducibility.
    pub av: (f64, f64),
    /// Repeatability and reproducibility together.
    pub grr: (f64, f64),
    /// Part variation.
    pub pv: (f64, f64),
}

impl Study {
    /// Adds the width of the tolerance, for the share of it that the measurement takes.
    #[must_use]
    pub fn within(self, all: &Summary, limits: &Limits) -> Self {
        Self {
            tolerance: limits.width_of(all),
            ..self
        }
    }

    /// The number of distinct categories, before rounding down: `1.41 pv / grr`.
    pub fn categories(&self) -> Result<f64, Undefined> {
        if self.grr <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "the measurements show no spread",
            });
        }
        Ok(1.41 * self.pv / self.grr)
    }

    fn share_of_total(&self, part: f64) -> Result<f64, Undefined> {
        if self.tv <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "the readings show no spread",
            });
        }
        Ok(100.0 * part / self.tv)
    }

    /// Bounds of a component's share of the total variation in percent, from joint bounds of its square and of the
    /// others.
    fn share_bounds(
        joint: Option<Bounds>,
        part: fn(&Bounds) -> (f64, f64),
        beside: fn(&Bounds) -> [(f64, f64); 2],
    ) -> Result<(f64, f64), Undefined> {
        let joint = joint.ok_or(NO_BOUNDS)?;
        let (low, high) = part(&joint);
        let rest = beside(&joint);
        let root = |end: fn((f64, f64)) -> f64| rest.iter().map(|of| end(*of).powi(2)).sum::<f64>();
        let share = |part: f64, rest: f64| {
            let whole = (part * part + rest).sqrt();
            if whole > 0.0 {
                100.0 * part / whole
            } else {
                0.0
            }
        };
        Ok((share(low, root(|of| of.1)), share(high, root(|of| of.0))))
    }

    /// Bounds of the share of repeatability in the total variation, in percent; conservative (Bonferroni).
    fn ev_share_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.share_of_total(self.ev)?;
        Self::share_bounds(self.bounds_of_three, |of| of.ev, |of| [of.av, of.pv])
    }

    /// Bounds of the share of reproducibility in the total variation, in percent; conservative (Bonferroni).
    fn av_share_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.share_of_total(self.av)?;
        Self::share_bounds(self.bounds_of_three, |of| of.av, |of| [of.ev, of.pv])
    }

    /// Bounds of the share of GRR in the total variation, in percent; conservative (Bonferroni).
    fn grr_share_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.share_of_total(self.grr)?;
        Self::share_bounds(self.bounds_of_two, |of| of.grr, |of| [of.pv, (0.0, 0.0)])
    }

    /// Bounds of the share of part variation in the total variation, in percent; conservative (Bonferroni).
    fn pv_share_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.share_of_total(self.pv)?;
        Self::share_bounds(self.bounds_of_two, |of| of.pv, |of| [of.grr, (0.0, 0.0)])
    }

    /// Bounds of [`Self::categories`]; conservative (Bonferroni).
    fn categories_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.categories()?;
        let joint = self.bounds_of_two.ok_or(NO_BOUNDS)?;
        if joint.grr.0 <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "GRR may be zero",
            });
        }
        Ok((
            1.41 * joint.pv.0 / joint.grr.1,
            1.41 * joint.pv.1 / joint.grr.0,
        ))
    }

    /// Bounds of [`Self::share_of_tolerance`].
    fn share_of_tolerance_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.share_of_tolerance()?;
        let (width, (low, high)) = (self.tolerance?, self.bounds()?.grr);
        Ok((600.0 * low / width, 600.0 * high / width))
    }

    /// The standard deviation that rounding may hide: that of the resolution, where repeatability is under half of it.
    fn hidden(&self, step: Option<f64>) -> Option<f64> {
        let coarse = step.filter(|step| self.ev < step / 2.0);
        coarse.map(|step| step / 12.0_f64.sqrt())
    }

    /// The upper bound of GRR in percent with `hidden` added, of the tolerance or else of the total variation.
    fn most_with(&self, hidden: f64) -> Result<f64, Undefined> {
        if let Ok(width) = self.tolerance {
            return Ok(600.0 * self.bounds()?.grr.1.hypot(hidden) / width);
        }
        let joint = self.bounds_of_two.ok_or(NO_BOUNDS)?;
        let grr = joint.grr.1.hypot(hidden);
        Ok(100.0 * grr / grr.hypot(joint.pv.0))
    }

    /// Warns if the resolution is too coarse for the repeatability.
    pub fn warnings(&self, step: Option<f64>) -> Vec<Warning> {
        let coarse = self.hidden(step).is_some();
        let warning = Warning {
            name: "ev_under_half_a_step",
            words: "repeatability (EV) is under half of the resolution: it describes the resolution more than the measurement; use a finer instrument",
        };
        coarse.then_some(warning).into_iter().collect()
    }

    /// Six `grr` as a share of the tolerance, in percent.
    pub fn share_of_tolerance(&self) -> Result<f64, Undefined> {
        let width = self.tolerance?;
        if width <= 0.0 {
            return Err(Undefined::OutOfRange {
                what: "the width of the tolerance",
            });
        }
        Ok(600.0 * self.grr / width)
    }

    fn bounds(&self) -> Result<Bounds, Undefined> {
        self.bounds.ok_or(NO_BOUNDS)
    }

    /// Whether the measurement system is acceptable, judged by the confidence interval and not by the estimate: up to
    /// 10 % yes, up to 30 % for some uses, above that no (common practice of gauge studies, from memory).
    ///
    /// Where repeatability is under half of the resolution, the upper bound that is judged has the standard deviation of
    /// the resolution too, `step/√12`: readings that are all rounded the same way do not show their errors.
    pub fn sentence(&self, step: Option<f64>) -> String {
        let (share, bounds, of) = match (self.share_of_tolerance(), self.share_of_total(self.grr)) {
            (Ok(share), _) => (share, self.share_of_tolerance_bounds(), "of the tolerance"),
            (Err(_), Ok(share)) => (share, self.grr_share_bounds(), "of the total variation"),
            (Err(_), Err(reason)) => return format!("GRR has no value: {reason}"),
        };
        let share = fixed(share, 1);
        let (low, found) = match bounds {
            Ok(bounds) => bounds,
            Err(reason) => {
                let why = reason.alone();
                return format!(
                    "GRR is {share} % {of}; the measurement system cannot be judged: {why}"
                );
            }
        };
        let (high, hidden) = match self.hidden(step).map(|hidden| self.most_with(hidden)) {
            Some(Ok(most)) => (
                found.max(most),
                format!(", with what rounding hides at most {} %", fixed(most, 1)),
            ),
            Some(Err(_)) | None => (found, String::new()),
        };
        let verdict = if high <= 10.0 {
            "the measurement system is acceptable"
        } else if high <= 30.0 && low > 10.0 {
            "the measurement system is acceptable for some uses"
        } else if high <= 30.0 {
            "the measurement system is acceptable for some uses at least"
        } else if low > 30.0 {
            "the measurement system is not acceptable"
        } else {
            NOT_DECIDED
        };
        let worse = if self.ev >= self.av {
            "the larger part of it is repeatability (EV)"
        } else {
            "the larger part of it is reproducibility (AV)"
        };
        let supposed = if self.tolerance.is_ok() {
            ""
        } else {
            "; this supposes that these parts spread as all parts do"
        };
        format!(
            "GRR is {share} % {of} (95 % confidence interval: {low} to {found} %{hidden}): {verdict}; {worse}{supposed}",
            low = fixed(low, 1),
            found = fixed(found, 1)
        )
    }
}

/// The figures of `study gauge`.
pub const FIGURES: &[Figure<Study>] = &[
    row("ev", "repeatability (EV)", FigureKind::Reading, |of| {
        Ok(of.ev)
    }),
    row(
        "ev_low",
        "repeatability (EV), lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.ev.0),
    ),
    row(
        "ev_high",
        "repeatability (EV), upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.ev.1),
    ),
    row("av", "reproducibility (AV)", FigureKind::Reading, |of| {
        Ok(of.av)
    }),
    row(
        "av_low",
        "reproducibility (AV), lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.av.0),
    ),
    row(
        "av_high",
        "reproducibility (AV), upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.av.1),
    ),
    row(
        "grr",
        "repeatability and reproducibility (GRR)",
        FigureKind::Reading,
        |of| Ok(of.grr),
    ),
    row(
        "grr_low",
        "repeatability and reproducibility (GRR), lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.grr.0),
    ),
    row(
        "grr_high",
        "repeatability and reproducibility (GRR), upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.grr.1),
    ),
    row("pv", "part variation (PV)", FigureKind::Reading, |of| {
        Ok(of.pv)
    }),
    row(
        "pv_low",
        "part variation (PV), lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.pv.0),
    ),
    row(
        "pv_high",
        "part variation (PV), upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.pv.1),
    ),
    row("tv", "total variation (TV)", FigureKind::Reading, |of| {
        Ok(of.tv)
    }),
    row(
        "ev_percent",
        "EV in the total variation",
        FigureKind::Percent,
        |of| of.share_of_total(of.ev),
    ),
    row(
        "ev_percent_low",
        "EV in the total variation, lower confidence bound",
        FigureKind::Percent,
        |of| Ok(of.ev_share_bounds()?.0),
    ),
    row(
        "ev_percent_high",
        "EV in the total variation, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.ev_share_bounds()?.1),
    ),
    row(
        "av_percent",
        "AV in the total variation",
        FigureKind::Percent,
        |of| of.share_of_total(of.av),
    ),
    row(
        "av_percent_low",
        "AV in the total variation, lower confidence bound",
        FigureKind::Percent,
        |of| Ok(of.av_share_bounds()?.0),
    ),
    row(
        "av_percent_high",
        "AV in the total variation, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.av_share_bounds()?.1),
    ),
    row(
        "grr_percent",
        "GRR in the total variation",
        FigureKind::Percent,
        |of| of.share_of_total(of.grr),
    ),
    row(
        "grr_percent_low",
        "GRR in the total variation, lower confidence bound",
        FigureKind::Percent,
        |of| Ok(of.grr_share_bounds()?.0),
    ),
    row(
        "grr_percent_high",
        "GRR in the total variation, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.grr_share_bounds()?.1),
    ),
    row(
        "pv_percent",
        "PV in the total variation",
        FigureKind::Percent,
        |of| of.share_of_total(of.pv),
    ),
    row(
        "pv_percent_low",
        "PV in the total variation, lower confidence bound",
        FigureKind::Percent,
        |of| Ok(of.pv_share_bounds()?.0),
    ),
    row(
        "pv_percent_high",
        "PV in the total variation, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.pv_share_bounds()?.1),
    ),
    row(
        "grr_of_tolerance",
        "GRR in the tolerance",
        FigureKind::Percent,
        Study::share_of_tolerance,
    ),
    row(
        "grr_of_tolerance_low",
        "GRR in the tolerance, lower confidence bound",
        FigureKind::Percent,
        |of| Ok(of.share_of_tolerance_bounds()?.0),
    ),
    row(
        "grr_of_tolerance_high",
        "GRR in the tolerance, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.share_of_tolerance_bounds()?.1),
    ),
    row(
        "ndc",
        "number of distinct categories (ndc)",
        FigureKind::Count,
        |of| Ok(of.categories()?.floor()),
    ),
    row(
        "ndc_low",
        "number of distinct categories (ndc), lower confidence bound",
        FigureKind::Count,
        |of| Ok(of.categories_bounds()?.0.floor()),
    ),
    row(
        "ndc_high",
        "number of distinct categories (ndc), upper confidence bound",
        FigureKind::Count,
        |of| Ok(of.categories_bounds()?.1.floor()),
    ),
];
