//! Imports a maker's sheet from CSV: checked terminals, and their text in the format of our sheets.
//!
//! In: the bytes of the file, and the user's options. Out: what was understood, to be shown before anything is written;
//! or every fault with its place.
//!
//! - A file that can be read in two ways is never guessed. It is a fault whose remedy names the option that decides it.
//! - Columns and rows that are not used are reported.

mod cell;
mod encoding;
pub(in crate::config) mod grid;
mod heading;
mod layout;
mod number;
mod rows;
mod wires;
mod written;

pub use encoding::{Encoding, decode, encode_like};
pub use grid::Separator;
pub use heading::WireUnit;
pub use number::DecimalMark;
pub use written::{WrittenError, terminals_of};

use super::Faulty;
use super::diagnostic::Source;
use super::faults::{Faults, Role};
use crate::quantity::{Dimension, Unit, did_you_mean};
use crate::spec::{Axis, AxisName, Limits, Sizes, SizingSystem, Tolerance, WireSize};
use heading::{Part, Target};
use std::path::PathBuf;

/// The user's options for the import. What is `None` must follow from the file.
#[derive(Debug, Clone, Default)]
pub struct Ask {
    /// Id of the terminal; if the file names terminals, the one to import.
    pub terminal: Option<String>,
    /// The character between cells.
    pub separator: Option<Separator>,
    /// The decimal mark; `None` finds it from the numbers.
    pub decimal: Option<DecimalMark>,
    /// The unit of lengths without a unit.
    pub unit: Option<Unit>,
    /// The unit of forces without a unit.
    pub force_unit: Option<Unit>,
    /// The unit of wire sizes without a unit.
    pub wire_unit: Option<WireUnit>,
    /// The sizing system of gauges.
    pub sizing: Option<SizingSystem>,
    /// Line of the headings, from 1.
    pub header_line: Option<usize>,
    /// The contents of columns, where given.
    pub columns: Vec<ColumnRule>,
    /// The tolerances that the sheet gives once for all rows, by axis.
    pub tolerances: Vec<(AxisName, Tolerance)>,
}

impl Ask {
    /// The tolerance of this axis for all rows.
    fn tolerance_of(&self, axis: &AxisName) -> Option<&Tolerance> {
        let mut tolerances = self.tolerances.iter();
        let (_, tolerance) = tolerances.find(|(name, _)| name == axis)?;
        Some(tolerance)
    }
}

/// The axis and tolerance of `core_crimp_height=±0.05 mm`.
///
/// # Errors
///
/// What is wrong with the text, and what is expected.
pub fn tolerance(text: &str, axes: &[Axis]) -> Result<(AxisName, Tolerance), String> {
    let Some((name, tolerance)) = text.split_once('=') else {
        return Err(format!(
            "got --tolerance {text:?}, want \"core_crimp_height=±0.05 mm\""
        ));
    };
    let name = name.trim();
    let Some(known) = axes.iter().find(|axis| axis.name.as_str() == name) else {
        let known: Vec<_> = axes.iter().map(|axis| axis.name.as_str()).collect();
        let near = did_you_mean(name, &known);
        return Err(format!("no axis {name:?} for --tolerance: {near}"));
    };
    let tolerance: Tolerance = tolerance
        .parse()
        .map_err(|error| format!("{name}: {error}"))?;
    if known.dimension == Dimension::Force || tolerance.dimension() != known.dimension {
        return Err(format!(
            "got {tolerance} for {name}, want a tolerance of a length for an axis that is one"
        ));
    }
    Ok((known.name.clone(), tolerance))
}

/// The user's rule for one column: `HEADING=TARGET`.
#[derive(Debug, Clone)]
pub struct ColumnRule {
    heading: String,
    target: Target,
}

impl ColumnRule {
    /// Reads `C/H nom=core_crimp_height`, `3=core_crimp_height.tolerance` or `Remarks=ignore`. The error says what is
    /// wrong and what is expected.
    pub fn parse(text: &str, axes: &[Axis]) -> Result<Self, String> {
        let Some((heading, target)) = text.rsplit_once('=') else {
            return Err(format!("got --column {text:?}, want \"HEADING=WHAT\""));
        };
        let (name, part) = target
            .trim()
            .split_once('.')
            .unwrap_or((target.trim(), "nominal"));
        let part = Part::from_name(part);
        let known = axes.iter().find(|axis| axis.name.as_str() == name);
        let target = match (target.trim(), known, part) {
            ("wire", ..) => Target::Wire(None),
            ("terminal", ..) => Target::Terminal,
            ("name", ..) => Target::Name,
            ("ignore", ..) => Target::Ignored,
            (_, Some(known), Some(part)) => Target::Axis(known.name.clone(), part),
            (other, Some(_), None) => {
                let parts = Part::ALL.map(Part::name).join(", ");
                return Err(format!(
                    "got --column … = {other:?}, want one of {parts} after the point"
                ));
            }
            (other, None, _) => {
                let axes = axes.iter().map(|axis| axis.name.as_str());
                let known: Vec<_> = ["wire", "terminal", "name", "ignore"]
                    .into_iter()
                    .chain(axes)
                    .collect();
                let near = did_you_mean(name, &known);
                return Err(format!(
                    "got --column … = {other:?}, which is unknown: {near}"
                ));
            }
        };
        let heading = heading.trim().to_owned();
        Ok(Self { heading, target })
    }

    /// Whether the rule is for the column `at` (from 0) with this heading.
    fn is_for(&self, at: usize, heading: &str) -> bool {
        self.heading.to_lowercase() == heading.to_lowercase() || self.heading.parse() == Ok(at + 1)
    }
}

/// The contents of a file, as understood.
#[derive(Debug)]
pub struct Understood {
    /// The encoding, found from the bytes.
    pub encoding: Encoding,
    /// The character between cells.
    pub separator: Separator,
    /// The decimal mark; `None` if no number has one.
    pub decimal: Option<DecimalMark>,
    /// Line of the headings, from 1.
    pub header_line: usize,
    /// Each heading with the contents of its column; `None` if it is not used.
    pub columns: Vec<(String, Option<String>)>,
    /// The tolerances that were named by the user, by axis.
    pub tolerances: Vec<(AxisName, Tolerance)>,
    /// The terminals with their rows, in the order of the file.
    pub terminals: Vec<Imported>,
    /// Remarks for the user: rows that are not used, sizes that contradict each other.
    pub notes: Vec<String>,
}

/// One terminal of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// Id of the terminal; `None` if neither file nor user gives it.
    pub id: Option<String>,
    /// What the file calls it, if all its rows say the same.
    pub name: Option<String>,
    /// Its rows, in the order of the file.
    pub rows: Vec<ImportedRow>,
}

/// One row of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImportedRow {
    /// Line in the file, from 1.
    pub line: usize,
    /// The conductor size; the smallest, if the row is for a range.
    pub wire: WireSize,
    /// The largest size of a range.
    pub up_to: Option<WireSize>,
    /// The limits, in the order of the columns.
    pub limits: Vec<(AxisName, Limits)>,
}

impl ImportedRow {
    /// The sizes that the row is for.
    pub fn sizes(&self) -> Sizes {
        let up_to = self.up_to.as_ref();
        let range = up_to.and_then(|up_to| Sizes::range(self.wire.area, up_to.area));
        range.unwrap_or(Sizes::from(self.wire.area))
    }

    /// The sizes as they are written in a sheet: `0.5..1.0 mm²`, `20..16 ga`.
    pub fn written_sizes(&self) -> String {
        match (&self.wire.gauge, &self.up_to) {
            (None, _) => self.sizes().to_string(),
            (Some(gauge), None) => format!("{gauge} ga"),
            (Some(gauge), Some(up_to)) => {
                format!("{gauge}..{} ga", up_to.gauge.as_deref().unwrap_or(gauge))
            }
        }
    }
}

/// Reads a file. `axes` are the axes that a sheet may limit.
pub fn read(path: PathBuf, bytes: &[u8], ask: &Ask, axes: &[Axis]) -> Result<Understood, Faulty> {
    let (text, encoding) = encoding::decode(bytes);
    let source = Source { path, text };
    let mut faults = Faults::default();
    let file = faults.add_file(Role::Csv, &source);
    let understood = layout::find(&source.text, file, ask, axes, &mut faults).and_then(|layout| {
        let decimal = layout::mark(&layout, ask, &mut faults)?;
        let (terminals, notes) = rows::read(&layout, decimal, ask, axes, &mut faults);
        let first = layout.headings.cells.first()?;
        let columns = layout.headings.cells.iter().zip(&layout.columns);
        Some(Understood {
            encoding,
            separator: layout.separator,
            decimal,
            header_line: faults.line_number(&first.place),
            columns: columns
                .map(|(cell, heading)| (cell.value.clone(), heading.as_ref().map(meaning)))
                .collect(),
            tolerances: ask.tolerances.clone(),
            terminals,
            notes,
        })
    });
    let (diagnostics, sources) = faults.finish();
    match understood {
        Some(understood) if diagnostics.is_empty() => Ok(understood),
        Some(_) | None => Err(Faulty {
            diagnostics,
            sources,
        }),
    }
}

fn meaning(heading: &heading::Heading) -> String {
    match heading.unit {
        Some(unit) => format!("{} in {unit}", heading.target),
        None => heading.target.to_string(),
    }
}
