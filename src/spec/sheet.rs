//! Terminal sheets: what a terminal's maker requires for each conductor size.

use super::wire::Gauge;
use super::{AxisName, Limits, SizingSystem};
use crate::quantity::Area;

/// A terminal with its maker's requirements.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Terminal {
    /// Part number, as the maker prints it.
    pub id: String,
    /// Where the figures are from, as the shop writes it.
    pub source: Option<String>,
    /// What the maker additionally requires of a crimp made with a repair-class tool.
    pub repair_needs: Option<String>,
    /// A row for each conductor size.
    pub rows: Vec<SheetRow>,
}

/// The requirements for one conductor size.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetRow {
    /// The conductor size printed on the sheet.
    pub wire: Area,
    /// Limits per axis, in the order of the sheet.
    pub limits: Vec<(AxisName, Limits)>,
}

impl Terminal {
    /// The row of this conductor size.
    pub fn row(&self, wire: Area) -> Option<&SheetRow> {
        self.rows.iter().find(|row| row.wire == wire)
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
