//! From what a frame says literally to a value; refuses what no instrument can mean.

use super::format::Number;
use super::{DecodeError, Fields};
use crate::quantity::{Length, Measured, Unit};

/// What a frame means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Meaning {
    /// The value, with the digits of the display.
    pub value: Measured,
    /// Where the display's origin lies on the instrument's scale, where the frame tells.
    pub origin: Option<Length>,
}

/// What `fields` mean; in `default_unit` where the frame carries none.
pub fn meaning(fields: &Fields, default_unit: Unit) -> Result<Meaning, DecodeError> {
    let unit = fields.unit.unwrap_or(default_unit);
    let (digits, unit) = match fields.number {
        Number::Digits(digits) => (digits, unit),
        Number::Ticks(ticks) => ticks.shown_in(unit),
    };
    let value = Measured::new(digits, unit).ok_or_else(|| DecodeError::TooLarge {
        got: format!("{digits} {unit}"),
    })?;
    Ok(Meaning {
        value,
        origin: fields.origin.map(super::format::Ticks::length),
    })
}
