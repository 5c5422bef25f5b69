//! Conductor cross-sections in whole square micrometres: 0.35 mm² is 350 000 µm².

use super::{Decimal, ParseDecimalError};
use std::fmt;
use std::str::FromStr;

/// The cross-section of a conductor, in whole square micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Area(u64);

impl Area {
    /// From whole square micrometres.
    pub const fn from_square_micrometres(square_micrometres: u64) -> Self {
        Self(square_micrometres)
    }

    /// Whole square micrometres.
    pub const fn square_micrometres(self) -> u64 {
        self.0
    }

    /// The number of mm² with at least one digit after the point: `2.0`, `0.35`.
    pub fn mm2(self) -> Decimal {
        let micro = i64::try_from(self.0).unwrap_or(i64::MAX);
        let decimals = (1..=6)
            .find(|places| micro % 10_i64.pow(6 - places) == 0)
            .unwrap_or(6);
        Decimal::new(
            micro / 10_i64.pow(6 - decimals),
            u8::try_from(decimals).unwrap_or(6),
        )
    }

    /// From a number of mm²; `None` if negative, zero, or finer than a square micrometre.
    pub fn from_mm2(mm2: Decimal) -> Option<Self> {
        let places = u32::from(mm2.decimals());
        let micro = i128::from(mm2.coefficient()) * 1_000_000;
        let divisor = 10_i128.checked_pow(places)?;
        let whole = u64::try_from(micro / divisor).ok()?;
        (micro % divisor == 0 && whole > 0).then_some(Self(whole))
    }
}

impl fmt::Display for Area {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm²", self.mm2())
    }
}

impl FromStr for Area {
    type Err = ParseDecimalError;

    /// `2.0 mm²` or `2 mm2`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let not_an_area = || ParseDecimalError::NotANumber {
            got: text.to_owned(),
        };
        let trimmed = text.trim();
        let number = ["mm²", "mm2", "mm^2"]
            .iter()
            .find_map(|unit| trimmed.strip_suffix(unit))
            .ok_or_else(not_an_area)?;
        Self::from_mm2(number.trim().parse()?).ok_or_else(not_an_area)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_area_reads_and_shows_as_on_a_sheet() {
        for (text, shown) in [
            ("2 mm2", "2.0 mm²"),
            ("0.35 mm²", "0.35 mm²"),
            ("10.0 mm²", "10.0 mm²"),
        ] {
            assert_eq!(text.parse::<Area>().unwrap().to_string(), shown);
        }
        assert!("0 mm²".parse::<Area>().is_err());
        assert!("2.0".parse::<Area>().is_err());
    }
}
