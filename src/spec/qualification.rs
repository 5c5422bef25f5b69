//! The rule of the shop: when a terminal on a wire is shown with a tool and its nest.

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
