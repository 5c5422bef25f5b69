//! Gauge study: how much of the spread is the measuring?
//!
//! In: several appraisers measure the same parts several times each, in a balanced plan. Out: `ev`
//! (repeatability), `av` (appraisers), `grr` (both), `pv` (parts), `tv` (all), as standard deviations,
//! by the range method or by analysis of variance, and the number of distinct categories.

mod against_master;
mod anova_method;
mod bounds;
mod plan;
mod range_method;

pub use against_master::{FIGURES as MASTER_FIGURES, Master};
pub use anova_method::{Square, Table, by_anova};
pub use bounds::{Term, difference_bounds, sum_bounds};
pub use plan::{Plan, Trial};
pub use range_method::by_range;

use super::{Figure, Kind, Limits, Undefined};

/// The spread of measuring against the spread of parts; standard deviations, in the unit of the readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// `range` or `anova`.
    pub method: &'static str,
    /// Of the same appraiser measuring the same part again.
    pub ev: f64,
    /// Of the appraisers, with their interaction with parts.
    pub av: f64,
    /// Of the measuring in all: `√(ev² + av²)`.
    pub grr: f64,
    /// Of the parts.
    pub pv: f64,
    /// Of everything: `√(grr² + pv²)`.
    pub tv: f64,
    /// Two-sided 95 % bounds of ev, av, grr and pv, where the method has them.
    pub bounds: Option<Bounds>,
    /// The width of the tolerance, if there is one.
    pub tolerance: Result<f64, Undefined>,
}

/// Two-sided bounds at 95 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Of repeatability.
    pub ev: (f64, f64),
    /// Of the appraisers.
    pub av: (f64, f64),
    /// Of the measuring in all.
    pub grr: (f64, f64),
    /// Of the parts.
    pub pv: (f64, f64),
}

impl Study {
    /// With the width of the tolerance, to tell how much of it the measuring takes.
    #[must_use]
    pub fn within(self, plan: &Plan, limits: &Limits) -> Self {
        Self {
            tolerance: limits.width_of(plan.all().summary()),
            ..self
        }
    }

    /// How many kinds of parts the measuring can tell apart, before rounding down: `1.41 pv / grr`.
    pub fn categories(&self) -> Result<f64, Undefined> {
        if self.grr <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "the measuring shows no spread",
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
        self.bounds.ok_or(Undefined::NotApplicable {
            why: "the range method has no bounds; the analysis of variance has",
        })
    }

    /// Whether the instrument will do, in words. Under 10 % good, to 30 % with care, over it not (common
    /// practice of gauge studies, from memory).
    pub fn sentence(&self) -> String {
        let (share, of) = match (self.share_of_tolerance(), self.share_of_total(self.grr)) {
            (Ok(share), _) => (share, "of the tolerance"),
            (Err(_), Ok(share)) => (share, "of the whole spread"),
            (Err(_), Err(reason)) => return format!("nothing is shown: {reason}"),
        };
        let verdict = if share <= 10.0 {
            "the instrument and its handling will do"
        } else if share <= 30.0 {
            "the instrument and its handling will do for some purposes"
        } else {
            "the instrument and its handling will not do"
        };
        let worse = if self.ev >= self.av {
            "most of it is the same person measuring again"
        } else {
            "most of it is between the appraisers"
        };
        format!("measuring takes {share:.1} % {of}: {verdict}; {worse}")
    }
}

const fn row(
    name: &'static str,
    words: &'static str,
    kind: Kind,
    of: fn(&Study) -> Result<f64, Undefined>,
) -> Figure<Study> {
    Figure {
        name,
        words,
        kind,
        of,
    }
}

/// The figures of `study gauge`.
pub const FIGURES: &[Figure<Study>] = &[
    row("ev", "repeatability", Kind::Reading, |of| Ok(of.ev)),
    row(
        "ev_low",
        "repeatability, lower bound",
        Kind::Reading,
        |of| Ok(of.bounds()?.ev.0),
    ),
    row(
        "ev_high",
        "repeatability, upper bound",
        Kind::Reading,
        |of| Ok(of.bounds()?.ev.1),
    ),
    row("av", "appraisers", Kind::Reading, |of| Ok(of.av)),
    row("av_low", "appraisers, lower bound", Kind::Reading, |of| {
        Ok(of.bounds()?.av.0)
    }),
    row("av_high", "appraisers, upper bound", Kind::Reading, |of| {
        Ok(of.bounds()?.av.1)
    }),
    row("grr", "measuring in all", Kind::Reading, |of| Ok(of.grr)),
    row(
        "grr_low",
        "measuring in all, lower bound",
        Kind::Reading,
        |of| Ok(of.bounds()?.grr.0),
    ),
    row(
        "grr_high",
        "measuring in all, upper bound",
        Kind::Reading,
        |of| Ok(of.bounds()?.grr.1),
    ),
    row("pv", "parts", Kind::Reading, |of| Ok(of.pv)),
    row("pv_low", "parts, lower bound", Kind::Reading, |of| {
        Ok(of.bounds()?.pv.0)
    }),
    row("pv_high", "parts, upper bound", Kind::Reading, |of| {
        Ok(of.bounds()?.pv.1)
    }),
    row("tv", "whole spread", Kind::Reading, |of| Ok(of.tv)),
    row(
        "ev_percent",
        "repeatability in the whole spread",
        Kind::Percent,
        |of| of.share_of_total(of.ev),
    ),
    row(
        "av_percent",
        "appraisers in the whole spread",
        Kind::Percent,
        |of| of.share_of_total(of.av),
    ),
    row(
        "grr_percent",
        "measuring in the whole spread",
        Kind::Percent,
        |of| of.share_of_total(of.grr),
    ),
    row(
        "pv_percent",
        "parts in the whole spread",
        Kind::Percent,
        |of| of.share_of_total(of.pv),
    ),
    row(
        "grr_of_tolerance",
        "measuring in the tolerance",
        Kind::Percent,
        Study::share_of_tolerance,
    ),
    row(
        "ndc",
        "kinds of parts it can tell apart",
        Kind::Count,
        |of| Ok(of.categories()?.floor()),
    ),
];
