//! How sure one reading is: guard band and test uncertainty ratio, in whole numbers.
//!
//! ```text
//! u² = max_error²/3 + 2·resolution²/12 + repeatability²        (JCGM 100, 4.3.7; from memory)
//! ```
//!
//! One resolution term is the reading's, one the zero's. A guard band is rounded up to the base
//! unit, a ratio down: rounding never makes an instrument look better than it is.

use crate::quantity::Quantity;

/// What is known of an instrument's errors, in base units (nm or mN).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Uncertainty {
    /// Maximum permissible error, from its calibration.
    pub max_error: i64,
    /// One count.
    pub resolution: i64,
    /// Standard deviation of repeated readings, 0 where unknown.
    pub repeatability: i64,
}

impl Uncertainty {
    /// From quantities of one dimension.
    pub fn new(max_error: Quantity, resolution: Quantity, repeatability: Option<Quantity>) -> Self {
        Self {
            max_error: max_error.base(),
            resolution: resolution.base(),
            repeatability: repeatability.map_or(0, Quantity::base),
        }
    }

    /// `12 u²` in squared base units: the sum without its fractions.
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
        u32::try_from(squared.isqrt()).ok()
    }
}
