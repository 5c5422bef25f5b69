//! Uncertainty budgets: what contributes to the uncertainty of a reading, in whole numbers.
//!
//! ```text
//! u² = Σ uᵢ²        half-width a:     a²/3 rectangular, a²/6 triangular, a²/2 u-shaped
//!                   expanded U:       (U/k)²
//!                   standard:         u²
//!                   temperature:      (L α Θ)²/3        length L, expansion α, half-width Θ about 20 °C
//! ```
//!
//! Every sensitivity is 1: each contribution is in the unit of the reading. Each is rounded up to a thousandth of a base
//! unit, so rounding never makes an instrument look better than it is. Source: JCGM 100, 4.2, 4.3, 5.1.2 and annex H.1,
//! from memory.

use super::uncertainty::Uncertainty;
use crate::quantity::{Quantity, named};

named! {
    /// Where a contribution comes from.
    pub enum Source {
        /// The instrument's calibration, or its maximum permissible error.
        Calibration = "calibration",
        /// The smallest step of its display.
        Resolution = "resolution",
        /// The spread of readings by one person on one piece.
        Repeatability = "repeatability",
        /// The spread between persons, days and places on a piece.
        Reproducibility = "reproducibility",
        /// Setting and reading the zero.
        Zero = "zero",
        /// The temperature of piece and instrument, which is not 20 °C.
        Temperature = "temperature",
        /// Anything else, such as the form of the piece.
        Other = "other",
    }
}

named! {
    /// How the values of a contribution are distributed between its ends.
    #[derive(Default)]
    pub enum Shape {
        /// Equally likely everywhere between the ends.
        #[default]
        Rectangular = "rectangular",
        /// More likely in the middle, as a difference of two rectangular ones.
        Triangular = "triangular",
        /// More likely at the ends, as a temperature that is controlled between two points.
        UShaped = "u_shaped",
    }
}

impl Shape {
    /// What twelve times the variance is, in squared half-widths.
    const fn twelfths(self) -> u128 {
        match self {
            Self::Rectangular => 4,
            Self::Triangular => 2,
            Self::UShaped => 6,
        }
    }
}

/// The form in which a contribution is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// It is within this distance of zero.
    HalfWidth(Quantity, Shape),
    /// An expanded uncertainty and its coverage factor in thousandths, as a certificate gives it.
    Expanded(Quantity, u32),
    /// A standard deviation.
    Standard(Quantity),
    /// The expansion of a length.
    Expansion(Expansion),
}

/// How a length changes with a temperature that is not 20 °C.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Expansion {
    /// The length.
    pub length: Quantity,
    /// The coefficient in 10⁻⁹ per kelvin: the difference of piece and instrument, where both have the same temperature.
    pub nano_per_kelvin: i64,
    /// The temperature is within this many thousandths of a kelvin of 20 °C.
    pub half_width_millikelvin: i64,
}

/// One line of a budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// The form in which it is known.
    pub form: Form,
    /// The degrees of freedom of its standard deviation; `None` is infinitely many.
    pub degrees: Option<u32>,
}

/// The contributions to the uncertainty of a reading of one instrument, under a name that plans use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Budget {
    /// Its name, such as `caliper-1/2026-11`.
    pub name: String,
    /// The instrument.
    pub instrument: String,
    /// At least one.
    pub contributions: Vec<Contribution>,
}

impl Expansion {
    /// `L α Θ` in thousandths of a base unit, rounded up.
    pub fn half_width_milli(self) -> u128 {
        let of = |value: i64| u128::from(value.unsigned_abs());
        // nm · 10⁻⁹/K · 10⁻³ K = 10⁻¹² nm, which is 10⁻⁹ thousandths
        of(self.length.base())
            .saturating_mul(of(self.nano_per_kelvin))
            .saturating_mul(of(self.half_width_millikelvin))
            .div_ceil(1_000_000_000)
    }
}

impl Contribution {
    /// `12 u²`, in squared thousandths of a base unit, rounded up.
    pub fn twelve_u_squared(&self) -> u128 {
        let milli = |value: Quantity| u128::from(value.base().unsigned_abs()).saturating_mul(1_000);
        let square = |value: u128| value.saturating_pow(2);
        match self.form {
            Form::HalfWidth(width, shape) => square(milli(width)).saturating_mul(shape.twelfths()),
            Form::Expanded(width, factor_milli) => square(milli(width))
                .saturating_mul(12_000_000)
                .div_ceil(square(u128::from(factor_milli)).max(1)),
            Form::Standard(deviation) => square(milli(deviation)).saturating_mul(12),
            Form::Expansion(of) => {
                square(of.half_width_milli()).saturating_mul(Shape::Rectangular.twelfths())
            }
        }
    }
}

impl Budget {
    /// The uncertainty of one reading.
    pub fn uncertainty(&self) -> Uncertainty {
        let each = self.contributions.iter();
        let sum = each.fold(0_u128, |sum, one| {
            sum.saturating_add(one.twelve_u_squared())
        });
        Uncertainty::of_twelfths(sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Dimension, Measured};

    fn of(text: &str) -> Quantity {
        text.parse::<Measured>().unwrap().quantity()
    }

    fn budget(forms: &[Form]) -> Budget {
        let contributions = forms.iter().map(|form| Contribution {
            source: Source::Other,
            form: *form,
            degrees: None,
        });
        Budget {
            name: "caliper-1/2026-11".to_owned(),
            instrument: "caliper-1".to_owned(),
            contributions: contributions.collect(),
        }
    }

    #[test]
    fn a_budget_of_maximum_permissible_error_and_two_roundings_is_the_instruments_own() {
        let forms = [
            Form::HalfWidth(of("0.02 mm"), Shape::Rectangular),
            Form::HalfWidth(of("0.005 mm"), Shape::Rectangular),
            Form::HalfWidth(of("0.005 mm"), Shape::Rectangular),
            Form::Standard(of("0.003 mm")),
        ];
        let own = Uncertainty::new(of("0.02 mm"), of("0.01 mm"), Some(of("0.003 mm")));
        assert_eq!(budget(&forms).uncertainty(), own);
    }

    #[test]
    fn each_form_is_divided_as_its_shape_says() {
        let u = |form| budget(&[form]).uncertainty().guard_band(1_000);
        // 6 µm over √3, √6 and √2, and over k = 2.5
        assert_eq!(
            u(Form::HalfWidth(of("0.006 mm"), Shape::Rectangular)),
            3_465
        );
        assert_eq!(u(Form::HalfWidth(of("0.006 mm"), Shape::Triangular)), 2_450);
        assert_eq!(u(Form::HalfWidth(of("0.006 mm"), Shape::UShaped)), 4_243);
        assert_eq!(u(Form::Expanded(of("0.006 mm"), 2_500)), 2_400);
        assert_eq!(u(Form::Standard(of("0.006 mm"))), 6_000);
        // 50 mm · 11.5·10⁻⁶/K · 5 K = 2.875 µm, over √3
        let steel = Expansion {
            length: of("50 mm"),
            nano_per_kelvin: 11_500,
            half_width_millikelvin: 5_000,
        };
        assert_eq!(steel.half_width_milli(), 2_875_000);
        assert_eq!(u(Form::Expansion(steel)), 1_660);
    }

    #[test]
    fn no_contribution_however_large_wraps_around() {
        let huge = Quantity::from_base(Dimension::Length, i64::MIN);
        let all = [Form::Standard(huge), Form::Standard(huge)];
        assert!(budget(&all).uncertainty().guard_band(u32::MAX) > 1_000_000_000_000);
    }
}
