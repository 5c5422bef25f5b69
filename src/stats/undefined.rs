//! Why a figure has no value.

/// Why a figure has no value; printed as a dash with this reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Undefined {
    /// Too few readings for it to exist.
    #[error("too few readings: got {got}, want at least {want}")]
    TooFew {
        /// How many there are.
        got: u64,
        /// How many it takes.
        want: u64,
    },
    /// More readings than the method can take.
    #[error("too many readings: got {got}, the method takes at most {most}")]
    TooMany {
        /// How many there are.
        got: u64,
        /// How many it takes at most.
        most: u64,
    },
    /// Too few groups to compare.
    #[error("too few groups: got {got}, want at least {want}")]
    TooFewGroups {
        /// How many there are.
        got: u64,
        /// How many it takes.
        want: u64,
    },
    /// A figure over the spread, and there is none.
    #[error("all {count} readings are equal")]
    NoSpread {
        /// How many there are.
        count: u64,
    },
    /// Rounding to the resolution accounts for the whole spread.
    #[error("the resolution accounts for all of the spread")]
    StepOnly,
    /// A lower limit is needed.
    #[error("there is no lower limit")]
    NoLowerLimit,
    /// An upper limit is needed.
    #[error("there is no upper limit")]
    NoUpperLimit,
    /// Limits are needed.
    #[error("there are no limits")]
    NoLimits,
    /// Two limits are needed.
    #[error("both limits are needed, and there is one")]
    OneSided,
    /// A nominal is needed.
    #[error("there is no nominal value")]
    NoNominal,
    /// The resolution of the instrument is needed.
    #[error("the resolution of the instrument is not known")]
    NoStep,
    /// Numbers of readings that differ where the method wants them equal.
    #[error("groups of {fewest} to {most} readings, want the same number in each")]
    Unequal {
        /// The size of the smallest group.
        fewest: u64,
        /// The size of the largest.
        most: u64,
    },
    /// A number outside what a formula is made for.
    #[error("{what} is out of range")]
    OutOfRange {
        /// Which number.
        what: &'static str,
    },
    /// Values so large, or of such a number, that exact sums overflow.
    #[error("values too large for exact sums")]
    TooLarge,
    /// Values of two kinds in one sample.
    #[error("lengths and forces are mixed")]
    Mixed,
    /// It says nothing that another figure beside it does not say.
    #[error("does not apply: {why}")]
    NotApplicable {
        /// In words, after `does not apply:`.
        why: &'static str,
    },
}

impl Undefined {
    /// `Ok` if there are at least `want` readings.
    pub(super) fn unless(got: u64, want: u64) -> Result<(), Self> {
        if got < want {
            return Err(Self::TooFew { got, want });
        }
        Ok(())
    }
}
