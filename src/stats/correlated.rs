//! The mean of readings that are not independent: neighbours are correlated.

use super::describe::{mean, positive_sd};
use super::distribution::StudentT;
use super::figures::row;
use super::rounding::Warning;
use super::{CONFIDENCE, Figure, FigureKind, Summary, Undefined};

/// With fewer readings the autocorrelation is not known well enough.
const FEWEST: u64 = 50;
/// Readings that count as fewer than this say too little of the mean.
const FEWEST_EFFECTIVE: f64 = 10.0;
/// An autocorrelation from here on cannot be distinguished from 1.
const MOST: f64 = 0.98;
/// The autocorrelation of independent readings is beyond this many standard errors in one case of twenty.
const SIGNIFICANT: f64 = 1.96;

/// The figures that `study describe` has besides.
pub const FIGURES: &[Figure<Summary>] = &[
    row(
        "effective_n",
        "independent readings that say as much of the mean",
        FigureKind::Ratio,
        effective_n,
    ),
    row(
        "mean_correlated",
        "mean, readings autocorrelated",
        FigureKind::Reading,
        |all| {
            mean_bounds(all, CONFIDENCE)?;
            mean(all)
        },
    ),
    row(
        "mean_correlated_low",
        "mean, readings autocorrelated, lower confidence bound (95 %)",
        FigureKind::Reading,
        |all| Ok(mean_bounds(all, CONFIDENCE)?.0),
    ),
    row(
        "mean_correlated_high",
        "mean, readings autocorrelated, upper confidence bound (95 %)",
        FigureKind::Reading,
        |all| Ok(mean_bounds(all, CONFIDENCE)?.1),
    ),
];

/// What the autocorrelation of the readings does to the variance of their mean.
struct Inflation {
    /// The variance of the mean, relative to that of as many independent readings.
    factor: f64,
    /// The number of independent readings whose mean is as sure.
    effective: f64,
}

/// The number of independent readings whose mean has the same variance.
///
/// ```text
/// φ = (n lag1 + 1)/(n - 4), not under 0      lag1 without its bias
/// τ = (1 + φ)/(1 - φ) - 2 φ (1 - φⁿ)/(n (1 - φ)²)
/// effective n = n/τ
/// ```
///
/// For a process in which each reading depends on the one before (autoregressive, first order). A negative autocorrelation
/// counts as none. Sources: Kendall 1954 for the bias; Priestley 1981, 5.3 for τ; both from memory.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 50 readings, and those of [`super::describe::lag1`].
pub fn effective_n(all: &Summary) -> Result<f64, Undefined> {
    Ok(inflation(all)?.effective)
}

fn inflation(all: &Summary) -> Result<Inflation, Undefined> {
    Undefined::unless(all.count(), FEWEST)?;
    let (n, lag1) = (all.n(), all.moments().lag1()?);
    let phi = ((n * lag1 + 1.0) / (n - 4.0)).clamp(0.0, MOST);
    let rest = 1.0 - phi;
    let ends = 2.0 * phi * (1.0 - phi.powf(n)) / (n * rest * rest);
    let factor = (1.0 + phi) / rest - ends;
    Ok(Inflation {
        factor,
        effective: n / factor,
    })
}

/// The two-sided confidence interval of the mean of autocorrelated readings.
///
/// ```text
/// mean ± t((1+c)/2; n/τ - 1) · s √(τ/n),   s² = sd² (n - 1)/(n - τ)
/// ```
///
/// τ is that of [`effective_n`]. The shares of seeded runs in which it contains the true mean are in docs/coverage.md.
///
/// # Errors
///
/// [`Undefined::NotApplicable`] if the readings count as fewer than 10 independent ones, and those of [`effective_n`].
pub fn mean_bounds(all: &Summary, confidence: f64) -> Result<(f64, f64), Undefined> {
    let (mean, sd, found) = (mean(all)?, positive_sd(all)?, inflation(all)?);
    if found.effective < FEWEST_EFFECTIVE {
        return Err(Undefined::NotApplicable {
            why: "the readings are correlated, and count as fewer than 10 independent ones",
        });
    }
    let n = all.n();
    let t = StudentT::new(found.effective - 1.0)?.quantile(0.5 + confidence / 2.0)?;
    let widened = sd * ((n - 1.0) / (n - found.factor)).sqrt();
    let reach = t * widened * (found.factor / n).sqrt();
    Ok((mean - reach, mean + reach))
}

/// A warning if neighbouring readings are significantly correlated.
pub fn warning(all: &Summary) -> Option<Warning> {
    let lag1 = all.moments().lag1().ok()?;
    let beyond = all.count() >= FEWEST && lag1 * all.n().sqrt() > SIGNIFICANT;
    beyond.then_some(Warning {
        name: "autocorrelated",
        words: "neighbouring readings are correlated (lag-1 autocorrelation): the intervals for independent readings are too narrow; use the one for autocorrelated readings",
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Unit;
    use crate::stats::Sample;
    use crate::stats::describe;
    use crate::stats::figures::whole;
    use crate::stats::random::Random;

    fn process(n: usize, phi: f64) -> Sample {
        let mut random = Random::new(5);
        let mut last = random.next_normal();
        let bases = (0..n).map(|_| {
            last = phi * last + (1.0 - phi * phi).sqrt() * random.next_normal();
            1_620_000 + 10_000 * whole(last)
        });
        Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap()
    }

    #[test]
    fn readings_that_depend_on_each_other_count_as_fewer() {
        // n (1 - φ)/(1 + φ) of many
        let alike = process(4_000, 0.6);
        let effective = effective_n(alike.summary()).unwrap();
        assert!((800.0..1_300.0).contains(&effective), "{effective}");
        let independent = process(4_000, 0.0);
        let effective = effective_n(independent.summary()).unwrap();
        assert!(effective > 3_500.0, "{effective}");
        assert!(warning(alike.summary()).is_some());
        assert!(warning(independent.summary()).is_none());
        let plain = describe::mean_bounds(alike.summary(), 0.95).unwrap();
        let wide = mean_bounds(alike.summary(), 0.95).unwrap();
        let ratio = (wide.1 - wide.0) / (plain.1 - plain.0);
        // √((1 + φ)/(1 - φ)) = 2
        assert!((1.8..2.3).contains(&ratio), "{ratio}");
    }

    #[test]
    fn too_few_and_too_alike_readings_have_no_interval() {
        let few = process(49, 0.0);
        let wanted = Undefined::TooFew { got: 49, want: 50 };
        assert_eq!(effective_n(few.summary()), Err(wanted));
        let climbing = (0..60).map(|at| 1_620_000 + at * 1_000).collect();
        let climbing = Sample::from_bases(climbing, Unit::Millimetre).unwrap();
        let refused = mean_bounds(climbing.summary(), 0.95);
        assert!(
            matches!(refused, Err(Undefined::NotApplicable { .. })),
            "{refused:?}"
        );
    }
}
