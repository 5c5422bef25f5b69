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
        let sign = if self.coefficient < 0 { "-" } else { "" };
        let (digits, places) = (self.coefficient.unsigned_abs(), usize::from(self.decimals));
        if places == 0 {
            return write!(f, "{sign}{digits}");
        }
        // Where the power has more than 64 bits, nothing stands before the point.
        let (whole, fraction) = match 10_u64.checked_pow(u32::from(self.decimals)) {
            Some(one) => (digits / one, digits % one),
            None => (0, digits),
        };
        write!(f, "{sign}{whole}.{fraction:0places$}")
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
