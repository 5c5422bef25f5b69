//! Terminal sheets: what a terminal's maker requires for each conductor size.

use super::wire::Gauge;
use super::{AxisName, Limits, SizingSystem};
use crate::quantity::Area;
use std::fmt;

/// A terminal with its maker's requirements.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Terminal {
    /// Part number, as the maker prints it.
    pub id: String,
    /// What the maker or the shop calls it.
    pub name: Option<String>,
    /// Where the figures are from, as the shop writes it.
    pub source: Option<String>,
    /// What the maker additionally requires of a crimp made with a repair-class tool.
    pub repair_needs: Option<String>,
    /// A row for each conductor size or range of sizes; no two rows are for the same size.
    pub rows: Vec<SheetRow>,
}

/// The requirements for one conductor size, or for a range of sizes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetRow {
    /// The conductor sizes printed on the sheet.
    pub sizes: Sizes,
    /// Limits per axis, in the order of the sheet.
    pub limits: Vec<(AxisName, Limits)>,
}

/// What the source of a row says whose limits were taken from pieces.
pub const NOT_MAKERS: &str = "not a maker's sheet";

/// The conductor sizes of a row: one size, or every size from one to another, both of which belong to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Sizes {
    from: Area,
    to: Area,
}

impl Sizes {
    /// Every size from one to another; `None` if the second is smaller.
    pub fn range(from: Area, to: Area) -> Option<Self> {
        (from <= to).then_some(Self { from, to })
    }

    /// The smallest size.
    pub const fn smallest(self) -> Area {
        self.from
    }

    /// The largest size; the smallest, if it is one size.
    pub const fn largest(self) -> Area {
        self.to
    }

    /// Whether it is more than one size.
    pub fn is_range(self) -> bool {
        self.from < self.to
    }

    /// Whether this size belongs to it.
    pub fn has(self, area: Area) -> bool {
        (self.from..=self.to).contains(&area)
    }

    /// Whether a size belongs to both.
    pub fn meet(self, other: Self) -> bool {
        self.from <= other.to && other.from <= self.to
    }
}

impl From<Area> for Sizes {
    fn from(area: Area) -> Self {
        Self {
            from: area,
            to: area,
        }
    }
}

impl fmt::Display for Sizes {
    /// `2.0 mm²`, or `1.0..1.5 mm²`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_range() {
            write!(f, "{}..{}", self.from.mm2(), self.to)
        } else {
            write!(f, "{}", self.from)
        }
    }
}

impl Terminal {
    /// The row of this conductor size.
    pub fn row(&self, wire: Area) -> Option<&SheetRow> {
        self.rows.iter().find(|row| row.sizes.has(wire))
    }

    /// The sizes with a row that a gauge may mean, each with its sizing system; `None` if only the table of ISO-size
    /// cable pairs them, which is not a sizing system.
    pub fn meanings(&self, gauge: &Gauge) -> Vec<(Area, Option<SizingSystem>)> {
        let systems = [SizingSystem::SaeMetric, SizingSystem::AwgArea];
        let by_system = systems
            .into_iter()
            .filter_map(|sizing| Some((gauge.area(sizing)?, Some(sizing))));
        let others = gauge.iso_pairing.map(|area| (area, None));
        let mut found: Vec<(Area, Option<SizingSystem>)> = Vec::new();
        for (area, sizing) in by_system.chain(others) {
            if self.row(area).is_some() && found.iter().all(|(known, _)| *known != area) {
                found.push((area, sizing));
            }
        }
        found
    }
}

impl SheetRow {
    /// The limits of this axis.
    pub fn limits_of(&self, axis: &AxisName) -> Option<&Limits> {
        self.limits
            .iter()
            .find(|(name, _)| name == axis)
            .map(|(_, limits)| limits)
    }
}
