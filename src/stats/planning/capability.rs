//! How many pieces demonstrate a capability index.

use super::{Question, within};
use crate::stats::Undefined;
use crate::stats::capability::FEWEST_PIECES;
use crate::stats::distribution::{NoncentralT, increasing_root};
use crate::stats::sample::counted;
use crate::stats::text::fixed;

/// The claim that Ppk is at least `required`, by its exact lower confidence bound
/// ([`crate::stats::capability::index::lower_bound`]).
///
/// ```text
/// one limit:   P( T(n-1; 3 √n C) ≥ t ),   t = t(confidence; n-1, 3 √n required)      (noncentral t)
/// two limits:  P( |Z| ≤ 3 √n C - t S ),   S = √(χ²(n-1)/(n-1))
/// ```
///
/// C is the true index. With two limits the process is supposed to be centred: there both limits count, so that the
/// probability is lowest. Source: Chou, Owen and Borrego 1990, from memory.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::planning::{Index, Planned};
/// let index = Index { required: 1.33, truth: 1.67, limits: 1, confidence: 0.95 };
/// let planned = Planned::new(Box::new(index), 0.8, 999, false)?;
/// assert!(planned.is_in_reach() && planned.pieces()? > 20);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Index {
    /// The index that is required.
    pub required: f64,
    /// The index that is supposed to be true.
    pub truth: f64,
    /// Number of limits, 1 or 2.
    pub limits: u8,
    /// The confidence of the bound.
    pub confidence: f64,
}

impl Question for Index {
    fn name(&self) -> &'static str {
        "capability"
    }

    fn fewest(&self) -> u64 {
        FEWEST_PIECES
    }

    fn power(&self, n: u64, truth: f64) -> Result<f64, Undefined> {
        Undefined::unless(n, 2)?;
        let (freedom, scale) = (counted(n) - 1.0, 3.0 * counted(n).sqrt());
        let border = NoncentralT::new(freedom, scale * self.required)?.quantile(self.confidence)?;
        if self.limits < 2 {
            return Ok(NoncentralT::new(freedom, scale * truth)?.above(border));
        }
        within(freedom, -scale * truth, scale * truth, border)
    }

    fn truth(&self) -> f64 {
        self.truth
    }

    fn can_be_shown(&self) -> Result<(), Undefined> {
        let is_beyond = self.truth > self.required;
        is_beyond.then_some(()).ok_or(Undefined::NotApplicable {
            why: "the index that is supposed to be true is not above the required one",
        })
    }

    fn truths(&self) -> (f64, f64) {
        let excess = self.truth - self.required;
        (self.required, self.truth + excess)
    }

    fn claim(&self) -> String {
        format!("Ppk is at least {}", fixed(self.required, 2))
    }

    fn of_truth(&self, truth: f64) -> String {
        format!("Ppk is {}", fixed(truth, 2))
    }

    fn axis(&self) -> String {
        "true Ppk".to_owned()
    }

    fn in_reach(&self, n: u64, power: f64) -> Option<String> {
        let short = |required: f64| {
            let eased = Self { required, ..*self };
            eased
                .power(n, self.truth)
                .map_or(f64::NAN, |found| power - found)
        };
        let required = increasing_root(short, self.truth * 0.01, self.truth);
        // Rounded down, so that it is in reach.
        let required = (required * 100.0).floor() / 100.0;
        Some(Self { required, ..*self }.claim())
    }
}
