//! Lengths in whole nanometres: 0.01 mm and 0.0005 in are both exact.

use super::{Decimal, Quantity, Unit};
use std::fmt;

/// A length in whole nanometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Length(i64);

impl Length {
    /// From whole nanometres.
    pub const fn from_nanometres(nanometres: i64) -> Self {
        Self(nanometres)
    }

    /// Whole nanometres.
    pub const fn nanometres(self) -> i64 {
        self.0
    }
}

impl fmt::Display for Length {
    /// In millimetres, with two digits after the point or as many more as the value needs.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_shortest(f, Quantity::Length(*self), Unit::Millimetre, 2, 6)
    }
}

/// Writes `quantity` with at least `least` decimals and no more than it needs, at most `most`.
pub(super) fn write_shortest(
    f: &mut fmt::Formatter<'_>,
    quantity: Quantity,
    unit: Unit,
    least: u8,
    most: u8,
) -> fmt::Result {
    let digits = (least..=most)
        .filter_map(|decimals| quantity.in_unit(unit, decimals))
        .find(|digits| Quantity::of(*digits, unit) == Some(quantity))
        .unwrap_or_else(|| Decimal::new(quantity.base(), most));
    write!(f, "{digits} {unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_shows_as_many_digits_as_it_needs() {
        assert_eq!(Length::from_nanometres(1_620_000).to_string(), "1.62 mm");
        assert_eq!(Length::from_nanometres(1_600_000).to_string(), "1.60 mm");
        assert_eq!(Length::from_nanometres(1_620_520).to_string(), "1.62052 mm");
        assert_eq!(Length::from_nanometres(-20_000).to_string(), "-0.02 mm");
    }
}
