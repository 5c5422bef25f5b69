//! How many pieces of each of two groups show that their means differ, or that they are equivalent.

use super::{Question, within};
use crate::quantity::Unit;
use crate::stats::Undefined;
use crate::stats::distribution::{NoncentralT, StudentT, increasing_root};
use crate::stats::sample::counted;
use crate::stats::text::fixed;

/// Fewest pieces of a group.
const FEWEST: u64 = 2;

/// The claim that two means differ, by the two-sided t test at the significance level `1 - confidence`.
///
/// ```text
/// P( |T(2n-2; δ)| > t(1 - α/2; 2n-2) ),   δ = difference √(n/2) / sd      (noncentral t)
/// ```
///
/// Exact for the pooled test of normal pieces with the same standard deviation; `study compare` uses Welch's, whose
/// probability was 3 percentage points lower with five pieces of each group, 2 with ten and none with thirty
/// (`docs/coverage.md`). Source: Cohen 1988, from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The difference that is supposed to be true, above 0.
    pub truth: f64,
    /// The standard deviation within each group.
    pub sd: f64,
    /// The unit of both.
    pub unit: Unit,
    /// One minus the significance level.
    pub confidence: f64,
}

/// The claim that two means are equivalent within a margin, by two one-sided t tests, each at the significance level
/// `1 - confidence`.
///
/// ```text
/// P( (-θ - δ)/τ + t S ≤ Z ≤ (θ - δ)/τ - t S ),   τ = sd √(2/n),  t = t(1 - α; 2n-2),  S = √(χ²(2n-2)/(2n-2))
/// ```
///
/// Exact as [`Difference`] is. Source: Schuirmann 1987, Owen 1965, from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equivalence {
    /// The margin θ.
    pub margin: f64,
    /// The difference δ that is supposed to be true.
    pub truth: f64,
    /// The standard deviation within each group.
    pub sd: f64,
    /// The unit of the three.
    pub unit: Unit,
    /// One minus the significance level of each test.
    pub confidence: f64,
}

/// The degrees of freedom of both groups together, and the factor from a standard deviation to the error of a difference.
fn of_two(n: u64) -> Result<(f64, f64), Undefined> {
    Undefined::unless(n, FEWEST)?;
    Ok((2.0 * counted(n) - 2.0, (2.0 / counted(n)).sqrt()))
}

/// A length or force in words, with digits for its size.
fn words(value: f64, unit: Unit) -> String {
    let digits = fixed(value, 6);
    let digits = digits.trim_end_matches('0').trim_end_matches('.');
    format!("{digits} {unit}")
}

/// Rounded up to three digits.
fn up(value: f64) -> f64 {
    let step = 10.0_f64.powf(value.log10().floor() - 2.0);
    (value / step - 1e-9).ceil() * step
}

impl Question for Difference {
    fn name(&self) -> &'static str {
        "comparison"
    }

    fn fewest(&self) -> u64 {
        FEWEST
    }

    fn groups(&self) -> u64 {
        2
    }

    fn power(&self, n: u64, truth: f64) -> Result<f64, Undefined> {
        let (freedom, error) = of_two(n)?;
        let t = StudentT::new(freedom)?.quantile(0.5 + self.confidence / 2.0)?;
        let shifted = NoncentralT::new(freedom, truth / (error * self.sd))?;
        Ok(shifted.above(t) + shifted.below(-t))
    }

    fn truth(&self) -> f64 {
        self.truth
    }

    fn can_be_shown(&self) -> Result<(), Undefined> {
        let is_beyond = self.truth > 0.0;
        is_beyond.then_some(()).ok_or(Undefined::NotApplicable {
            why: "without a difference there is none to find",
        })
    }

    fn truths(&self) -> (f64, f64) {
        (0.0, 2.0 * self.truth)
    }

    fn claim(&self) -> String {
        "the means differ".to_owned()
    }

    fn of_truth(&self, truth: f64) -> String {
        format!("the difference is {}", words(truth, self.unit))
    }

    fn axis(&self) -> String {
        format!("true difference, {}", self.unit)
    }

    fn in_reach(&self, n: u64, power: f64) -> Option<String> {
        let excess = |truth: f64| self.power(n, truth).map_or(f64::NAN, |found| found - power);
        let far = self.truth.max(self.sd) * 1e4;
        let truth = increasing_root(excess, self.truth, far);
        Some(format!("a difference of {}", words(up(truth), self.unit)))
    }
}

impl Question for Equivalence {
    fn name(&self) -> &'static str {
        "equivalence"
    }

    fn fewest(&self) -> u64 {
        FEWEST
    }

    fn groups(&self) -> u64 {
        2
    }

    fn power(&self, n: u64, truth: f64) -> Result<f64, Undefined> {
        let (freedom, error) = of_two(n)?;
        let error = error * self.sd;
        let t = StudentT::new(freedom)?.quantile(self.confidence)?;
        let end = |end: f64| (end - truth) / error;
        within(freedom, end(-self.margin), end(self.margin), t)
    }

    fn truth(&self) -> f64 {
        self.truth
    }

    fn can_be_shown(&self) -> Result<(), Undefined> {
        let is_beyond = self.truth.abs() < self.margin;
        is_beyond.then_some(()).ok_or(Undefined::NotApplicable {
            why: "the difference that is supposed to be true is not within the margin",
        })
    }

    fn truths(&self) -> (f64, f64) {
        (0.0, 1.25 * self.margin)
    }

    fn claim(&self) -> String {
        format!(
            "the means are equivalent within {}",
            words(self.margin, self.unit)
        )
    }

    fn of_truth(&self, truth: f64) -> String {
        format!("the difference is {}", words(truth, self.unit))
    }

    fn axis(&self) -> String {
        format!("true difference, {}", self.unit)
    }

    fn in_reach(&self, n: u64, power: f64) -> Option<String> {
        let excess = |margin: f64| {
            let eased = Self { margin, ..*self };
            eased
                .power(n, self.truth)
                .map_or(f64::NAN, |found| found - power)
        };
        let far = self.margin + self.sd * 1e3;
        let margin = up(increasing_root(excess, self.margin, far));
        Some(Self { margin, ..*self }.claim())
    }
}
