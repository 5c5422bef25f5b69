//! Uncertainty of one reading: guard band and test uncertainty ratio, in whole numbers.
//!
//! ```text
//! u² = max_error²/3 + 2·resolution²/12 + repeatability²        (JCGM 100, 4.3.7; from memory)
//! ```
//!
//! The resolution enters twice: once for the reading, once for the zero. A guard band is rounded up to the base unit
//! and a ratio down, so rounding never makes an instrument look better than it is.

use crate::quantity::Quantity;

/// The contributions to an instrument's uncertainty, in base units (nm or mN).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Uncertainty {
    /// Maximum permissible error, from its calibration.
    pub max_error: i64,
    /// The smallest step of the display.
    pub resolution: i64,
    /// Standard deviation of repeated readings, 0 where unknown.
    pub repeatability: i64,
}

impl Uncertainty {
    /// Builds it from quantities of one dimension.
    pub fn new(max_error: Quantity, resolution: Quantity, repeatability: Option<Quantity>) -> Self {
        Self {
            max_error: max_error.base(),
            resolution: resolution.base(),
            repeatability: repeatability.map_or(0, Quantity::base),
        }
    }

    /// `12 u²` in squared base units, a whole number.
    fn twelve_u_squared(self) -> u128 {
        let square = |value: i64| u128::from(value.unsigned_abs()).saturating_pow(2);
        let max_error = square(self.max_error).saturating_mul(4);
        let resolution = square(self.resolution).saturating_mul(2);
        max_error
            .saturating_add(resolution)
            .saturating_add(square(self.repeatability).saturating_mul(12))
    }

    /// `g·u` in base units, rounded up.
    pub fn guard_band(self, factor_milli: u32) -> i64 {
        let square = self
            .twelve_u_squared()
            .saturating_mul(u128::from(factor_milli).saturating_pow(2));
        let twelve_millions = 12_000_000_u128;
        let width = square.div_ceil(twelve_millions).isqrt();
        let rounded_up = if width.saturating_pow(2).saturating_mul(twelve_millions) < square {
            width.saturating_add(1)
        } else {
            width
        };
        i64::try_from(rounded_up).unwrap_or(i64::MAX)
    }

    /// Half the tolerance over `2u`, in hundredths, rounded down; `tolerance` is upper minus lower.
    ///
    /// `None` if `u` is zero: the ratio would be infinite.
    pub fn test_uncertainty_ratio_hundredths(self, tolerance: i64) -> Option<u32> {
        // (T/2)/(2u) = T/(4u); squared and times 100²: T²·10⁴·12 / (16·12u²)
        let numerator = u128::from(tolerance.unsigned_abs())
            .saturating_pow(2)
            .saturating_mul(120_000);
        let squared = numerator.checked_div(self.twelve_u_squared().saturating_mul(16))?;
        Some(u32::try_from(squared.isqrt()).unwrap_or(u32::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn uncertainty(max_error: i64, resolution: i64, repeatability: i64) -> Uncertainty {
        Uncertainty {
            max_error,
            resolution,
            repeatability,
        }
    }

    #[test]
    fn a_caliper_of_two_hundredths_on_a_tenth_wide_tolerance() {
        // 0.02 mm, 0.01 mm: u = sqrt(0.02²/3 + 2·0.01²/12) mm = 12 247.449 nm
        let caliper = uncertainty(20_000, 10_000, 0);
        assert_eq!(caliper.guard_band(1_000), 12_248);
        assert_eq!(caliper.guard_band(1_645), 20_148);
        assert_eq!(caliper.guard_band(0), 0);
        assert_eq!(
            caliper.test_uncertainty_ratio_hundredths(100_000),
            Some(204)
        );
    }

    #[test]
    fn the_ratio_of_a_perfect_instrument_is_undefined() {
        assert_eq!(
            uncertainty(0, 0, 0).test_uncertainty_ratio_hundredths(100_000),
            None
        );
        assert_eq!(uncertainty(0, 0, 0).guard_band(1_645), 0);
    }

    #[test]
    fn no_value_however_large_wraps_around() {
        let huge = uncertainty(i64::MAX, i64::MAX, i64::MIN);
        assert!(huge.guard_band(u32::MAX) > 0);
        assert_eq!(huge.test_uncertainty_ratio_hundredths(1), Some(0));
        assert_eq!(
            uncertainty(0, 1, 0).test_uncertainty_ratio_hundredths(i64::MAX),
            Some(u32::MAX)
        );
    }

    proptest! {
        #[test]
        fn a_guard_band_is_the_least_whole_number_not_below_g_u(max_error in 0i64..1_000_000, resolution in 0i64..100_000, repeatability in 0i64..100_000, factor in 0u32..10_000) {
            let u = uncertainty(max_error, resolution, repeatability);
            let width = u128::from(u.guard_band(factor).unsigned_abs());
            // g·u squared, times 12 000 000, in whole numbers
            let square = u.twelve_u_squared() * u128::from(factor).pow(2);
            prop_assert!(width.pow(2) * 12_000_000 >= square);
            prop_assert!(width == 0 || (width - 1).pow(2) * 12_000_000 < square);
        }
    }
}
