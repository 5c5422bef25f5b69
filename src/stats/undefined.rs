//! Reasons why a figure has no value.

/// The reason why a figure has no value. It is printed after a dash.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Undefined {
    /// Too few readings.
    #[error("too few readings: got {got}, want at least {want}")]
    TooFew {
        /// Number of readings.
        got: u64,
        /// Number required.
        want: u64,
    },
    /// Too many readings for the method.
    #[error("too many readings: got {got}, the method takes at most {most}")]
    TooMany {
        /// Number of readings.
        got: u64,
        /// Maximum number.
        most: u64,
    },
    /// Too few groups to compare.
    #[error("too few groups: got {got}, want at least {want}")]
    TooFewGroups {
        /// Number of groups.
        got: u64,
        /// Number required.
        want: u64,
    },
    /// The figure divides by the standard deviation, which is 0.
    #[error("all {count} readings are equal")]
    NoSpread {
        /// Number of readings.
        count: u64,
    },
    /// Rounding to the resolution accounts for the whole spread.
    #[error("the resolution accounts for all of the spread")]
    StepOnly,
    /// The figure needs a lower limit.
    #[error("there is no lower limit")]
    NoLowerLimit,
    /// The figure needs an upper limit.
    #[error("there is no upper limit")]
    NoUpperLimit,
    /// The figure needs a limit.
    #[error("there are no limits")]
    NoLimits,
    /// The figure needs both limits.
    #[error("both limits are needed, and there is one")]
    OneSided,
    /// The figure needs a nominal.
    #[error("there is no nominal value")]
    NoNominal,
    /// The figure needs the resolution of the instrument.
    #[error("the resolution of the instrument is not known")]
    NoStep,
    /// The groups differ in size, and the method needs equal sizes.
    #[error("groups of {fewest} to {most} readings, want the same number in each")]
    Unequal {
        /// Size of the smallest group.
        fewest: u64,
        /// Size of the largest group.
        most: u64,
    },
    /// A number is outside the range of a formula.
    #[error("{what} is out of range")]
    OutOfRange {
        /// Name of the number.
        what: &'static str,
    },
    /// The exact sums overflow: values too large, or too many.
    #[error("values too large for exact sums")]
    TooLarge,
    /// The sample mixes lengths and forces, or two units.
    #[error("lengths and forces are mixed")]
    Mixed,
    /// The figure does not apply here.
    #[error("does not apply: {why}")]
    NotApplicable {
        /// The reason in words, after `does not apply:`.
        why: &'static str,
    },
}

impl Undefined {
    /// The reason in words, for a sentence that has said what it is the reason of.
    pub fn alone(&self) -> String {
        if let Self::NotApplicable { why } = self {
            (*why).to_owned()
        } else {
            self.to_string()
        }
    }

    /// `Ok` if there are at least `want` readings.
    pub(super) fn unless(got: u64, want: u64) -> Result<(), Self> {
        if got < want {
            return Err(Self::TooFew { got, want });
        }
        Ok(())
    }
}
