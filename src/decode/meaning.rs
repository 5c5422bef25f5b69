//! Turns the literal fields of a frame into a value; refuses fields that no instrument can mean.

use super::format::Number;
use super::{DecodeError, Fields};
use crate::quantity::{Length, Measured, Unit};

/// What a frame means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Meaning {
    /// The value, with the digits of the display.
    pub value: Measured,
    /// The position of the display's zero on the instrument's scale, where the frame carries it.
    pub origin: Option<Length>,
}

/// The meaning of `fields`; the value is in `default_unit` if the frame carries no unit.
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
