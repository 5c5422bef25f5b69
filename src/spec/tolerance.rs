//! A tolerance that holds for several nominals, as makers print it once for a table: `±0.05 mm`, `+0.05/-0.03 mm`.

use super::Limits;
use super::limits::LimitsError;
use crate::quantity::{Dimension, Measured, Quantity};
use std::fmt;
use std::str::FromStr;

/// How far a value may lie above and below a nominal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tolerance {
    /// The limits around a nominal of zero.
    around_zero: Limits,
}

impl Tolerance {
    /// The dimension of the values that it is for.
    pub fn dimension(&self) -> Dimension {
        self.around_zero.dimension()
    }

    /// The limits of this nominal, shown in its unit.
    ///
    /// # Errors
    ///
    /// Where the nominal has another dimension, or a limit is too large to compute with.
    pub fn of(&self, nominal: Measured) -> Result<Limits, LimitsError> {
        let centre = nominal.quantity();
        if centre.dimension() != self.dimension() {
            return Err(LimitsError::MixedDimensions);
        }
        let shifted = |by: Option<Quantity>| {
            let base = centre.base().checked_add(by?.base())?;
            Some(Quantity::from_base(centre.dimension(), base))
        };
        let (lower, upper) = (self.around_zero.lower(), self.around_zero.upper());
        Limits::new(Some(centre), shifted(lower), shifted(upper), nominal.unit())
    }
}

impl FromStr for Tolerance {
    type Err = LimitsError;

    fn from_str(text: &str) -> Result<Self, LimitsError> {
        let trimmed = text.trim();
        let not_one = || LimitsError::NotTolerance {
            got: trimmed.to_owned(),
        };
        if !trimmed.starts_with(['±', '+', '-', '−']) {
            return Err(not_one());
        }
        let around_zero: Limits = format!("0 {trimmed}").parse().map_err(|_| not_one())?;
        let is_wide = around_zero.width().is_some_and(|width| width > 0);
        is_wide.then_some(Self { around_zero }).ok_or_else(not_one)
    }
}

impl fmt::Display for Tolerance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = self.around_zero.to_string();
        let (_, deviations) = whole.split_once(' ').unwrap_or(("", &whole));
        f.write_str(deviations)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(tolerance: &str, nominal: &str) -> String {
        let tolerance: Tolerance = tolerance.parse().unwrap();
        tolerance.of(nominal.parse().unwrap()).unwrap().to_string()
    }

    #[test]
    fn one_tolerance_gives_each_nominal_its_limits() {
        assert_eq!(limits("±0.05 mm", "1.62 mm"), "1.62 ±0.05 mm");
        assert_eq!(limits("+/-0.05 mm", "1.7 mm"), "1.70 ±0.05 mm");
        assert_eq!(limits("+0.05/-0.03 mm", "1.62 mm"), "1.62 +0.05/-0.03 mm");
        // In another unit it is exact even so: 0.002 in is 0.0508 mm.
        assert_eq!(limits("±0.002 in", "1.62 mm"), "1.62 ±0.0508 mm");
    }

    #[test]
    fn it_is_shown_as_it_was_written() {
        for text in ["±0.05 mm", "+0.05/-0.03 mm"] {
            assert_eq!(text.parse::<Tolerance>().unwrap().to_string(), text);
        }
    }

    #[test]
    fn what_has_a_nominal_or_no_unit_or_no_width_is_no_tolerance() {
        for text in [
            "1.62 ±0.05 mm",
            "0.05 mm",
            "±0.05",
            "±0 mm",
            ">= 90 N",
            "",
            "±-0.05 mm",
        ] {
            let error = text.parse::<Tolerance>().unwrap_err();
            let want = "want a tolerance such as \"±0.05 mm\" or \"+0.05/-0.03 mm\"";
            assert_eq!(error.to_string(), format!("got {text:?}, {want}"));
        }
        let lengths: Tolerance = "±0.05 mm".parse().unwrap();
        assert_eq!(
            lengths.of("90 N".parse().unwrap()),
            Err(LimitsError::MixedDimensions)
        );
    }
}
