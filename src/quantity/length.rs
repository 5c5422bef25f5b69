//! Lengths in whole nanometres: 0.01 mm and 0.0005 in are both exact.

use super::Quantity;
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
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Quantity::Length(*self).fmt(f)
    }
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
