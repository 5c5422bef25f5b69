//! Wire sizes and sizing systems. A gauge is never converted silently: it is resolved through a
//! named system, and both are always shown.

use crate::quantity::Area;

/// How a gauge becomes a cross-section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SizingSystem {
    /// The size is given in mm²; there is no gauge.
    IsoMm2,
    /// The metric designation of automotive low-voltage cable for a gauge.
    SaeMetric,
    /// The geometric area of the American wire gauge.
    AwgArea,
}

/// A wire: its conductor size in mm², and the gauge it was named by.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WireSize {
    /// As printed on the sheet.
    pub area: Area,
    /// The gauge it was named by: `12`, `2/0`.
    pub gauge: Option<String>,
    /// The system that led from gauge to area.
    pub sizing: SizingSystem,
}

impl SizingSystem {
    /// Every system.
    pub const ALL: [Self; 3] = [Self::IsoMm2, Self::SaeMetric, Self::AwgArea];

    /// As in plans and entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::IsoMm2 => "iso_mm2",
            Self::SaeMetric => "sae_metric",
            Self::AwgArea => "awg_area",
        }
    }

    /// The system of this name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|system| system.name() == name)
    }
}
