//! How many parts show in a gauge study that the measurement takes little enough of the tolerance.

use super::Question;
use crate::stats::Undefined;
use crate::stats::distribution::{ChiSquared, Spread, increasing_root};
use crate::stats::gauge::{Term, sum_bounds};
use crate::stats::sample::counted;
use crate::stats::text::percent;

/// Fewest parts.
const FEWEST: u64 = 2;

/// The claim that GRR takes at most the share `required` of the tolerance, by the upper confidence bound of a crossed
/// gauge study without interaction ([`sum_bounds`]).
///
/// ```text
/// P( a + b + √(Hₐ² a² + Hₑ² b²) ≤ (required/truth)² )
/// a = (σₑ²/(p r) + σₐ²) χ²(o-1)/(o-1),   b = (1 - 1/(p r)) σₑ² χ²(νₑ)/νₑ,   νₑ = p o r - p - o + 1
/// H = ν/χ²(1/2 - confidence/2; ν) - 1;   σₑ² + σₐ² = 1, p parts, o appraisers, r trials
/// ```
///
/// The inner probability is exact, the mean over a is computed by the trapezoidal rule. With o appraisers the bound rests
/// on o - 1 degrees of freedom, so more parts do not replace appraisers. Source of the bound: Graybill and Wang 1980,
/// from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gauge {
    /// The share of the tolerance that is required at most, by six standard deviations.
    pub required: f64,
    /// The share that is supposed to be true.
    pub truth: f64,
    /// The share of the appraisers in the variance of the measurement, from 0 to below 1.
    pub of_appraisers: f64,
    /// Number of appraisers.
    pub appraisers: u64,
    /// Number of times that each measures each part.
    pub trials: u64,
    /// The confidence of the interval of GRR, two-sided.
    pub confidence: f64,
}

impl Gauge {
    /// [`Undefined::OutOfRange`] for numbers that no gauge study has.
    fn check(&self) -> Result<(), Undefined> {
        let out = |what: &'static str| Err(Undefined::OutOfRange { what });
        if self.appraisers < 2 {
            return out("the number of appraisers");
        }
        if self.trials < 2 {
            return out("the number of trials");
        }
        if !(0.0..1.0).contains(&self.of_appraisers) {
            return out("the share of the appraisers");
        }
        Ok(())
    }
}

/// How far the upper bound of a mean square lies above it, as a share of it.
fn reach(freedom: f64, confidence: f64) -> Result<f64, Undefined> {
    let one = Term { mean: 1.0, freedom };
    Ok(sum_bounds(&[one], confidence)?.1 - 1.0)
}

impl Question for Gauge {
    fn name(&self) -> &'static str {
        "gauge"
    }

    fn fewest(&self) -> u64 {
        FEWEST
    }

    fn readings_of_each(&self) -> u64 {
        self.appraisers * self.trials
    }

    fn power(&self, n: u64, truth: f64) -> Result<f64, Undefined> {
        const STEEP: f64 = 60.0;
        Undefined::unless(n, FEWEST)?;
        self.check()?;
        let (parts, appraisers) = (counted(n), counted(self.appraisers));
        let of_each = parts * counted(self.trials);
        let free_between = appraisers - 1.0;
        let free_within = of_each * appraisers - parts - appraisers + 1.0;
        let far = reach(free_between, self.confidence)?;
        let near = reach(free_within, self.confidence)?;
        let error = 1.0 - self.of_appraisers;
        let between = error / of_each + self.of_appraisers;
        let within = (1.0 - 1.0 / of_each) * error;
        let most = (self.required / truth).powi(2);
        let squares = ChiSquared::new(free_within)?;
        let spread = Spread::new(free_between, STEEP)?;
        Ok(spread.mean(|s| {
            let found = between * s * s;
            let left = most - found;
            let rest = left * left - (far * found).powi(2);
            if left <= 0.0 || rest <= 0.0 {
                return 0.0;
            }
            // The second mean square at which the bound is the required one: (left - b)² = (far a)² + (near b)².
            let other = rest / (left + (left * left - (1.0 - near * near) * rest).sqrt());
            squares.below(free_within * other / within)
        }))
    }

    fn truth(&self) -> f64 {
        self.truth
    }

    fn can_be_shown(&self) -> Result<(), Undefined> {
        self.check()?;
        let is_beyond = self.truth > 0.0 && self.truth < self.required;
        is_beyond.then_some(()).ok_or(Undefined::NotApplicable {
            why: "the share that is supposed to be true is not below the required one",
        })
    }

    fn truths(&self) -> (f64, f64) {
        (self.required / 8.0, 1.25 * self.required)
    }

    fn claim(&self) -> String {
        format!("GRR is at most {} of the tolerance", percent(self.required))
    }

    fn of_truth(&self, truth: f64) -> String {
        format!("GRR takes {}", percent(truth))
    }

    fn axis(&self) -> String {
        "true GRR, percent of the tolerance".to_owned()
    }

    fn scale(&self) -> f64 {
        100.0
    }

    fn in_reach(&self, n: u64, power: f64) -> Option<String> {
        let excess = |required: f64| {
            let eased = Self { required, ..*self };
            eased
                .power(n, self.truth)
                .map_or(f64::NAN, |found| found - power)
        };
        let required = increasing_root(excess, self.required, self.truth * 1e3);
        let required = (required * 1000.0).ceil() / 1000.0;
        let eased = Self { required, ..*self };
        let more = if self.of_appraisers > 0.0 {
            "; more appraisers narrow the interval more than more parts"
        } else {
            ""
        };
        Some(format!("{}{more}", eased.claim()))
    }
}
