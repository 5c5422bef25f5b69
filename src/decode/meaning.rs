//! From what a frame says literally to a value; refuses what no instrument can mean.

use super::{DecodeError, Fields};
use crate::quantity::{Measured, Unit};

/// The value of `fields`; `default_unit` where the frame carries none.
pub fn value(fields: &Fields, default_unit: Unit) -> Result<Measured, DecodeError> {
    let unit = fields.unit.unwrap_or(default_unit);
    Measured::new(fields.digits, unit).ok_or_else(|| DecodeError::TooLarge {
        got: format!("{} {unit}", fields.digits),
    })
}
