//! The axes: what can be measured on a crimp. To add one: a row here, and a file beside this one if it needs more than
//! a row.

use crate::quantity::Dimension;
use std::fmt;
use std::sync::Arc;

/// The name of an axis, as it stands in sheets and entries.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AxisName(Arc<str>);

impl AxisName {
    /// Makes a name from any text; the configuration checks whether the axis exists.
    pub fn new(name: impl Into<Arc<str>>) -> Self {
        Self(name.into())
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for AxisName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// An axis that can be measured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Axis {
    /// As in sheets and entries: `core_crimp_height`.
    pub name: AxisName,
    /// Length or force.
    pub dimension: Dimension,
    /// Half the plausible window, in percent of nominal.
    pub plausible_percent: u16,
    /// The plausible window of a force with a lower limit only, in percent of that limit; `None` is from a third of it
    /// to the strength of the wire.
    pub plausible_of_lower: Option<(u16, u16)>,
}

/// A built-in axis.
#[derive(Debug)]
pub struct AxisRow {
    /// The name in people's sheets; it never changes.
    pub name: &'static str,
    /// Length or force.
    pub dimension: Dimension,
}

const fn length(name: &'static str) -> AxisRow {
    AxisRow {
        name,
        dimension: Dimension::Length,
    }
}

/// The axis of pull tests, which destroy their pieces.
pub const PULL_FORCE: &str = "pull_force";

/// Every built-in axis.
pub const AXES: &[AxisRow] = &[
    length("core_crimp_height"),
    length("core_crimp_width"),
    length("insulation_crimp_height"),
    length("insulation_crimp_width"),
    length("strip_length"),
    length("bellmouth"),
    length("cutoff_tab"),
    AxisRow {
        name: PULL_FORCE,
        dimension: Dimension::Force,
    },
];

/// Half the plausible window in percent of nominal, if the axis does not set its own.
pub const PLAUSIBLE_PERCENT: u16 = 20;

impl Axis {
    /// The axes of a configuration that defines none.
    pub fn built_in() -> Vec<Self> {
        AXES.iter()
            .map(|row| Self {
                name: AxisName::new(row.name),
                dimension: row.dimension,
                plausible_percent: PLAUSIBLE_PERCENT,
                plausible_of_lower: None,
            })
            .collect()
    }
}

impl AxisName {
    /// Whether measuring destroys the piece.
    pub fn is_destructive(&self) -> bool {
        &*self.0 == PULL_FORCE
    }

    /// The words for a value below the lower limit and above the upper limit: `too narrow`, `too wide`.
    pub fn beyond(&self, dimension: Dimension) -> (&'static str, &'static str) {
        match dimension {
            Dimension::Force => ("too weak", "too strong"),
            Dimension::Length if self.0.ends_with("width") => ("too narrow", "too wide"),
            Dimension::Length if self.0.ends_with("height") => ("too low", "too high"),
            Dimension::Length if self.0.ends_with("length") => ("too short", "too long"),
            Dimension::Length => ("too small", "too large"),
        }
    }

    /// The name in words: `core crimp height`.
    pub fn words(&self) -> String {
        self.0.replace('_', " ")
    }
}
