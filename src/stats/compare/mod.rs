//! Compares two or more groups of readings: tools, nests, before and after.
//!
//! In: named samples of one axis, and a margin below which a difference does not matter. Out: the difference of means
//! with its confidence interval, whether the standard deviations differ, whether the means are equivalent, and a
//! sentence for a customer.

mod anova;
mod independent;
mod spread;
mod welch;

pub use anova::{Anova, FIGURES as ANOVA_FIGURES, anova};
pub use independent::{anova_of_independent, is_correlated};
pub use spread::{bartlett, brown_forsythe, variance_ratio, variance_ratio_bounds};
pub use welch::{Difference, pooled, welch};

use super::describe::{mean, sd};
use super::figures::{decimals, row};
use super::rounding::mean_may_be_off;
use super::sample::float;
use super::text::{fixed, percent};
use super::{CONFIDENCE, Figure, FigureKind, Limits, Sample, Undefined, proportion};
use std::sync::OnceLock;

/// A comparison of two samples.
#[derive(Debug, Clone)]
pub struct Comparison {
    first: (String, Sample),
    second: (String, Sample),
    margin: Option<f64>,
    limits: Limits,
    confidence: f64,
    /// Whether the readings of the first, and of the second, are correlated.
    correlated: OnceLock<[bool; 2]>,
}

impl Comparison {
    /// Compares `second` with `first`; differences are second minus first. `margin` is the difference that does not
    /// matter, in the unit of the readings.
    pub fn new(
        first: (impl Into<String>, Sample),
        second: (impl Into<String>, Sample),
        margin: Option<f64>,
    ) -> Self {
        Self {
            first: (first.0.into(), first.1),
            second: (second.0.into(), second.1),
            margin,
            limits: Limits::default(),
            confidence: CONFIDENCE,
            correlated: OnceLock::new(),
        }
    }

    /// Adds limits, so that the shares of readings outside them are figures too.
    #[must_use]
    pub fn against(self, limits: Limits) -> Self {
        Self { limits, ..self }
    }

    /// Shares the significance level among `comparisons` of one study (Bonferroni): the confidence of each is `1 -
    /// 0.05/comparisons`.
    #[must_use]
    pub fn among(self, comparisons: usize) -> Self {
        let share = super::sample::float_of(comparisons.max(1));
        Self {
            confidence: 1.0 - (1.0 - CONFIDENCE) / share,
            ..self
        }
    }

    /// The names of both.
    pub fn names(&self) -> (&str, &str) {
        (&self.first.0, &self.second.0)
    }

    /// Both samples.
    pub fn samples(&self) -> (&Sample, &Sample) {
        (&self.first.1, &self.second.1)
    }

    /// The confidence of the bounds of the difference.
    pub fn confidence(&self) -> f64 {
        self.confidence
    }

    /// Difference of the means, second minus first, by Welch's method.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] if the readings of a group are correlated: the method takes them as independent.
    /// Otherwise those of [`welch`].
    pub fn difference(&self) -> Result<Difference, Undefined> {
        self.of_independent()?;
        welch(&self.second.1, &self.first.1)
    }

    /// Bounds of the difference, wider by what rounding may make of it.
    fn bounds(&self) -> Result<(f64, f64), Undefined> {
        self.bounds_at(self.confidence)
    }

    fn bounds_at(&self, confidence: f64) -> Result<(f64, f64), Undefined> {
        let (low, high) = self.difference()?.bounds(confidence)?;
        let off = self.may_be_off()?;
        Ok((low - off, high + off))
    }

    /// How much of the difference rounding alone may make.
    fn may_be_off(&self) -> Result<f64, Undefined> {
        let of = |sample: &Sample| mean_may_be_off(sample.summary());
        Ok(of(&self.first.1)? + of(&self.second.1)?)
    }

    /// Significance level of a comparison: 5 %, shared by all comparisons of a study.
    pub fn alpha(&self) -> f64 {
        1.0 - self.confidence
    }

    /// P-value of two one-sided tests of equivalence within the margin.
    pub fn equivalence_p(&self) -> Result<f64, Undefined> {
        let margin = self.margin.ok_or(Undefined::NotApplicable {
            why: "no margin was given",
        })?;
        if !(margin > 0.0 && margin.is_finite()) {
            return Err(Undefined::OutOfRange { what: "the margin" });
        }
        let left = margin - self.may_be_off()?;
        if left <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "the readings spread by less than half of the resolution, so rounding alone may make a difference as large as the margin",
            });
        }
        self.difference()?.equivalence_p(left)
    }

    /// The confidence interval of the equivalence test. It lies within the margin exactly if the means are equivalent.
    /// Its confidence is `1 - 2 alpha`, 90 % for a single comparison.
    pub fn equivalence_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.bounds_at(1.0 - 2.0 * self.alpha())
    }

    /// Ratio of the standard deviations, second to first.
    pub fn sd_ratio(&self) -> Result<f64, Undefined> {
        Ok(variance_ratio(&self.second.1, &self.first.1)?.sqrt())
    }

    /// Bounds of the ratio at the confidence of the comparison, for normal readings.
    pub fn sd_ratio_bounds(&self) -> Result<(f64, f64), Undefined> {
        let (low, high) = self.ratio_bounds(self.confidence)?;
        Ok((low.sqrt(), high.sqrt()))
    }

    /// Number of readings outside the limits, and the upper confidence bound of their share in percent.
    fn outside(&self, of: &Sample) -> Result<(u64, f64), Undefined> {
        self.of_independent()?;
        let outside = proportion::outside(of.summary(), &self.limits)?;
        let most = proportion::upper_bound(outside, of.count(), self.confidence)?;
        Ok((outside, 100.0 * most))
    }

    /// Means, standard deviations, equivalence of means and shares outside the limits, in words.
    pub fn sentence(&self) -> String {
        if let Some(name) = self.wanders() {
            let (first, second) = self.names();
            let compared = format!(
                "the means and standard deviations of {first} and {second} are not compared: readings of {name} have a lag-1 autocorrelation, which makes the intervals too narrow; look for a drift"
            );
            return [Some(compared), self.equivalence_in_words()]
                .into_iter()
                .flatten()
                .collect::<Vec<_>>()
                .join("; ");
        }
        let means = [self.means_in_words(), self.spread_in_words()];
        let more = [self.equivalence_in_words(), self.outside_in_words()];
        let parts: Vec<String> = means
            .into_iter()
            .chain(more.into_iter().flatten())
            .collect();
        parts.join("; ")
    }

    fn means_in_words(&self) -> String {
        let ((first, second), unit) = (self.names(), self.first.1.unit());
        let (difference, (low, high)) = match (self.difference(), self.bounds()) {
            (Ok(difference), Ok(bounds)) => (difference.difference, bounds),
            (Err(reason), _) | (_, Err(reason)) => {
                return format!("the means cannot be compared: {reason}");
            }
        };
        let digits = |value: f64| self.digits(value);
        let rounding = match self.may_be_off() {
            Ok(off) if off > 0.0 => ", rounding allowed for",
            Ok(_) | Err(_) => "",
        };
        let sure = format!("{} confidence interval{rounding}", percent(self.confidence));
        if low <= 0.0 && high >= 0.0 {
            return format!(
                "no significant difference of the means of {first} and {second}: {} {unit} ({sure}: {} to {} {unit})",
                digits(difference),
                digits(low),
                digits(high)
            );
        }
        let (side, near, far) = if difference > 0.0 {
            ("above", low, high)
        } else {
            ("below", -high, -low)
        };
        format!(
            "the mean of {second} lies {} {unit} {side} that of {first} ({sure}: {} to {} {unit})",
            digits(difference.abs()),
            digits(near),
            digits(far)
        )
    }

    fn spread_in_words(&self) -> String {
        let (first, second) = self.names();
        let ratio = match (self.sd_ratio(), self.sd_ratio_bounds()) {
            (Ok(ratio), Ok((low, high))) => format!(
                "the standard deviation of {second} is {} times that of {first} ({} confidence interval for normal readings: {} to {})",
                fixed(ratio, 2),
                percent(self.confidence),
                fixed(low, 2),
                fixed(high, 2)
            ),
            (Err(_), _) | (_, Err(_)) => "their ratio has no value".to_owned(),
        };
        let p = self.spread().map(|test| test.p);
        match p {
            Ok(p) if p < self.alpha() => ratio,
            Ok(_) => format!("no significant difference of the standard deviations: {ratio}"),
            Err(reason) => format!("the standard deviations cannot be compared: {reason}"),
        }
    }

    fn equivalence_in_words(&self) -> Option<String> {
        let margin = self.margin?;
        let unit = self.first.1.unit();
        let within = format!("within ±{} {unit}", self.digits(margin));
        let interval = self.equivalence_bounds().map(|(low, high)| {
            format!(
                "{} confidence interval of the difference: {} to {} {unit}",
                percent(1.0 - 2.0 * self.alpha()),
                self.digits(low),
                self.digits(high)
            )
        });
        if let Some(name) = self.wanders() {
            return Some(format!(
                "equivalence of the means {within} is not claimed: readings of {name} have a lag-1 autocorrelation, which makes the interval too narrow; look for a drift"
            ));
        }
        Some(match (self.equivalence_p(), interval) {
            (Ok(p), Ok(interval)) if p < self.alpha() => format!(
                "the means are equivalent {within} ({interval}); equivalent means say nothing about spread or single pieces"
            ),
            (Ok(_), Ok(interval)) => {
                format!("equivalence of the means {within} is not shown ({interval})")
            }
            (Err(reason), _) | (_, Err(reason)) => {
                format!("equivalence of the means {within} cannot be tested: {reason}")
            }
        })
    }

    /// Name of the first group with a significant lag-1 autocorrelation.
    fn wanders(&self) -> Option<&str> {
        let both = [&self.first, &self.second];
        let correlated = self
            .correlated
            .get_or_init(|| both.map(|(_, sample)| is_correlated(sample)));
        let mut found = both.into_iter().zip(correlated);
        let ((name, _), _) = found.find(|(_, correlated)| **correlated)?;
        Some(name)
    }

    fn outside_in_words(&self) -> Option<String> {
        let words = |(name, of): &(String, Sample)| {
            let (outside, most) = self.outside(of).ok()?;
            let count = of.count();
            Some(format!(
                "{outside} of {count} of {name} (at most {} %)",
                fixed(most, 1)
            ))
        };
        Some(format!(
            "outside the limits: {}, {} (upper confidence bounds, {})",
            words(&self.first)?,
            words(&self.second)?,
            percent(self.confidence)
        ))
    }

    /// A value with one decimal more than the readings have.
    fn digits(&self, value: f64) -> String {
        let step = self.first.1.summary().step().unwrap_or(1e-3);
        fixed(value, decimals(step) + 1)
    }
}

/// The figures of `study compare` for two groups. Differences are second minus first; bounds are at the
/// confidence of the comparison, 95 % for two groups.
pub const FIGURES: &[Figure<Comparison>] = &[
    row(
        "n_first",
        "readings of the first",
        FigureKind::Count,
        |of| Ok(of.first.1.summary().n()),
    ),
    row(
        "n_second",
        "readings of the second",
        FigureKind::Count,
        |of| Ok(of.second.1.summary().n()),
    ),
    row(
        "mean_first",
        "mean of the first",
        FigureKind::Reading,
        |of| mean(of.first.1.summary()),
    ),
    row(
        "mean_second",
        "mean of the second",
        FigureKind::Reading,
        |of| mean(of.second.1.summary()),
    ),
    row(
        "sd_first",
        "standard deviation of the first",
        FigureKind::Reading,
        |of| sd(of.first.1.summary()),
    ),
    row(
        "sd_second",
        "standard deviation of the second",
        FigureKind::Reading,
        |of| sd(of.second.1.summary()),
    ),
    row(
        "difference",
        "difference of means",
        FigureKind::Reading,
        |of| Ok(welch(&of.second.1, &of.first.1)?.difference),
    ),
    row(
        "difference_low",
        "difference, lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.0),
    ),
    row(
        "difference_high",
        "difference, upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.bounds()?.1),
    ),
    row("welch_t", "Welch's t", FigureKind::Ratio, |of| {
        Ok(of.difference()?.t)
    }),
    row(
        "welch_df",
        "Welch's degrees of freedom",
        FigureKind::Ratio,
        |of| Ok(of.difference()?.freedom),
    ),
    row(
        "welch_p",
        "p of Welch's test (difference of means)",
        FigureKind::Probability,
        |of| of.difference()?.p(),
    ),
    row("pooled_t", "pooled t", FigureKind::Ratio, |of| {
        Ok(of.pooled()?.t)
    }),
    row(
        "pooled_p",
        "p of the pooled t test",
        FigureKind::Probability,
        |of| of.pooled()?.p(),
    ),
    row(
        "variance_ratio",
        "ratio of variances, second to first",
        FigureKind::Ratio,
        |of| variance_ratio(&of.second.1, &of.first.1),
    ),
    row(
        "variance_ratio_low",
        "ratio of variances, lower confidence bound (95 %)",
        FigureKind::Ratio,
        |of| Ok(of.ratio_bounds(CONFIDENCE)?.0),
    ),
    row(
        "variance_ratio_high",
        "ratio of variances, upper confidence bound (95 %)",
        FigureKind::Ratio,
        |of| Ok(of.ratio_bounds(CONFIDENCE)?.1),
    ),
    row(
        "brown_forsythe_w",
        "Brown-Forsythe's W",
        FigureKind::Ratio,
        |of| Ok(of.spread()?.f),
    ),
    row(
        "brown_forsythe_p",
        "p of Brown-Forsythe's test (standard deviations)",
        FigureKind::Probability,
        |of| Ok(of.spread()?.p),
    ),
    row(
        "margin",
        "margin of equivalence",
        FigureKind::Reading,
        |of| {
            of.margin.ok_or(Undefined::NotApplicable {
                why: "no margin was given",
            })
        },
    ),
    row(
        "equivalence_p",
        "p of the equivalence test (two one-sided)",
        FigureKind::Probability,
        Comparison::equivalence_p,
    ),
    row(
        "equivalence_low",
        "equivalence interval (90 % for two groups), lower end",
        FigureKind::Reading,
        |of| Ok(of.equivalence_bounds()?.0),
    ),
    row(
        "equivalence_high",
        "equivalence interval (90 % for two groups), upper end",
        FigureKind::Reading,
        |of| Ok(of.equivalence_bounds()?.1),
    ),
    row(
        "sd_ratio",
        "ratio of standard deviations, second to first",
        FigureKind::Ratio,
        Comparison::sd_ratio,
    ),
    row(
        "sd_ratio_low",
        "ratio of standard deviations, lower confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.sd_ratio_bounds()?.0),
    ),
    row(
        "sd_ratio_high",
        "ratio of standard deviations, upper confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.sd_ratio_bounds()?.1),
    ),
    row(
        "outside_first",
        "outside the limits, first",
        FigureKind::Count,
        |of| Ok(float(of.outside(&of.first.1)?.0.into())),
    ),
    row(
        "outside_first_percent_most",
        "share outside, first, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.outside(&of.first.1)?.1),
    ),
    row(
        "outside_second",
        "outside the limits, second",
        FigureKind::Count,
        |of| Ok(float(of.outside(&of.second.1)?.0.into())),
    ),
    row(
        "outside_second_percent_most",
        "share outside, second, upper confidence bound",
        FigureKind::Percent,
        |of| Ok(of.outside(&of.second.1)?.1),
    ),
];
