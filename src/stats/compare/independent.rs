//! Whether readings may be compared by methods that take them as independent.

use super::{Anova, Comparison, Difference, anova, brown_forsythe, pooled, variance_ratio_bounds};
use crate::stats::order::wanders;
use crate::stats::{Sample, Undefined};

/// Why correlated readings are not compared.
pub(super) const CORRELATED: Undefined = Undefined::NotApplicable {
    why: "readings of a group have a lag-1 autocorrelation, which makes intervals too narrow; look for a drift",
};

/// Whether neighbouring readings are significantly correlated ([`wanders`]): the standard error of their mean is not that of
/// independent readings. Too few readings cannot show it.
pub fn is_correlated(sample: &Sample) -> bool {
    wanders(sample).is_ok_and(|is_so| is_so)
}

/// As [`anova`], of groups of independent readings, less what rounding may make ([`Anova::less_rounding`]).
///
/// # Errors
///
/// [`Undefined::NotApplicable`] if the readings of a group are correlated, and those of [`anova`].
pub fn anova_of_independent(groups: &[Sample]) -> Result<Anova, Undefined> {
    if groups.iter().any(is_correlated) {
        return Err(CORRELATED);
    }
    anova(groups)?.less_rounding(groups)
}

/// Tests and bounds that take readings as independent; [`Undefined::NotApplicable`] if they are not.
impl Comparison {
    pub(super) fn of_independent(&self) -> Result<(), Undefined> {
        match self.wanders() {
            Some(_) => Err(CORRELATED),
            None => Ok(()),
        }
    }

    pub(super) fn spread(&self) -> Result<Anova, Undefined> {
        self.of_independent()?;
        brown_forsythe(&[self.first.1.clone(), self.second.1.clone()])
    }

    pub(super) fn ratio_bounds(&self, confidence: f64) -> Result<(f64, f64), Undefined> {
        self.of_independent()?;
        variance_ratio_bounds(&self.second.1, &self.first.1, confidence)
    }

    pub(super) fn pooled(&self) -> Result<Difference, Undefined> {
        self.of_independent()?;
        pooled(&self.second.1, &self.first.1)
    }
}
