//! The rule of the shop: when a terminal on a wire is shown with a tool and its nest.

use super::{AxisName, Limits};

/// What shows the combination of a first-off, where the rule requires that it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Qualified {
    /// The rule in force.
    pub rule: QualificationRule,
    /// The axes that are shown.
    pub axes: Vec<QualifiedAxis>,
}

/// An axis with the series that shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QualifiedAxis {
    /// The axis.
    pub axis: AxisName,
    /// The limits by which it was judged.
    pub limits: Limits,
    /// The series: the seq of its `armed` entry.
    pub series: u64,
}

/// The rule by which qualification series show that a combination is made within its limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct QualificationRule {
    /// The smallest number of pieces of each axis, and of pull tests.
    pub pieces: u32,
    /// The Ppk that the lower 95 % confidence bound must reach, in hundredths.
    pub ppk_hundredths: u32,
    /// Whether pull tests are required.
    pub pull: bool,
    /// A series counts for this number of months.
    pub months: u32,
    /// Whether a first-off of a combination that is not shown is refused.
    pub require: bool,
}

impl Default for QualificationRule {
    /// 25 pieces and an index of 1.33 are common practice, without a source; so is a year.
    fn default() -> Self {
        Self {
            pieces: 25,
            ppk_hundredths: 133,
            pull: true,
            months: 12,
            require: false,
        }
    }
}
