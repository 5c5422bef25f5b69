//! Numbers with their digits, quantities with the unit in the field's name, bytes as hex.

use super::names;
use crate::entry::Digits;
use crate::entry::line::LineError;
use crate::quantity::{Area, Decimal, Dimension, Measured, Quantity};
use crate::spec::{Limits, WireSize};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) fn fault(cause: impl Into<String>) -> LineError {
    LineError::NotAnEntry {
        cause: cause.into(),
    }
}

impl TryFrom<&Digits> for Decimal {
    type Error = LineError;

    /// Accepts every number that a [`Decimal`] can hold, also with more digits than an instrument may send.
    fn try_from(number: &Digits) -> Result<Self, LineError> {
        let text = number.text();
        let wrong = || fault(format!("got {text}, want a number such as 1.60"));
        let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
        let plain = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if !plain(whole.strip_prefix('-').unwrap_or(whole)) || !plain(fraction) {
            return Err(wrong());
        }
        let coefficient = format!("{whole}{fraction}").parse().map_err(|_| wrong())?;
        let decimals = u8::try_from(fraction.len()).map_err(|_| wrong())?;
        Ok(Self::new(coefficient, decimals))
    }
}

/// A number in units of `10^-places`, for values that the program holds as whole numbers.
pub(super) fn shown(units: impl Into<i64>, places: u8) -> Digits {
    Decimal::new(units.into(), places).into()
}

/// A number as whole units of `10^-places`; an error if it has more digits.
pub(super) fn units(number: &Digits, places: u8) -> Result<i64, LineError> {
    let decimal = Decimal::try_from(number)?;
    let finer = || {
        fault(format!(
            "{decimal} has more than {places} digits after the point"
        ))
    };
    let missing = places.checked_sub(decimal.decimals()).ok_or_else(finer)?;
    10_i64
        .checked_pow(u32::from(missing))
        .and_then(|scale| decimal.coefficient().checked_mul(scale))
        .ok_or_else(finer)
}

/// The value of a field `…_nm`.
pub(super) fn nm(quantity: Option<Quantity>) -> Option<i64> {
    base_of(quantity, Dimension::Length)
}

/// The value of a field `…_mn`.
pub(super) fn mn(quantity: Option<Quantity>) -> Option<i64> {
    base_of(quantity, Dimension::Force)
}

fn base_of(quantity: Option<Quantity>, dimension: Dimension) -> Option<i64> {
    quantity
        .filter(|quantity| quantity.dimension() == dimension)
        .map(Quantity::base)
}

/// The quantity in a pair of fields `name_nm` and `name_mn`; an error if both are given.
pub(super) fn quantity(
    name: &str,
    nm: Option<i64>,
    mn: Option<i64>,
) -> Result<Option<Quantity>, LineError> {
    match (nm, mn) {
        (Some(nm), None) => Ok(Some(Quantity::from_base(Dimension::Length, nm))),
        (None, Some(mn)) => Ok(Some(Quantity::from_base(Dimension::Force, mn))),
        (None, None) => Ok(None),
        (Some(_), Some(_)) => Err(fault(format!(
            "got both {name}_nm and {name}_mn, want one of them"
        ))),
    }
}

/// As [`quantity`], where one of the fields is required.
pub(super) fn known(name: &str, nm: Option<i64>, mn: Option<i64>) -> Result<Quantity, LineError> {
    quantity(name, nm, mn)?
        .ok_or_else(|| fault(format!("missing field `{name}_nm` or `{name}_mn`")))
}

/// The value from `value` and `unit`; `value_nm` or `value_mn` must agree.
pub(super) fn measured(
    nm: Option<i64>,
    mn: Option<i64>,
    value: &Digits,
    unit: names::Unit,
) -> Result<Measured, LineError> {
    let want = known("value", nm, mn)?;
    let digits = Decimal::try_from(value)?;
    Measured::new(digits, unit)
        .filter(|measured| measured.quantity() == want)
        .ok_or_else(|| fault(format!("value and unit do not say the same as value_nm or value_mn: got {digits}, want {want}")))
}

/// The ends of a range.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub(super) struct Span {
    #[serde(skip_serializing_if = "Option::is_none")]
    from_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    from_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    to_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    to_mn: Option<i64>,
}

impl From<(Quantity, Quantity)> for Span {
    fn from((from, to): (Quantity, Quantity)) -> Self {
        Self {
            from_nm: nm(Some(from)),
            from_mn: mn(Some(from)),
            to_nm: nm(Some(to)),
            to_mn: mn(Some(to)),
        }
    }
}

impl TryFrom<Span> for (Quantity, Quantity) {
    type Error = LineError;

    fn try_from(span: Span) -> Result<Self, LineError> {
        Ok((
            known("from", span.from_nm, span.from_mn)?,
            known("to", span.to_nm, span.to_mn)?,
        ))
    }
}

/// The fields of limits. They are beside others in a line, so this struct itself is not written.
pub(super) struct LimitFields {
    pub(super) nominal: (Option<i64>, Option<i64>),
    pub(super) lower: (Option<i64>, Option<i64>),
    pub(super) upper: (Option<i64>, Option<i64>),
    pub(super) unit: names::Unit,
}

impl TryFrom<LimitFields> for Limits {
    type Error = LineError;

    fn try_from(fields: LimitFields) -> Result<Self, LineError> {
        let part = |name, (nm, mn)| quantity(name, nm, mn);
        let nominal = part("nominal", fields.nominal)?;
        let (lower, upper) = (part("lower", fields.lower)?, part("upper", fields.upper)?);
        if nominal.is_none() && lower.is_none() && upper.is_none() {
            return Ok(Self::none(fields.unit));
        }
        Self::new(nominal, lower, upper, fields.unit).map_err(|error| fault(error.to_string()))
    }
}

/// The sizing system; left out where it is the metric one.
pub(super) fn sizing(wire: &WireSize) -> Option<names::Sizing> {
    let sizing = wire.sizing;
    (sizing != names::Sizing::IsoMm2).then_some(sizing)
}

/// The wire from its fields.
pub(super) fn wire(
    mm2: &Digits,
    gauge: Option<String>,
    sizing: Option<names::Sizing>,
) -> Result<WireSize, LineError> {
    let number = Decimal::try_from(mm2)?;
    Ok(WireSize {
        area: Area::from_mm2(number)
            .ok_or_else(|| fault(format!("wire_mm2 is {number}, want more than 0")))?,
        gauge,
        sizing: sizing.unwrap_or(names::Sizing::IsoMm2),
    })
}

/// The bytes in lower-case hex digits; `None` for any other text.
fn unhex(text: &str) -> Option<Vec<u8>> {
    let (pairs, rest) = text.as_bytes().as_chunks::<2>();
    let bytes = pairs
        .iter()
        .map(|[high, low]| Some(digit(*high)? << 4 | digit(*low)?))
        .collect();
    if rest.is_empty() { bytes } else { None }
}

/// The value of a lower-case hex digit.
pub(in crate::entry) fn digit(byte: u8) -> Option<u8> {
    match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        _ => None,
    }
}

/// The bytes of a field `raw`.
pub(super) fn raw(text: &str) -> Result<Vec<u8>, LineError> {
    unhex(text).ok_or_else(|| {
        fault(format!(
            "raw is {text:?}, want pairs of lower-case hex digits"
        ))
    })
}
