//! Judges a value against limits, in integers. No other code gives a verdict.

use super::Limits;
use crate::quantity::{Quantity, named};
use std::fmt;

named! {
    /// The verdict on one reading.
    #[derive(PartialOrd, Ord)]
    pub enum Verdict {
        /// Within the acceptance limits.
        Pass = "pass",
        /// Below the lower limit.
        FailLow = "fail_low",
        /// Above the upper limit.
        FailHigh = "fail_high",
        /// Within the guard band of the lower limit, on either side of it.
        UnsureLow = "unsure_low",
        /// Within the guard band of the upper limit, on either side of it.
        UnsureHigh = "unsure_high",
        /// Measured only: it counts, and there are no limits to judge it by.
        Measured = "measured",
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The rule by which a value is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Decision {
    /// Simple acceptance: a value within limits passes; the uncertainty is not used.
    Simple,
    /// The acceptance limits lie `factor_milli / 1000` standard uncertainties inside the limits (ISO 14253-1).
    Guarded {
        /// g in thousandths; 1.645 by default.
        factor_milli: u32,
    },
}

impl Decision {
    /// The name in plans and entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Simple => "simple",
            Self::Guarded { .. } => "guarded",
        }
    }
}

/// Judges `value` against `limits`; `guard` is the width of the guard band in base units, 0 under simple acceptance.
///
/// Between `limit - guard` and `limit + guard` the verdict is unsure: a value on the inner edge passes, a value on the
/// outer edge is still unsure. If the bands of both limits overlap, the nearer limit decides the verdict.
pub fn judge(value: Quantity, limits: &Limits, guard: i64) -> Verdict {
    if limits.are_none() {
        return Verdict::Measured;
    }
    let value = value.base();
    let below = limits
        .lower()
        .map(|lower| lower.base().saturating_sub(value));
    let above = limits
        .upper()
        .map(|upper| value.saturating_sub(upper.base()));
    // How far past each limit the value lies; negative inside.
    let (below, above) = (below.unwrap_or(i64::MIN), above.unwrap_or(i64::MIN));
    let (worst, fail, unsure) = if below > above {
        (below, Verdict::FailLow, Verdict::UnsureLow)
    } else {
        (above, Verdict::FailHigh, Verdict::UnsureHigh)
    };
    if guard == 0 {
        return if worst > 0 { fail } else { Verdict::Pass };
    }
    if worst > guard {
        fail
    } else if worst > -guard {
        unsure
    } else {
        Verdict::Pass
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Measured;
    use proptest::prelude::*;

    fn judged(value: &str, limits: &str, guard_nm: i64) -> Verdict {
        let value: Measured = value.parse().unwrap();
        judge(value.quantity(), &limits.parse().unwrap(), guard_nm)
    }

    #[test]
    fn both_limits_belong_to_the_good_side_under_the_simple_rule() {
        let limits = "1.62 ±0.05 mm";
        assert_eq!(judged("1.57 mm", limits, 0), Verdict::Pass);
        assert_eq!(judged("1.67 mm", limits, 0), Verdict::Pass);
        assert_eq!(judged("1.56 mm", limits, 0), Verdict::FailLow);
        assert_eq!(judged("1.68 mm", limits, 0), Verdict::FailHigh);
        assert_eq!(judged("135 N", ">= 135 N", 0), Verdict::Pass);
        assert_eq!(judged("134 N", ">= 135 N", 0), Verdict::FailLow);
    }

    #[test]
    fn within_the_guard_band_on_either_side_of_a_limit_it_is_unsure() {
        let (limits, guard) = ("1.62 ±0.05 mm", 20_000);
        assert_eq!(judged("1.59 mm", limits, guard), Verdict::Pass);
        assert_eq!(judged("1.58 mm", limits, guard), Verdict::UnsureLow);
        assert_eq!(judged("1.57 mm", limits, guard), Verdict::UnsureLow);
        assert_eq!(judged("1.55 mm", limits, guard), Verdict::UnsureLow);
        assert_eq!(judged("1.54 mm", limits, guard), Verdict::FailLow);
        assert_eq!(judged("1.66 mm", limits, guard), Verdict::UnsureHigh);
        assert_eq!(judged("1.70 mm", limits, guard), Verdict::FailHigh);
    }

    proptest! {
        #[test]
        fn a_wider_guard_band_never_turns_unsure_into_pass_or_fail(value in 0i64..4_000_000, guard in 0i64..200_000, more in 0i64..200_000) {
            let limits: Limits = "1.62 ±0.05 mm".parse().unwrap();
            let value = Quantity::from_base(crate::quantity::Dimension::Length, value);
            let narrow = judge(value, &limits, guard);
            let wide = judge(value, &limits, guard + more);
            let unsure = |verdict| matches!(verdict, Verdict::UnsureLow | Verdict::UnsureHigh);
            if unsure(narrow) { prop_assert!(unsure(wide)); } else { prop_assert!(wide == narrow || unsure(wide)); }
        }
    }
}
