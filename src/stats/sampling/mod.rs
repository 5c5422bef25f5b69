//! Acceptance sampling: does a sample of a lot allow the lot to be used?
//!
//! In: two points of the operating characteristic, and the readings of samples, lot by lot. Out: single sampling plans by
//! attributes and by variables, whether each lot is accepted, and the severity of inspection that follows.
//!
//! - The plans are computed from the two points. The master tables of ISO 2859-1 and ISO 3951-1 are not reproduced: these
//!   standards are not free. A plan here is a plan of these standards only where it happens to be the same.
//! - The switching rules are those of ISO 2859-1, from memory.

mod attributes;
mod scheme;
mod switching;
mod variables;

pub use attributes::Attributes;
pub use scheme::{FIGURES, Inspected, Plan, Scheme};
pub use switching::{Judged, Severity, Switching};
pub use variables::Variables;

use super::Undefined;
use super::distribution::quantile;

/// The ratio of one acceptance quality limit to the next of the preferred ones: 0.65, 1.0, 1.5, 2.5, 4.0, 6.5 % (the
/// series R5 of ISO 3: five steps for a factor of ten).
pub const STEP: f64 = 1.584_893_192_461_113_5;
/// Beyond this number of pieces no plan is looked for.
const FARTHEST: u64 = 1_000_000;

/// Two points of the operating characteristic of a plan, all between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Points {
    /// The acceptance quality limit: a share of nonconforming pieces at which a lot is nearly always accepted.
    pub aql: f64,
    /// The producer's risk: the probability that such a lot is not accepted.
    pub producer: f64,
    /// The limiting quality: a share at which a lot is rarely accepted.
    pub limiting: f64,
    /// The consumer's risk: the probability that such a lot is accepted.
    pub consumer: f64,
}

impl Points {
    /// [`Undefined::OutOfRange`] unless all are between 0 and 1; [`Undefined::NotApplicable`] unless the limiting quality
    /// is above the acceptance quality limit.
    pub fn check(&self) -> Result<(), Undefined> {
        for share in [self.aql, self.producer, self.limiting, self.consumer] {
            quantile(share)?;
        }
        let falls = self.limiting > self.aql;
        falls.then_some(()).ok_or(Undefined::NotApplicable {
            why: "the limiting quality is not above the acceptance quality limit",
        })
    }

    /// The same points with the next tighter acceptance quality limit.
    #[must_use]
    pub fn tighter(self) -> Self {
        Self {
            aql: self.aql / STEP,
            ..self
        }
    }
}
