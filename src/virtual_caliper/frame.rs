//! The frames that it sends: a value as the bytes a real instrument would put on the line.

use crate::quantity::{Decimal, Unit};

/// What the instrument sends at a press.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sends {
    /// `decimal-line`: `+1.63` and CR.
    DecimalLine {
        /// Say the unit: `+1.63mm`.
        with_unit: bool,
    },
    /// `channel-line`: `01A+1.63` and CR.
    ChannelLine {
        /// 0 to 99.
        channel: u8,
    },
}

impl Sends {
    /// The bytes of one frame, its terminator included.
    pub fn frame(self, digits: Decimal, unit: Unit) -> Vec<u8> {
        let sign = if digits.coefficient() < 0 { "" } else { "+" };
        match self {
            Self::DecimalLine { with_unit: true } => format!("{sign}{digits}{unit}\r"),
            Self::DecimalLine { with_unit: false } => format!("{sign}{digits}\r"),
            Self::ChannelLine { channel } => {
                format!("{:02}A{sign}{digits}\r", channel.min(99))
            }
        }
        .into_bytes()
    }
}

/// What the display shows: whole steps of this many of this unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Resolution {
    /// One step, such as `0.01` or `0.0005`; its digits after the point are those of the display.
    pub step: Decimal,
    /// The unit shown.
    pub unit: Unit,
}

impl Resolution {
    /// 0.01 mm, of the common caliper.
    pub const HUNDREDTH_MM: Self = Self {
        step: Decimal::new(1, 2),
        unit: Unit::Millimetre,
    };

    /// 0.0005 in, of the same caliper switched to inches.
    pub const HALF_THOU: Self = Self {
        step: Decimal::new(5, 4),
        unit: Unit::Inch,
    };

    /// The display at this many steps.
    pub fn show(self, steps: i64) -> Decimal {
        Decimal::new(
            self.step.coefficient().saturating_mul(steps),
            self.step.decimals(),
        )
    }
}
