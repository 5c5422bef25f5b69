//! Capability of readings by a distribution that is not normal, or by their own percentiles.

use super::quantiles::{self, Levels, Quantiles, tail};
use super::{Draws, Family, Level, Member, fit};
use crate::stats::capability::Capability;
use crate::stats::describe::lag1;
use crate::stats::figures::row;
use crate::stats::normality;
use crate::stats::random::Random;
use crate::stats::sample::float_of;
use crate::stats::{CONFIDENCE, Figure, FigureKind, Limits, Sample, Summary, Undefined};

/// Number of simulated samples of the test of the fit.
const RUNS: usize = 499;
/// With more readings every real process differs significantly from every distribution.
const MOST: u64 = 5_000;
/// Seed of that test.
const SEED: u64 = 0x0f18;

/// What the engineer chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chosen {
    /// A fitted distribution.
    Family(Family),
    /// The fitted distribution with the largest likelihood; all have two parameters.
    Likeliest,
    /// The percentiles of the readings, whatever their distribution.
    Percentile,
}

/// Readings with a distribution, for the indices.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub(super) sample: Sample,
    pub(super) capability: Capability,
    pub(super) chosen: Chosen,
    /// Where the distribution begins, in the unit of the readings.
    pub(super) origin: f64,
    member: Result<Member, Undefined>,
    draws: Result<Draws, Undefined>,
    fit_p: Result<f64, Undefined>,
    likelihoods: Vec<(Family, Result<f64, Undefined>)>,
}

/// The figures of `study capability --distribution`; confidence intervals are two-sided, 95 %.
pub const FIGURES: &[Figure<Fitted>] = &[
    row("n", "readings", FigureKind::Count, |of| {
        Ok(float_of(of.sample.bases().len()))
    }),
    row("x_0_135", "quantile 0.135 %", FigureKind::Reading, |of| {
        of.quantile(tail())
    }),
    row(
        "x_0_135_low",
        "quantile 0.135 %, lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.quantile_bounds(tail())?.0),
    ),
    row(
        "x_0_135_high",
        "quantile 0.135 %, upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.quantile_bounds(tail())?.1),
    ),
    row("x_50", "median", FigureKind::Reading, |of| of.quantile(0.5)),
    row(
        "x_50_low",
        "median, lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.quantile_bounds(0.5)?.0),
    ),
    row(
        "x_50_high",
        "median, upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.quantile_bounds(0.5)?.1),
    ),
    row("x_99_865", "quantile 99.865 %", FigureKind::Reading, |of| {
        of.quantile(1.0 - tail())
    }),
    row(
        "x_99_865_low",
        "quantile 99.865 %, lower confidence bound",
        FigureKind::Reading,
        |of| Ok(of.quantile_bounds(1.0 - tail())?.0),
    ),
    row(
        "x_99_865_high",
        "quantile 99.865 %, upper confidence bound",
        FigureKind::Reading,
        |of| Ok(of.quantile_bounds(1.0 - tail())?.1),
    ),
    row(
        "pp",
        "Pp (quantiles, if centred)",
        FigureKind::Ratio,
        Fitted::potential,
    ),
    row(
        "pp_low",
        "Pp, lower confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.potential_bounds()?.0),
    ),
    row(
        "pp_high",
        "Pp, upper confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.potential_bounds()?.1),
    ),
    row(
        "ppk",
        "Ppk (quantiles)",
        FigureKind::Ratio,
        Fitted::centered,
    ),
    row(
        "ppk_low",
        "Ppk, lower confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.centered_bounds(CONFIDENCE)?.0),
    ),
    row(
        "ppk_high",
        "Ppk, upper confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.centered_bounds(CONFIDENCE)?.1),
    ),
    row(
        "ppk_least",
        "Ppk, lower confidence bound (95 %, one-sided)",
        FigureKind::Ratio,
        Fitted::least,
    ),
    row(
        "ppm_below",
        "expected below the lower limit, per million",
        FigureKind::PartsPerMillion,
        |of| {
            let lower = of.limits().lower_of(of.all())?;
            Ok(1e6 * of.known_member()?.below(lower - of.origin))
        },
    ),
    row(
        "ppm_above",
        "expected above the upper limit, per million",
        FigureKind::PartsPerMillion,
        |of| {
            let upper = of.limits().upper_of(of.all())?;
            Ok(1e6 * of.known_member()?.above(upper - of.origin))
        },
    ),
    row(
        "fit_p",
        "p of the test of the fit, resolution allowed for",
        FigureKind::Probability,
        |of| of.fit_p,
    ),
    row(
        "outside_percent_most",
        "share outside, any distribution, upper confidence bound (95 %)",
        FigureKind::Percent,
        |of| Ok(100.0 * of.capability.outside_at_most()?),
    ),
    row("lag1", "lag-1 autocorrelation", FigureKind::Ratio, |of| {
        lag1(of.all())
    }),
];

impl Fitted {
    /// Readings in order, with the limits, what was chosen, where the distribution begins, and the required index.
    pub fn new(sample: &Sample, limits: Limits, chosen: Chosen, origin: f64, asked: f64) -> Self {
        let values: Vec<f64> = sample.values().map(|value| value - origin).collect();
        let fits = Family::ALL.map(|family| (family, fit(family, &values)));
        let likelihoods: Vec<_> = fits
            .iter()
            .map(|(family, found)| (*family, found.map(|found| found.ln_likelihood(&values))))
            .collect();
        let likely = |(_, found): &&(Family, Result<f64, Undefined>)| found.unwrap_or(f64::MIN);
        let family = match chosen {
            Chosen::Family(family) => Some(family),
            Chosen::Likeliest => likelihoods
                .iter()
                .max_by(|one, other| likely(one).total_cmp(&likely(other)))
                .map(|(family, _)| *family),
            Chosen::Percentile => None,
        };
        let member = family
            .and_then(|family| fits.into_iter().find(|(of, _)| *of == family))
            .map_or(Err(NO_FAMILY), |(_, found)| found);
        let mut new = Self {
            capability: Capability::of_singles(sample, limits).asking(asked),
            draws: member.and_then(|member| Draws::new(member, values.len())),
            fit_p: Err(NO_FAMILY),
            sample: sample.clone(),
            chosen,
            origin,
            member,
            likelihoods,
        };
        new.fit_p = new.member.and_then(|member| new.test(member));
        new
    }

    /// The fitted distribution of values above the origin; an error of percentiles.
    pub fn known_member(&self) -> Result<Member, Undefined> {
        self.member
    }

    /// The logarithm of the likelihood of each family.
    pub fn likelihoods(&self) -> &[(Family, Result<f64, Undefined>)] {
        &self.likelihoods
    }

    /// The p-value of the test of the fit.
    pub fn fit_p(&self) -> Result<f64, Undefined> {
        self.fit_p
    }

    /// The readings without their order.
    pub fn all(&self) -> &Summary {
        self.sample.summary()
    }

    fn limits(&self) -> &Limits {
        self.capability.limits()
    }

    /// The limits above the origin.
    fn ends(&self) -> Result<(Option<f64>, Option<f64>), Undefined> {
        let end = |end: Result<f64, Undefined>| match end {
            Ok(end) => Ok(Some(end - self.origin)),
            Err(Undefined::Mixed) => Err(Undefined::Mixed),
            Err(_) => Ok(None),
        };
        let (lower, upper) = (
            self.limits().lower_of(self.all()),
            self.limits().upper_of(self.all()),
        );
        Ok((end(lower)?, end(upper)?))
    }

    /// The value with probability `p` below it.
    pub fn quantile(&self, p: f64) -> Result<f64, Undefined> {
        if self.chosen == Chosen::Percentile {
            return quantiles::of_readings(self.all(), p);
        }
        Ok(self.origin + self.member?.quantile(p)?)
    }

    /// The two-sided 95 % confidence interval of [`Self::quantile`].
    pub fn quantile_bounds(&self, p: f64) -> Result<(f64, f64), Undefined> {
        if self.chosen == Chosen::Percentile {
            return self.free_bounds(p, CONFIDENCE);
        }
        let level = Level::new(p)?;
        let (low, high) = self.draws()?.bounds(|member| member.at(level), CONFIDENCE);
        finite((self.origin + low, self.origin + high))
    }

    fn free_bounds(&self, p: f64, confidence: f64) -> Result<(f64, f64), Undefined> {
        let each = 0.5 + confidence / 2.0;
        let low = quantiles::lower_bound(self.all(), p, each)?;
        Ok((low, quantiles::upper_bound(self.all(), p, each)?))
    }

    fn draws(&self) -> Result<&Draws, Undefined> {
        self.draws.as_ref().map_err(|reason| *reason)
    }

    /// The three quantiles, above the origin.
    fn quantiles(&self) -> Result<Quantiles, Undefined> {
        let of = |p| Ok::<_, Undefined>(self.quantile(p)? - self.origin);
        Ok(Quantiles {
            low: of(tail())?,
            mid: of(0.5)?,
            high: of(1.0 - tail())?,
        })
    }

    fn potential(&self) -> Result<f64, Undefined> {
        self.limits().width_of(self.all())?;
        let (Some(lower), Some(upper)) = self.ends()? else {
            return Err(Undefined::OneSided);
        };
        Ok(self.quantiles()?.potential(lower, upper))
    }

    fn potential_bounds(&self) -> Result<(f64, f64), Undefined> {
        self.potential()?;
        let (lower, upper) = self.ends()?;
        let of = |quantiles: &Quantiles| match (lower, upper) {
            (Some(lower), Some(upper)) => quantiles.potential(lower, upper),
            (_, _) => f64::NAN,
        };
        self.index_bounds(of, CONFIDENCE)
    }

    /// Ppk by quantiles; see [`quantiles`].
    ///
    /// # Errors
    ///
    /// [`Undefined::NoLimits`], those of the fit, and of percentiles [`Undefined::TooFew`] below 740 readings.
    pub fn centered(&self) -> Result<f64, Undefined> {
        let (lower, upper) = self.ends()?;
        let found = self.quantiles()?.centered(lower, upper);
        found.ok_or(Undefined::NoLimits)
    }

    fn centered_bounds(&self, confidence: f64) -> Result<(f64, f64), Undefined> {
        self.centered()?;
        let (lower, upper) = self.ends()?;
        let of = |quantiles: &Quantiles| quantiles.centered(lower, upper).unwrap_or(f64::NAN);
        self.index_bounds(of, confidence)
    }

    /// The lower 95 % confidence bound of Ppk, one-sided.
    pub fn least(&self) -> Result<f64, Undefined> {
        Ok(self.centered_bounds(2.0 * CONFIDENCE - 1.0)?.0)
    }

    /// The bounds of an index: over the draws, or, of percentiles, at the ends of the intervals of the three quantiles that
    /// hold together (Bonferroni).
    fn index_bounds(
        &self,
        of: impl Fn(&Quantiles) -> f64,
        confidence: f64,
    ) -> Result<(f64, f64), Undefined> {
        if self.chosen != Chosen::Percentile {
            let levels = Levels::new()?;
            let index = |member: &Member| of(&levels.of(member));
            return finite(self.draws()?.bounds(index, confidence));
        }
        let each = 1.0 - (1.0 - confidence) / 3.0;
        let ends = |p| self.free_bounds(p, each);
        let [low, mid, high] = [ends(tail())?, ends(0.5)?, ends(1.0 - tail())?];
        let pair = |(one, other): (f64, f64)| [one - self.origin, other - self.origin];
        let mut found = Vec::new();
        for low in pair(low) {
            for mid in pair(mid) {
                found.extend(pair(high).map(|high| of(&Quantiles { low, mid, high })));
            }
        }
        found.sort_by(f64::total_cmp);
        let ends = found.first().copied().zip(found.last().copied());
        finite(ends.ok_or(NO_FAMILY)?)
    }

    /// The share of simulated samples of the fit, rounded to the same grid and fitted in the same way, whose
    /// Anderson-Darling statistic is as large (a parametric bootstrap; Stephens 1974, from memory).
    fn test(&self, member: Member) -> Result<f64, Undefined> {
        let count = self.all().count();
        if count > MOST {
            return Err(Undefined::TooMany {
                got: count,
                most: MOST,
            });
        }
        Undefined::unless(count, 8)?;
        let mut values: Vec<f64> = self
            .sample
            .values()
            .map(|value| value - self.origin)
            .collect();
        let n = values.len();
        let observed = statistic(member, &mut values);
        let step = self.all().step().ok();
        let mut random = Random::new(SEED);
        let (mut as_large, mut made) = (1.0, 1.0);
        for _ in 0..RUNS {
            values.clear();
            values.extend((0..n).map(|_| {
                let value = member.draw(&mut random);
                step.map_or(value, |step| {
                    ((value + self.origin) / step).round() * step - self.origin
                })
            }));
            if let Ok(own) = fit(member.family, &values) {
                made += 1.0;
                if statistic(own, &mut values) >= observed {
                    as_large += 1.0;
                }
            }
        }
        Ok(as_large / made)
    }
}

/// Why percentiles have no parameters.
const NO_FAMILY: Undefined = Undefined::NotApplicable {
    why: "percentiles of readings, and no distribution",
};

/// The Anderson-Darling statistic of values for a member; they are sorted.
fn statistic(member: Member, values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let count = u64::try_from(values.len()).unwrap_or(u64::MAX);
    normality::statistic(values.iter().map(|x| (member.score(*x), 1)), count)
}

/// An interval whose ends are numbers.
fn finite((low, high): (f64, f64)) -> Result<(f64, f64), Undefined> {
    let fits = low.is_finite() && high.is_finite();
    fits.then_some((low, high)).ok_or(Undefined::NotApplicable {
        why: "the readings are too few for a bound of this distribution",
    })
}
