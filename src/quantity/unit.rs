//! The units that instruments and sheets use.

use super::{Dimension, named};
use std::fmt;

named! {
    /// A unit of length or force.
    pub enum Unit {
        /// 10⁻³ m.
        Millimetre = "mm",
        /// 10⁻² m.
        Centimetre = "cm",
        /// 10⁻⁶ m, written without the letter µ.
        Micrometre = "um",
        /// 25.4 mm exactly.
        Inch = "in",
        /// kg·m/s².
        Newton = "N",
        /// 1000 N.
        Kilonewton = "kN",
        /// 9.80665 N exactly.
        KilogramForce = "kgf",
        /// 4.4482216152605 N exactly.
        PoundForce = "lbf",
    }
}

impl Unit {
    /// The unit of this symbol; `µm` and `"` are accepted too.
    pub fn from_symbol(symbol: &str) -> Option<Self> {
        match symbol {
            "µm" | "μm" => Some(Self::Micrometre),
            "\"" => Some(Self::Inch),
            other => Self::ALL
                .into_iter()
                .find(|unit| unit.name().eq_ignore_ascii_case(other)),
        }
    }

    /// Its dimension.
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::Millimetre | Self::Centimetre | Self::Micrometre | Self::Inch => {
                Dimension::Length
            }
            Self::Newton | Self::Kilonewton | Self::KilogramForce | Self::PoundForce => {
                Dimension::Force
            }
        }
    }

    /// Base units (nm, mN) in one unit, as numerator and denominator.
    pub const fn base_per_one(self) -> (i128, i128) {
        match self {
            Self::Millimetre | Self::Kilonewton => (1_000_000, 1),
            Self::Centimetre => (10_000_000, 1),
            Self::Micrometre | Self::Newton => (1_000, 1),
            Self::Inch => (25_400_000, 1),
            Self::KilogramForce => (980_665, 100),
            Self::PoundForce => (44_482_216_152_605, 10_000_000_000),
        }
    }

    /// `mm, cm, …`, for messages.
    pub(super) fn list() -> String {
        Self::ALL.map(Self::name).join(", ")
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
