//! A decimal number with the digits it was written with: `1.60` is not `1.6`.

use std::fmt;
use std::str::FromStr;

/// `coefficient / 10^decimals`, shown with exactly `decimals` digits after the point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Decimal {
    coefficient: i64,
    decimals: u8,
}

/// Why a text is not a decimal number.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ParseDecimalError {
    /// Not a digit, a point or a leading sign.
    #[error("not a number: {got:?}, want digits with at most one point, such as 1.62")]
    NotANumber {
        /// The text.
        got: String,
    },
    /// More digits than 64 bits hold.
    #[error("too many digits: {got:?}, want at most 18")]
    TooManyDigits {
        /// The text.
        got: String,
    },
}

impl Decimal {
    /// `coefficient / 10^decimals`.
    pub const fn new(coefficient: i64, decimals: u8) -> Self {
        Self {
            coefficient,
            decimals,
        }
    }

    /// The number without its point.
    pub const fn coefficient(self) -> i64 {
        self.coefficient
    }

    /// Digits after the point.
    pub const fn decimals(self) -> u8 {
        self.decimals
    }
}

impl FromStr for Decimal {
    type Err = ParseDecimalError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let not_a_number = || ParseDecimalError::NotANumber {
            got: text.to_owned(),
        };
        let (negative, unsigned) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
        let all_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if (whole.is_empty() && fraction.is_empty()) || !all_digits(whole) || !all_digits(fraction)
        {
            return Err(not_a_number());
        }
        let too_many = || ParseDecimalError::TooManyDigits {
            got: text.to_owned(),
        };
        if whole.len() + fraction.len() > 18 {
            return Err(too_many());
        }
        let magnitude = format!("{whole}{fraction}")
            .parse::<i64>()
            .map_err(|_| too_many())?;
        let decimals = u8::try_from(fraction.len()).map_err(|_| too_many())?;
        Ok(Self::new(
            if negative { -magnitude } else { magnitude },
            decimals,
        ))
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Digit by digit from the end, since every reading is written so: sign, zero, point and 255 places have room.
        let mut text = [0; 258];
        let mut room = text.iter_mut().rev();
        let mut put = |byte| {
            if let Some(place) = room.next() {
                *place = byte;
            }
        };
        let places = usize::from(self.decimals);
        let mut rest = self.coefficient.unsigned_abs();
        let mut digits = 0;
        while rest > 0 || digits <= places {
            if digits == places && places > 0 {
                put(b'.');
            }
            put(b'0' + u8::try_from(rest % 10).unwrap_or_default());
            rest /= 10;
            digits += 1;
        }
        if self.coefficient < 0 {
            put(b'-');
        }
        let from = room.len();
        let text = text.get(from..).unwrap_or_default();
        f.write_str(std::str::from_utf8(text).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_as_written() {
        for text in ["1.60", "0.0638", "-0.02", "0", "135", "0.00"] {
            assert_eq!(text.parse::<Decimal>().unwrap().to_string(), text);
        }
        assert_eq!("+1.63".parse::<Decimal>().unwrap().to_string(), "1.63");
        assert_eq!("-0.00".parse::<Decimal>().unwrap().to_string(), "0.00");
        for (coefficient, decimals, text) in [
            (0, 0, "0"),
            (-7, 0, "-7"),
            (10, 1, "1.0"),
            (-5, 3, "-0.005"),
            (i64::MIN, 0, "-9223372036854775808"),
            (i64::MIN, 18, "-9.223372036854775808"),
            (i64::MIN, 19, "-0.9223372036854775808"),
            (i64::MAX, 21, "0.009223372036854775807"),
        ] {
            assert_eq!(Decimal::new(coefficient, decimals).to_string(), text);
        }
        let longest = Decimal::new(i64::MIN, u8::MAX).to_string();
        assert_eq!(longest, format!("-0.{:0255}", i64::MIN.unsigned_abs()));
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in [
            "",
            "-",
            ".",
            "1.2.3",
            "1,62",
            "1e3",
            "٣",
            "--1",
            "1234567890123456789",
        ] {
            assert!(text.parse::<Decimal>().is_err(), "{text}");
        }
    }
}
