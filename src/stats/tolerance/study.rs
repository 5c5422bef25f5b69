//! Which tolerance and prediction intervals a set of readings allows, and what may be said of them.
//!
//! In: readings in order with their limits, and what is required. Out: the figures of both methods, the method that
//! counts, and a sentence. An interval is about pieces that were not measured, so it is claimed only if its preconditions
//! hold: enough pieces, a stable process, independent pieces; for the normal method also a normal distribution.

use super::free::{self, Between};
use super::{Interval, Side, factor, prediction};
use crate::quantity::named;
use crate::stats::capability::{Capability, Claim, Ground, why_not};
use crate::stats::describe::{mean, sd};
use crate::stats::figures::row;
use crate::stats::rounding::sd_at_least_of_step;
use crate::stats::sample::counted;
use crate::stats::text::{fixed, percent};
use crate::stats::{CONFIDENCE, Figure, FigureKind, Limits, Sample, Summary, Undefined, normality};

/// Significance level of the normality test that chooses the method.
const SHAPE: f64 = 0.05;
const ONE_SIDED: Undefined = Undefined::NotApplicable {
    why: "the interval has one end",
};

named! {
    /// On what an interval rests.
    pub enum Method {
        /// The distribution is normal.
        Normal = "normal",
        /// Any distribution: the interval lies between readings.
        Any = "any",
    }
}

/// The lower and the upper end of an interval, where it has them.
type Ends = (Option<f64>, Option<f64>);

/// What is required of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Required {
    /// The share of all pieces, between 0 and 1.
    pub content: f64,
    /// The confidence, between 0 and 1.
    pub confidence: f64,
    /// The ends.
    pub side: Side,
    /// Number of next pieces of the prediction interval.
    pub next: u64,
    /// The method; `None` is chosen by the normality test.
    pub method: Option<Method>,
}

impl Required {
    /// 99 % of all pieces and the next piece with 95 % confidence, with the ends that the limits have.
    pub fn usual(limits: &Limits) -> Self {
        Self {
            content: super::COVERAGE,
            confidence: CONFIDENCE,
            side: Side::of(limits),
            next: 1,
            method: None,
        }
    }
}

/// The intervals of a set of readings.
#[derive(Debug, Clone)]
pub struct Intervals {
    all: Summary,
    limits: Limits,
    required: Required,
    normality: Result<f64, Undefined>,
    grounds: Vec<Ground>,
}

impl Intervals {
    /// The intervals of readings; `order` are the same readings in order, or why the order is not known.
    pub fn new(
        all: Summary,
        order: Result<Sample, Undefined>,
        limits: Limits,
        required: Required,
    ) -> Self {
        let none = Err(Undefined::NoLimits);
        let tested = Capability::of_summary(all.clone(), none, limits).in_order(order);
        let grounds = tested.grounds().into_iter();
        // The agreement of Cpk and Ppk is a precondition of indices.
        let grounds = grounds.filter(|ground| ground.name != "cpk_ppk").collect();
        let normality = normality::normality_p(&all);
        Self {
            all,
            limits,
            required,
            normality,
            grounds,
        }
    }

    /// What is required.
    pub fn required(&self) -> Required {
        self.required
    }

    /// The method that counts: the required one; without one, that of any distribution if normality is rejected.
    pub fn method(&self) -> Method {
        let is_rejected = self.normality.is_ok_and(|p| p < SHAPE);
        self.required.method.unwrap_or(if is_rejected {
            Method::Any
        } else {
            Method::Normal
        })
    }

    /// `mean ± k s` with s of [`sd_at_least_of_step`].
    fn around(&self, factor: f64) -> Result<Interval, Undefined> {
        let (sd, _) = sd_at_least_of_step(&self.all)?;
        let (low, high) = self.required.side.around(mean(&self.all)?, factor * sd);
        Ok(Interval { factor, low, high })
    }

    /// The tolerance interval of a normal distribution.
    pub fn normal(&self) -> Result<Interval, Undefined> {
        let of = self.required;
        self.around(factor(
            of.side,
            self.all.count(),
            of.content,
            of.confidence,
        )?)
    }

    /// The tolerance interval of any distribution.
    pub fn any(&self) -> Result<Between, Undefined> {
        let of = self.required;
        free::interval(&self.all, of.side, of.content, of.confidence)
    }

    /// The prediction interval of a normal distribution.
    pub fn normal_next(&self) -> Result<Interval, Undefined> {
        let of = self.required;
        let factor = prediction::factor(of.side, self.all.count(), of.next, of.confidence)?;
        self.around(factor)
    }

    /// The prediction interval of any distribution.
    pub fn any_next(&self) -> Result<Between, Undefined> {
        let of = self.required;
        prediction::interval(&self.all, of.side, of.next, of.confidence)
    }

    /// Whether the standard deviation is that of the resolution, because the readings show a smaller one.
    pub fn is_of_resolution(&self) -> bool {
        sd_at_least_of_step(&self.all).is_ok_and(|(_, is_of_step)| is_of_step)
    }

    /// The ends of the tolerance interval and of the prediction interval of the method that counts.
    fn ends(&self) -> [Result<Ends, Undefined>; 2] {
        let normal = |of: Interval| (of.low, of.high);
        let any = |of: Between| (of.low, of.high);
        match self.method() {
            Method::Normal => [self.normal().map(normal), self.normal_next().map(normal)],
            Method::Any => [self.any().map(any), self.any_next().map(any)],
        }
    }

    /// Whether ends lie within the limits; `None` without limits. An interval without an end keeps no limit on that side.
    fn is_within(&self, ends: Ends) -> Option<bool> {
        let keeps = |limit: Result<f64, Undefined>, end: Option<f64>, sign: f64| {
            let limit = limit.ok()?;
            Some(end.is_some_and(|end| sign * (end - limit) >= 0.0))
        };
        let low = keeps(self.limits.lower_of(&self.all), ends.0, 1.0);
        let high = keeps(self.limits.upper_of(&self.all), ends.1, -1.0);
        if low.is_none() && high.is_none() {
            return None;
        }
        Some(low.unwrap_or(true) && high.unwrap_or(true))
    }

    /// The preconditions of the method that counts.
    fn grounds(&self) -> Vec<Ground> {
        let needs_shape = self.method() == Method::Normal;
        let all = self.grounds.iter();
        all.filter(|ground| needs_shape || ground.name != "normal")
            .cloned()
            .collect()
    }

    /// What may be said of the intervals; numbers have `places` decimals. Shown is the tolerance interval, if its
    /// preconditions hold and it lies within the limits, as far as there are any.
    pub fn claim(&self, places: usize) -> Claim {
        let grounds = self.grounds();
        let [tolerance, next] = self.ends();
        let next = self.next_words(next, places);
        let (interval, within) = match tolerance {
            Ok(ends) => (self.tolerance_words(ends, places), self.is_within(ends)),
            Err(reason) => (format!("no tolerance interval: {reason}"), Some(false)),
        };
        let holds = grounds.iter().all(|ground| ground.holds);
        let sentence = if holds {
            format!("{interval}; {next}")
        } else {
            format!(
                "not claimed, {}; if the preconditions held: {interval}; {next}",
                why_not(&grounds)
            )
        };
        Claim {
            shown: holds && within != Some(false),
            grounds,
            sentence,
        }
    }

    fn tolerance_words(&self, ends: Ends, places: usize) -> String {
        let limits = match self.is_within(ends) {
            Some(true) => ", within the limits",
            Some(false) => ", NOT within the limits",
            None => "",
        };
        format!(
            "with {} confidence at least {} of all pieces lie {}{limits}",
            percent(self.required.confidence),
            percent(self.required.content),
            self.ends_words(ends, places),
        )
    }

    fn next_words(&self, next: Result<Ends, Undefined>, places: usize) -> String {
        let which = match self.required.next {
            1 => "the next piece lies".to_owned(),
            several => format!("the next {several} pieces all lie"),
        };
        match next {
            Ok(ends) => format!(
                "with {} confidence {which} {}",
                percent(self.required.confidence),
                self.ends_words(ends, places)
            ),
            Err(reason) => format!("no prediction interval: {reason}"),
        }
    }

    fn ends_words(&self, ends: Ends, places: usize) -> String {
        let unit = self.all.unit();
        let of = |end: f64| format!("{} {unit}", fixed(end, places));
        match ends {
            (Some(low), Some(high)) => format!("between {} and {}", of(low), of(high)),
            (Some(low), None) => format!("above {}", of(low)),
            (None, Some(high)) => format!("below {}", of(high)),
            (None, None) => "anywhere".to_owned(),
        }
    }
}

/// The figures of `study tolerance`.
///
/// - `tolerance_…` is `mean ± k s` of a normal distribution; the factor is exact ([`super::two_sided_factor`],
///   [`super::one_sided_factor`]), s is that of [`sd_at_least_of_step`].
/// - `any_…` lies between readings ([`free::interval`]), for any distribution.
/// - `prediction_…` and `any_prediction_…` contain all of the next pieces ([`prediction`]).
pub const FIGURES: &[Figure<Intervals>] = &[
    row("n", "readings", FigureKind::Count, |of| Ok(of.all.n())),
    row("mean", "mean", FigureKind::Reading, |of| mean(&of.all)),
    row("sd", "standard deviation", FigureKind::Reading, |of| {
        sd(&of.all)
    }),
    row(
        "normality_p",
        "p of the normality test, resolution allowed for",
        FigureKind::Probability,
        |of| of.normality,
    ),
    row(
        "content",
        "share of all pieces in the tolerance interval",
        FigureKind::Percent,
        |of| Ok(100.0 * of.required.content),
    ),
    row("confidence", "confidence", FigureKind::Percent, |of| {
        Ok(100.0 * of.required.confidence)
    }),
    row(
        "tolerance_k",
        "tolerance interval, normal distribution: factor k",
        FigureKind::Ratio,
        |of| Ok(of.normal()?.factor),
    ),
    row(
        "tolerance_low",
        "tolerance interval, normal distribution: lower end",
        FigureKind::Reading,
        |of| of.normal()?.low.ok_or(ONE_SIDED),
    ),
    row(
        "tolerance_high",
        "tolerance interval, normal distribution: upper end",
        FigureKind::Reading,
        |of| of.normal()?.high.ok_or(ONE_SIDED),
    ),
    row(
        "any_low",
        "tolerance interval, any distribution: lower end",
        FigureKind::Reading,
        |of| of.any()?.low.ok_or(ONE_SIDED),
    ),
    row(
        "any_high",
        "tolerance interval, any distribution: upper end",
        FigureKind::Reading,
        |of| of.any()?.high.ok_or(ONE_SIDED),
    ),
    row(
        "any_confidence",
        "tolerance interval, any distribution: confidence",
        FigureKind::Percent,
        |of| Ok(100.0 * of.any()?.confidence),
    ),
    row(
        "any_pieces",
        "readings that this needs at least",
        FigureKind::Count,
        |of| {
            let required = of.required;
            let pieces = free::pieces(required.side, required.content, required.confidence)?;
            Ok(counted(pieces))
        },
    ),
    row("next", "next pieces", FigureKind::Count, |of| {
        Ok(counted(of.required.next))
    }),
    row(
        "prediction_k",
        "prediction interval, normal distribution: factor k",
        FigureKind::Ratio,
        |of| Ok(of.normal_next()?.factor),
    ),
    row(
        "prediction_low",
        "prediction interval, normal distribution: lower end",
        FigureKind::Reading,
        |of| of.normal_next()?.low.ok_or(ONE_SIDED),
    ),
    row(
        "prediction_high",
        "prediction interval, normal distribution: upper end",
        FigureKind::Reading,
        |of| of.normal_next()?.high.ok_or(ONE_SIDED),
    ),
    row(
        "any_prediction_low",
        "prediction interval, any distribution: lower end",
        FigureKind::Reading,
        |of| of.any_next()?.low.ok_or(ONE_SIDED),
    ),
    row(
        "any_prediction_high",
        "prediction interval, any distribution: upper end",
        FigureKind::Reading,
        |of| of.any_next()?.high.ok_or(ONE_SIDED),
    ),
    row(
        "any_prediction_confidence",
        "prediction interval, any distribution: confidence",
        FigureKind::Percent,
        |of| Ok(100.0 * of.any_next()?.confidence),
    ),
];
