//! What frames show of their instrument: its unit and its resolution.

use crate::decode::format::FrameFormat;
use crate::decode::{Decoded, Decoder};
use crate::quantity::{Decimal, Measured, MonoMicros, Unit};

/// What the frames of one instrument show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shown {
    /// The unit of the values; the most common one where the frames carry none.
    pub unit: Unit,
    /// Whether the frames carry the unit.
    pub unit_is_sent: bool,
    /// The resolution of the display, as far as the digits show it.
    pub step: Decimal,
}

/// Number of values that must all be multiples of five before the resolution is taken to be five of the last digit.
const ENOUGH: usize = 3;

impl Shown {
    /// From frames and their values.
    pub(super) fn of<'a>(
        format: &'static FrameFormat,
        raw: impl Iterator<Item = &'a [u8]>,
        values: &[Measured],
    ) -> Self {
        let last = values.last();
        let unit = last.map_or(Unit::Millimetre, |value| value.unit());
        let decimals = values.iter().map(|value| value.digits().decimals());
        let decimals = decimals.max().unwrap_or(2);
        let same = values
            .iter()
            .filter(|value| value.digits().decimals() == decimals);
        let on_five = same
            .clone()
            .all(|value| value.digits().coefficient() % 5 == 0);
        // With four decimals of an inch, 0.0005 in is by far the most common resolution.
        let usual = unit == Unit::Inch && decimals == 4;
        let in_fives = on_five && decimals >= 3 && (usual || same.count() >= ENOUGH);
        Self {
            unit,
            unit_is_sent: raw
                .last()
                .is_some_and(|frame| carries_its_unit(format, frame)),
            step: Decimal::new(if in_fives { 5 } else { 1 }, decimals),
        }
    }
}

/// Whether the frame gives the same value for every default unit.
fn carries_its_unit(format: &'static FrameFormat, raw: &[u8]) -> bool {
    let unit = |default| {
        let mut decoder = Decoder::new(format, default);
        decoder.push(MonoMicros(0), raw);
        match decoder.poll()? {
            Decoded::Value { value, .. } => Some(value.unit()),
            Decoded::Blank { .. } | Decoded::Undecoded { .. } => None,
        }
    };
    unit(Unit::Millimetre) == unit(Unit::Inch)
}
