//! Terminal sheets: what a terminal's maker asks for, per conductor size.

use super::{AxisName, Limits};
use crate::quantity::Area;

/// A terminal with what its maker asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Terminal {
    /// Its id.
    pub id: String,
    /// Where the figures are from, as the shop writes it.
    pub source: Option<String>,
    /// A row for each conductor size.
    pub rows: Vec<Row>,
}

/// What is asked of one conductor size.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// The conductor size printed on the sheet.
    pub wire: Area,
    /// Limits per axis, in the order of the sheet.
    pub limits: Vec<(AxisName, Limits)>,
}

impl Terminal {
    /// The row of this conductor size.
    pub fn row(&self, wire: Area) -> Option<&Row> {
        self.rows.iter().find(|row| row.wire == wire)
    }
}

impl Row {
    /// The limits of this axis.
    pub fn limits_of(&self, axis: &AxisName) -> Option<&Limits> {
        self.limits
            .iter()
            .find(|(name, _)| name == axis)
            .map(|(_, limits)| limits)
    }
}
