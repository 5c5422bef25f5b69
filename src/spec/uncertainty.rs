//! Uncertainty of one reading: guard band and test uncertainty ratio, in whole numbers.
//!
//! ```text
//! u² = max_error²/3 + 2·resolution²/12 + repeatability²        (JCGM 100, 4.3.7; from memory)
//! ```
//!
//! The resolution enters twice: once for the reading, once for the zero. A plan that names a budget takes the
//! uncertainty from that instead ([`Budget`](super::budget::Budget)). A guard band is rounded up to the base unit
//! and a ratio down, so rounding never makes an instrument look better than it is.

use crate::quantity::Quantity;

/// The standard uncertainty of one reading, u.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Uncertainty {
    /// `12 u²`, in squared thousandths of a base unit (nm or mN).
    twelfths: u128,
}

/// `(g·u)²` in base units is this part of `12 u²` times g², both in thousandths.
const TWELFTHS_IN_UNIT: u128 = 12_000_000_000_000;

impl Uncertainty {
    /// That of an instrument by its own properties, quantities of one dimension; without a repeatability, that counts as 0.
    pub fn new(max_error: Quantity, resolution: Quantity, repeatability: Option<Quantity>) -> Self {
        let repeatability = repeatability.map_or(0, Quantity::base);
        Self::of_parts(max_error.base(), resolution.base(), repeatability)
    }

    /// From maximum permissible error, resolution and standard deviation of repeated readings, in base units.
    fn of_parts(max_error: i64, resolution: i64, repeatability: i64) -> Self {
        let square = |value: i64| u128::from(value.unsigned_abs()).saturating_pow(2);
        let max_error = square(max_error).saturating_mul(4);
        let resolution = square(resolution).saturating_mul(2);
        let sum = max_error
            .saturating_add(resolution)
            .saturating_add(square(repeatability).saturating_mul(12));
        Self::of_twelfths(sum.saturating_mul(1_000_000))
    }

    /// From `12 u²`, in squared thousandths of a base unit.
    pub(super) const fn of_twelfths(twelfths: u128) -> Self {
        Self { twelfths }
    }

    /// `g·u` in base units, rounded up.
    pub fn guard_band(self, factor_milli: u32) -> i64 {
        let square = self
            .twelfths
            .saturating_mul(u128::from(factor_milli).saturating_pow(2));
        let width = square.div_ceil(TWELFTHS_IN_UNIT).isqrt();
        let rounded_up = if width.saturating_pow(2).saturating_mul(TWELFTHS_IN_UNIT) < square {
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
        // (T/2)/(2u) = T/(4u); squared and times 100²: T²·10⁴·12·10⁶ / (16·12u²), u in thousandths
        let numerator = u128::from(tolerance.unsigned_abs())
            .saturating_pow(2)
            .saturating_mul(120_000_000_000);
        let squared = numerator.checked_div(self.twelfths.saturating_mul(16))?;
        Some(u32::try_from(squared.isqrt()).unwrap_or(u32::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn uncertainty(max_error: i64, resolution: i64, repeatability: i64) -> Uncertainty {
        Uncertainty::of_parts(max_error, resolution, repeatability)
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
            let square = u.twelfths * u128::from(factor).pow(2);
            prop_assert!(width.pow(2) * TWELFTHS_IN_UNIT >= square);
            prop_assert!(width == 0 || (width - 1).pow(2) * TWELFTHS_IN_UNIT < square);
        }
    }
}
