//! Exact values: lengths, forces, wire areas and times, as whole numbers of a small unit.
//!
//! In: text and decimal digits as an instrument or a sheet gives them. Out: integers that can be
//! compared without a tolerance, and the same text again.
//!
//! - No float in here: `1.62 mm` is 1 620 000 nm, and an inch is 25 400 000 nm (exact by definition).
//! - A [`Measured`] value keeps the digits that its instrument showed.

mod area;
mod date;
mod decimal;
mod force;
mod hex;
mod length;
mod moment;
mod named;
mod near;
mod period;
mod safe;
mod time;
mod unit;
mod zone;

pub use area::Area;
pub use date::{Date, ParseDateError};
pub use decimal::{Decimal, ParseDecimalError};
pub use force::Force;
pub use hex::{hex, hex_pair};
pub use length::Length;
pub use moment::ParseMomentError;
pub(crate) use named::named;
pub use near::{did_you_mean, meant, nearest};
pub use period::Period;
pub use safe::{is_unsafe, safe, safe_or_same, unsafe_in};
pub use time::{MonoMicros, Now, WallMicros};
pub use unit::Unit;
pub use zone::{OffsetFrom, Zone};

use std::fmt;

/// The dimension of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dimension {
    /// A length, kept in nanometres.
    Length,
    /// A force, kept in millinewtons.
    Force,
}

/// A length or a force, exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// A length in whole nanometres.
    Length(Length),
    /// A force in whole millinewtons.
    Force(Force),
}

impl Quantity {
    /// Its dimension.
    pub fn dimension(self) -> Dimension {
        match self {
            Self::Length(_) => Dimension::Length,
            Self::Force(_) => Dimension::Force,
        }
    }

    /// The whole number of base units: nanometres of a length, millinewtons of a force.
    pub fn base(self) -> i64 {
        match self {
            Self::Length(length) => length.nanometres(),
            Self::Force(force) => force.millinewtons(),
        }
    }

    /// From a whole number of base units of `dimension`.
    pub fn from_base(dimension: Dimension, base: i64) -> Self {
        match dimension {
            Dimension::Length => Self::Length(Length::from_nanometres(base)),
            Dimension::Force => Self::Force(Force::from_millinewtons(base)),
        }
    }

    /// `digits` of `unit`, rounded to the nearest base unit (ties away from zero).
    ///
    /// Exact for every step a caliper shows: 0.001 mm is 1 000 nm and 0.00005 in is 1 270 nm.
    /// `None` if it does not fit in 64 bits.
    pub fn of(digits: Decimal, unit: Unit) -> Option<Self> {
        let (numerator, denominator) = unit.base_per_one();
        let scaled = i128::from(digits.coefficient()).checked_mul(numerator)?;
        let divisor =
            denominator.checked_mul(10_i128.checked_pow(u32::from(digits.decimals()))?)?;
        let base = i64::try_from(divide_rounding(scaled, divisor)).ok()?;
        Some(Self::from_base(unit.dimension(), base))
    }

    /// `digits` of `unit` as a whole number of `10^-finer` base units. `None` if that is not a whole number or does
    /// not fit in 64 bits.
    ///
    /// ```
    /// use tallyjaw::quantity::{Decimal, Quantity, Unit};
    /// let weight = "107.8681568".parse::<Decimal>()?;
    /// assert_eq!(Quantity::exact(weight, Unit::Millimetre, 0), None);
    /// assert_eq!(Quantity::exact(weight, Unit::Millimetre, 1), Some(1_078_681_568));
    /// # Ok::<_, tallyjaw::quantity::ParseDecimalError>(())
    /// ```
    pub fn exact(digits: Decimal, unit: Unit, finer: u8) -> Option<i64> {
        let (numerator, denominator) = unit.base_per_one();
        let decimals = digits.decimals();
        let power = |exponent: u8| 10_i128.checked_pow(u32::from(exponent));
        let scaled = i128::from(digits.coefficient())
            .checked_mul(numerator)?
            .checked_mul(power(finer.saturating_sub(decimals))?)?;
        let divisor = denominator.checked_mul(power(decimals.saturating_sub(finer))?)?;
        let is_whole = scaled % divisor == 0;
        is_whole
            .then(|| i64::try_from(scaled / divisor).ok())
            .flatten()
    }

    /// The value in `unit` with `decimals` digits after the point, rounded (ties away from zero).
    ///
    /// `None` if `unit` has another dimension.
    pub fn in_unit(self, unit: Unit, decimals: u8) -> Option<Decimal> {
        if unit.dimension() != self.dimension() {
            return None;
        }
        let (numerator, denominator) = unit.base_per_one();
        let scale = 10_i128.checked_pow(u32::from(decimals))?;
        let scaled = i128::from(self.base())
            .checked_mul(denominator)?
            .checked_mul(scale)?;
        let coefficient = i64::try_from(divide_rounding(scaled, numerator)).ok()?;
        Some(Decimal::new(coefficient, decimals))
    }

    /// The exact value in `unit` with the fewest digits after the point, but at least `fewest`.
    ///
    /// `None` if nine digits do not suffice, or if `unit` has another dimension.
    pub fn shortest_in(self, unit: Unit, fewest: u8) -> Option<Decimal> {
        (fewest..=9)
            .filter_map(|decimals| self.in_unit(unit, decimals))
            .find(|digits| Self::of(*digits, unit) == Some(self))
    }

    /// Rounded to two significant digits of its metric unit, away from zero. An uncertainty or a guard band is shown so
    /// (JCGM 100:2008, 7.2.6, from memory), and a statement that holds for it holds for the rounded one too.
    ///
    /// ```
    /// use tallyjaw::quantity::{Dimension, Quantity};
    /// let width = Quantity::from_base(Dimension::Length, 20_148);
    /// assert_eq!(width.two_digits_up().to_string(), "0.021 mm");
    /// ```
    #[must_use]
    pub fn two_digits_up(self) -> Self {
        let base = self.base();
        let digits = base.unsigned_abs().checked_ilog10().unwrap_or(0);
        let step = 10_i64.pow(digits.saturating_sub(1).min(17));
        let rest = base % step;
        let up = if rest == 0 { 0 } else { step * rest.signum() };
        Self::from_base(self.dimension(), (base - rest).saturating_add(up))
    }
}

impl fmt::Display for Quantity {
    /// In millimetres with two digits after the point, or in newtons; with more digits where the value needs them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, least, most) = match self {
            Self::Length(_) => (Unit::Millimetre, 2, 6),
            Self::Force(_) => (Unit::Newton, 0, 3),
        };
        let digits = self.shortest_in(unit, least);
        let digits = digits.unwrap_or_else(|| Decimal::new(self.base(), most));
        write!(f, "{digits} {unit}")
    }
}

/// `numerator / denominator` to the nearest whole number, ties away from zero; `denominator > 0`.
fn divide_rounding(numerator: i128, denominator: i128) -> i128 {
    let half = denominator / 2;
    if numerator >= 0 {
        (numerator + half) / denominator
    } else {
        (numerator - half) / denominator
    }
}

/// A value as an instrument showed it: the exact quantity and the digits of the display.
///
/// ```
/// use tallyjaw::quantity::{Decimal, Measured, Unit};
/// let value = Measured::new("1.60".parse::<Decimal>()?, Unit::Millimetre).unwrap();
/// assert_eq!(value.quantity().base(), 1_600_000);
/// assert_eq!(value.to_string(), "1.60 mm");
/// # Ok::<_, tallyjaw::quantity::ParseDecimalError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Measured {
    quantity: Quantity,
    digits: Decimal,
    unit: Unit,
}

impl Measured {
    /// `digits` of `unit`; `None` if it does not fit in 64 bits of the base unit.
    pub fn new(digits: Decimal, unit: Unit) -> Option<Self> {
        Some(Self {
            quantity: Quantity::of(digits, unit)?,
            digits,
            unit,
        })
    }

    /// The exact value.
    pub fn quantity(self) -> Quantity {
        self.quantity
    }

    /// The digits as shown.
    pub fn digits(self) -> Decimal {
        self.digits
    }

    /// The unit the digits are in.
    pub fn unit(self) -> Unit {
        self.unit
    }
}

impl fmt::Display for Measured {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.digits, self.unit)
    }
}

/// Why a text is not a quantity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ParseQuantityError {
    /// The number itself is faulty.
    #[error(transparent)]
    Number(#[from] ParseDecimalError),
    /// There is no unit after the number.
    #[error("no unit after {got:?}, want one of {want}", want = Unit::list())]
    NoUnit {
        /// The text.
        got: String,
    },
    /// The unit is not one we know.
    #[error("unknown unit {got:?}, want one of {want}", want = Unit::list())]
    UnknownUnit {
        /// The text of the unit.
        got: String,
    },
    /// The dimension is not the expected one.
    #[error("got a {got}, want a {want}")]
    WrongDimension {
        /// What was given.
        got: Dimension,
        /// What is needed.
        want: Dimension,
    },
    /// The value does not fit in 64 bits of the base unit.
    #[error("{got:?} is too large")]
    TooLarge {
        /// The text.
        got: String,
    },
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Length => "length",
            Self::Force => "force",
        })
    }
}

impl std::str::FromStr for Measured {
    type Err = ParseQuantityError;

    /// `1.62 mm`, `0.0638 in`, `30 lbf`; the blank may be left out.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let trimmed = text.trim();
        let unit_at = trimmed
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '+' | '-' | ' ')))
            .ok_or_else(|| ParseQuantityError::NoUnit {
                got: trimmed.to_owned(),
            })?;
        let (number, unit) = trimmed.split_at(unit_at);
        let unit =
            Unit::from_symbol(unit.trim()).ok_or_else(|| ParseQuantityError::UnknownUnit {
                got: unit.trim().to_owned(),
            })?;
        let digits: Decimal = number.trim().parse()?;
        Self::new(digits, unit).ok_or_else(|| ParseQuantityError::TooLarge {
            got: trimmed.to_owned(),
        })
    }
}

impl Measured {
    /// The length; an error if it is a force.
    pub fn length(self) -> Result<Length, ParseQuantityError> {
        match self.quantity {
            Quantity::Length(length) => Ok(length),
            Quantity::Force(_) => Err(ParseQuantityError::WrongDimension {
                got: Dimension::Force,
                want: Dimension::Length,
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_millimetre_and_an_inch_are_exact() {
        let of = |text: &str| text.parse::<Measured>().unwrap().quantity().base();
        assert_eq!(of("1.62 mm"), 1_620_000);
        assert_eq!(of("1 in"), 25_400_000); // exact: international yard and pound agreement of 1959
        assert_eq!(of("0.0005 in"), 12_700);
        assert_eq!(of("0.0638in"), 1_620_520);
        assert_eq!(of("-0.02 mm"), -20_000);
        assert_eq!(of("162 um"), 162_000);
        assert_eq!(of("135 N"), 135_000);
        assert_eq!(of("1 kgf"), 9_807); // 9.80665 N, NIST SP 811 appendix B, from memory
        assert_eq!(of("30 lbf"), 133_447); // 4.4482216152605 N, NIST SP 811 appendix B, from memory
    }

    #[test]
    fn a_value_without_a_known_unit_says_what_was_got_and_what_is_wanted() {
        let error = "1.62 mn".parse::<Measured>().unwrap_err().to_string();
        assert_eq!(
            error,
            "unknown unit \"mn\", want one of mm, cm, um, in, N, kN, kgf, lbf"
        );
        assert!("1.62".parse::<Measured>().is_err());
    }

    proptest! {
        #[test]
        fn text_of_a_value_reads_back_as_the_same_value(coefficient in -10_000_000i64..10_000_000, decimals in 0u8..6, unit in 0usize..8) {
            let unit = Unit::ALL[unit];
            let value = Measured::new(Decimal::new(coefficient, decimals), unit).unwrap();
            prop_assert_eq!(value.to_string().parse::<Measured>().unwrap(), value);
        }

        #[test]
        fn two_digits_up_are_two_digits_and_never_less(base in any::<i64>()) {
            let shown = Quantity::from_base(Dimension::Length, base).two_digits_up().base();
            prop_assert!(shown.unsigned_abs() >= base.unsigned_abs());
            prop_assert!(shown == i64::MAX || shown == i64::MIN || shown.unsigned_abs().to_string().trim_end_matches('0').len() <= 2);
            // No more than a tenth is added, where there are two digits to say.
            prop_assert!(base.unsigned_abs() < 10 || shown.unsigned_abs() - base.unsigned_abs() <= base.unsigned_abs() / 10);
        }

        #[test]
        fn a_value_in_its_own_unit_has_its_own_digits(coefficient in -10_000_000i64..10_000_000, decimals in 0u8..4) {
            for unit in [Unit::Millimetre, Unit::Inch] {
                let value = Measured::new(Decimal::new(coefficient, decimals), unit).unwrap();
                prop_assert_eq!(value.quantity().in_unit(unit, decimals), Some(value.digits()));
            }
        }
    }
}
