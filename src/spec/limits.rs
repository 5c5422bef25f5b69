//! Limits of an axis: lower, upper, or both. A value on a limit is within limits.

use crate::quantity::{
    Decimal, Dimension, Measured, ParseDecimalError, ParseQuantityError, Quantity, Unit,
};
use std::fmt;
use std::str::FromStr;

/// The limits of one axis, in base units of one dimension.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    dimension: Dimension,
    nominal: Option<i64>,
    lower: Option<i64>,
    upper: Option<i64>,
    unit: Unit,
}

/// Why a text is not limits.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LimitsError {
    /// The text has none of the accepted forms.
    #[error(
        "got {got:?}, want limits such as \"1.62 ±0.05 mm\", \"1.62 +0.05/-0.03 mm\", \"1.57..1.67 mm\", \">= 135 N\" or \"<= 0.3 mm\""
    )]
    NotLimits {
        /// The text.
        got: String,
    },
    /// The text is not a tolerance alone.
    #[error("got {got:?}, want a tolerance such as \"±0.05 mm\" or \"+0.05/-0.03 mm\"")]
    NotTolerance {
        /// The text.
        got: String,
    },
    /// A number or unit in it is faulty.
    #[error(transparent)]
    Quantity(#[from] ParseQuantityError),
    /// The lower limit lies above the upper one.
    #[error("limits are crossed: lower {lower}, upper {upper}")]
    Crossed {
        /// The lower limit.
        lower: Quantity,
        /// The upper limit.
        upper: Quantity,
    },
    /// The nominal lies outside the limits.
    #[error("nominal {nominal} lies outside its limits {lower} to {upper}")]
    NominalOutside {
        /// The nominal value.
        nominal: Quantity,
        /// The lower limit.
        lower: Quantity,
        /// The upper limit.
        upper: Quantity,
    },
    /// Neither a lower nor an upper limit.
    #[error("no limit at all, want a lower one, an upper one or both")]
    NoLimit,
    /// Two values of different dimensions.
    #[error("limits mix lengths and forces")]
    MixedDimensions,
}

impl From<ParseDecimalError> for LimitsError {
    fn from(error: ParseDecimalError) -> Self {
        Self::Quantity(error.into())
    }
}

impl Limits {
    /// Limits from their parts; `unit` is only the unit in which they are shown.
    pub fn new(
        nominal: Option<Quantity>,
        lower: Option<Quantity>,
        upper: Option<Quantity>,
        unit: Unit,
    ) -> Result<Self, LimitsError> {
        let dimension = unit.dimension();
        if [nominal, lower, upper]
            .into_iter()
            .flatten()
            .any(|part| part.dimension() != dimension)
        {
            return Err(LimitsError::MixedDimensions);
        }
        match (lower, upper) {
            (None, None) => return Err(LimitsError::NoLimit),
            (Some(lower), Some(upper)) => {
                if lower.base() > upper.base() {
                    return Err(LimitsError::Crossed { lower, upper });
                }
                if let Some(nominal) = nominal
                    && !(lower.base()..=upper.base()).contains(&nominal.base())
                {
                    return Err(LimitsError::NominalOutside {
                        nominal,
                        lower,
                        upper,
                    });
                }
            }
            (Some(_), None) | (None, Some(_)) => {}
        }
        let base = |part: Option<Quantity>| part.map(Quantity::base);
        Ok(Self {
            dimension,
            nominal: base(nominal),
            lower: base(lower),
            upper: base(upper),
            unit,
        })
    }

    /// No limit at all: values in this unit are measured and not judged, because no sheet is known.
    pub const fn none(unit: Unit) -> Self {
        Self {
            dimension: unit.dimension(),
            nominal: None,
            lower: None,
            upper: None,
            unit,
        }
    }

    /// Whether there is neither a lower nor an upper limit.
    pub const fn are_none(&self) -> bool {
        self.lower.is_none() && self.upper.is_none()
    }

    /// The dimension of the limited values.
    pub fn dimension(&self) -> Dimension {
        self.dimension
    }

    /// The unit they were written in.
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// The nominal value of the sheet. `None` for a range without one: its middle is not assumed to be nominal.
    pub fn nominal(&self) -> Option<Quantity> {
        self.quantity(self.nominal)
    }

    /// The lower limit; the limit itself is within limits.
    pub fn lower(&self) -> Option<Quantity> {
        self.quantity(self.lower)
    }

    /// The upper limit; the limit itself is within limits.
    pub fn upper(&self) -> Option<Quantity> {
        self.quantity(self.upper)
    }

    /// Upper minus lower limit, in base units; `None` with one limit only.
    pub fn width(&self) -> Option<i64> {
        self.upper?.checked_sub(self.lower?)
    }

    /// The nominal, or the middle of a range without one, in base units.
    pub fn centre(&self) -> Option<i64> {
        self.nominal
            .or_else(|| Some(self.lower? + (self.width()? / 2)))
    }

    fn quantity(&self, base: Option<i64>) -> Option<Quantity> {
        base.map(|base| Quantity::from_base(self.dimension, base))
    }
}

impl FromStr for Limits {
    type Err = LimitsError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let trimmed = text.trim();
        let not_limits = || LimitsError::NotLimits {
            got: trimmed.to_owned(),
        };
        for (sign, is_lower) in [(">=", true), ("≥", true), ("<=", false), ("≤", false)] {
            if let Some(rest) = trimmed.strip_prefix(sign) {
                let value: Measured = rest.parse()?;
                let limit = Some(value.quantity());
                let (lower, upper) = if is_lower {
                    (limit, None)
                } else {
                    (None, limit)
                };
                return Self::new(None, lower, upper, value.unit());
            }
        }
        let (numbers, unit) = split_unit(trimmed)?;
        let quantity = |digits: Decimal| {
            Quantity::of(digits, unit).ok_or_else(|| ParseQuantityError::TooLarge {
                got: trimmed.to_owned(),
            })
        };
        if let Some((lower, upper)) = numbers.split_once("..") {
            let (lower, upper) = (lower.trim().parse()?, upper.trim().parse()?);
            return Self::new(None, Some(quantity(lower)?), Some(quantity(upper)?), unit);
        }
        let (nominal, above, below) = split_deviations(numbers).ok_or_else(not_limits)?;
        let nominal = quantity(nominal.trim().parse()?)?;
        let deviation = |text: &str| -> Result<i64, LimitsError> {
            Ok(quantity(text.trim().parse::<Decimal>()?)?.base())
        };
        let shifted = |by: i64| {
            let base = nominal.base().checked_add(by).ok_or_else(not_limits)?;
            Ok::<_, LimitsError>(Quantity::from_base(unit.dimension(), base))
        };
        let upper = shifted(deviation(above)?)?;
        let lower = shifted(-deviation(below)?)?;
        Self::new(Some(nominal), Some(lower), Some(upper), unit)
    }
}

/// `1.62 ±0.05` → nominal, deviation above, deviation below.
fn split_deviations(numbers: &str) -> Option<(&str, &str, &str)> {
    for sign in ["±", "+/-", "+-"] {
        if let Some((nominal, deviation)) = numbers.split_once(sign) {
            return Some((nominal, deviation, deviation));
        }
    }
    let (nominal, deviations) = numbers.split_once('+')?;
    let (above, below) = deviations.split_once('/')?;
    Some((nominal, above, below.trim().strip_prefix('-')?))
}

/// `1.57..1.67 mm` → `1.57..1.67` and the unit.
fn split_unit(text: &str) -> Result<(&str, Unit), ParseQuantityError> {
    let at = text
        .char_indices()
        .rev()
        .find(|(_, c)| c.is_ascii_digit() || c.is_whitespace() || *c == '.')
        .map_or(0, |(at, c)| at + c.len_utf8());
    let (numbers, unit) = text.split_at(at);
    if unit.is_empty() {
        return Err(ParseQuantityError::NoUnit {
            got: text.to_owned(),
        });
    }
    let unit = Unit::from_symbol(unit).ok_or_else(|| ParseQuantityError::UnknownUnit {
        got: unit.to_owned(),
    })?;
    Ok((numbers.trim(), unit))
}

impl fmt::Display for Limits {
    /// The shortest equivalent text form, in the original unit.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = |base: i64| self.digits(base);
        let unit = self.unit;
        match (self.nominal, self.lower, self.upper) {
            (_, Some(lower), None) => write!(f, ">= {} {unit}", digits(lower)),
            (_, None, Some(upper)) => write!(f, "<= {} {unit}", digits(upper)),
            (Some(nominal), Some(lower), Some(upper)) => {
                let (above, below) = (upper - nominal, nominal - lower);
                if above == below {
                    write!(f, "{} ±{} {unit}", digits(nominal), digits(above))
                } else {
                    write!(
                        f,
                        "{} +{}/-{} {unit}",
                        digits(nominal),
                        digits(above),
                        digits(below)
                    )
                }
            }
            (None, Some(lower), Some(upper)) => {
                write!(f, "{}..{} {unit}", digits(lower), digits(upper))
            }
            (_, None, None) => f.write_str("no limit"),
        }
    }
}

impl Limits {
    /// A value in base units, shown in the unit of the limits.
    pub(super) fn shown(&self, base: i64) -> String {
        format!("{} {}", self.digits(base), self.unit)
    }

    fn digits(&self, base: i64) -> Decimal {
        let least = match self.unit {
            Unit::Millimetre => 2,
            Unit::Centimetre | Unit::Inch => 3,
            Unit::Micrometre
            | Unit::Newton
            | Unit::Kilonewton
            | Unit::KilogramForce
            | Unit::PoundForce => 0,
        };
        Quantity::from_base(self.dimension, base)
            .shortest_in(self.unit, least)
            .unwrap_or_else(|| Decimal::new(base, 0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bases(text: &str) -> (Option<i64>, Option<i64>, Option<i64>) {
        let limits: Limits = text.parse().unwrap();
        let base = |part: Option<Quantity>| part.map(Quantity::base);
        (
            base(limits.nominal()),
            base(limits.lower()),
            base(limits.upper()),
        )
    }

    #[test]
    fn every_text_form_gives_its_limits() {
        let some = |nominal, lower, upper| (Some(nominal), Some(lower), Some(upper));
        assert_eq!(
            bases("1.62 ±0.05 mm"),
            some(1_620_000, 1_570_000, 1_670_000)
        );
        assert_eq!(
            bases("1.62 +/-0.05 mm"),
            some(1_620_000, 1_570_000, 1_670_000)
        );
        assert_eq!(
            bases("1.62 +0.05/-0.03 mm"),
            some(1_620_000, 1_590_000, 1_670_000)
        );
        assert_eq!(
            bases("1.57..1.67 mm"),
            (None, Some(1_570_000), Some(1_670_000))
        );
        assert_eq!(bases(">= 135 N"), (None, Some(135_000), None));
        assert_eq!(bases("<= 0.3 mm"), (None, None, Some(300_000)));
        assert_eq!(
            bases("0.0638 ±0.002 in"),
            some(1_620_520, 1_569_720, 1_671_320)
        );
    }

    #[test]
    fn what_is_no_limit_says_what_was_got_and_what_is_wanted() {
        let error = |text: &str| text.parse::<Limits>().unwrap_err().to_string();
        assert!(error("1.62 mm").starts_with("got \"1.62 mm\", want limits such as"));
        assert_eq!(
            error("1.67..1.57 mm"),
            "limits are crossed: lower 1.67 mm, upper 1.57 mm"
        );
        assert!(error("1.62 ±0.05").starts_with("no unit after"));
        assert!(error("1.62 ±0.05 nm").starts_with("unknown unit"));
        assert!(error("1,62 ±0.05 mm").starts_with("not a number"));
    }

    proptest! {
        #[test]
        fn limits_read_back_from_their_text(nominal in 0i64..10_000, above in 0i64..500, below in 0i64..500, range in any::<bool>()) {
            let at = |hundredths: i64| Some(Quantity::from_base(Dimension::Length, hundredths * 10_000));
            let nominal_part = if range { None } else { at(nominal) };
            let limits = Limits::new(nominal_part, at(nominal - below), at(nominal + above), Unit::Millimetre).unwrap();
            prop_assert_eq!(limits.to_string().parse::<Limits>().unwrap(), limits);
        }
    }
}
