//! The table of frame formats. To add one: a file beside this one and a row in [`FORMATS`].

mod channel_line;
mod decimal_line;

use super::DecodeError;
use super::framing::Framing;
use crate::quantity::{Decimal, Unit};

/// What one whole frame says literally; no unit conversion, no judgement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fields {
    /// The number with its sign and digits.
    pub digits: Decimal,
    /// The unit, where the frame carries one.
    pub unit: Option<Unit>,
    /// The channel, where the frame carries one.
    pub channel: Option<u8>,
}

/// A kind of frame.
#[derive(Debug)]
pub struct FrameFormat {
    /// Stands in people's configuration; never changes.
    pub name: &'static str,
    /// Where a frame starts and ends.
    pub framing: Framing,
    /// What one whole frame says literally.
    pub fields: fn(&[u8]) -> Result<Fields, DecodeError>,
}

/// Every frame format we read.
pub const FORMATS: &[&FrameFormat] = &[&decimal_line::FORMAT, &channel_line::FORMAT];

impl FrameFormat {
    /// The format of this name.
    pub fn from_name(name: &str) -> Option<&'static Self> {
        FORMATS.iter().copied().find(|format| format.name == name)
    }
}
