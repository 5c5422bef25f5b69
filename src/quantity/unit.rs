//! The units that instruments and sheets use.

use super::Dimension;
use std::fmt;

/// A unit of length or force.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    /// mm
    Millimetre,
    /// cm
    Centimetre,
    /// um
    Micrometre,
    /// in, 25.4 mm exactly
    Inch,
    /// N
    Newton,
    /// kN
    Kilonewton,
    /// kgf, 9.80665 N exactly
    KilogramForce,
    /// lbf, 4.4482216152605 N exactly
    PoundForce,
}

impl Unit {
    /// Every unit, in the order of messages.
    pub const ALL: [Self; 8] = [
        Self::Millimetre,
        Self::Centimetre,
        Self::Micrometre,
        Self::Inch,
        Self::Newton,
        Self::Kilonewton,
        Self::KilogramForce,
        Self::PoundForce,
    ];

    /// As written on a line, in a sheet and in an entry.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Micrometre => "um",
            Self::Inch => "in",
            Self::Newton => "N",
            Self::Kilonewton => "kN",
            Self::KilogramForce => "kgf",
            Self::PoundForce => "lbf",
        }
    }

    /// The unit written so; `µm` and `"` are understood too.
    pub fn from_symbol(symbol: &str) -> Option<Self> {
        match symbol {
            "µm" | "μm" => Some(Self::Micrometre),
            "\"" => Some(Self::Inch),
            other => Self::ALL
                .into_iter()
                .find(|unit| unit.symbol().eq_ignore_ascii_case(other)),
        }
    }

    /// What it measures.
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

    /// Base units (nm, mN) in one of it, as numerator and denominator.
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
        Self::ALL.map(Self::symbol).join(", ")
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}
