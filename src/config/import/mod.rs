//! A maker's sheet as a table of cells (CSV) → checked terminals, and their text as a sheet of ours.
//!
//! In: the bytes of the file, and what the user says of it. Out: what was understood, to be shown before
//! anything is written, or every fault with its place.
//!
//! - What can be read in two ways is never guessed: it is a fault whose remedy names the option that
//!   decides it.
//! - Columns and rows that are not used are reported.

mod cell;
mod encoding;
mod grid;
mod heading;
mod layout;
mod number;
mod rows;
mod written;

pub use encoding::Encoding;
pub use grid::Separator;
pub use heading::WireUnit;
pub use number::DecimalMark;
pub use written::{WrittenError, terminals_of};

use super::Faulty;
use super::diagnostic::Source;
use super::faults::{Faults, Role};
use crate::quantity::Unit;
use crate::quantity::did_you_mean;
use crate::spec::{Axis, AxisName, Limits, SizingSystem, WireSize};
use heading::{Part, Target};
use std::path::PathBuf;

/// What the user says of the file; whatever is `None` the file must tell by itself.
#[derive(Debug, Clone, Default)]
pub struct Ask {
    /// The terminal's id; where the file names terminals, the one to take.
    pub terminal: Option<String>,
    /// What stands between cells.
    pub separator: Option<Separator>,
    /// `.` or `,`; none: guessed from the fields.
    pub decimal: Option<DecimalMark>,
    /// The unit of lengths that have none.
    pub unit: Option<Unit>,
    /// The unit of forces that have none.
    pub force_unit: Option<Unit>,
    /// The unit of wire sizes that have none.
    pub wire_unit: Option<WireUnit>,
    /// The system in which gauges are resolved.
    pub sizing: Option<SizingSystem>,
    /// The line of the headings, from 1.
    pub header_line: Option<usize>,
    /// What columns are.
    pub columns: Vec<ColumnRule>,
}

/// What the user says of one column: `HEADING=TARGET`.
#[derive(Debug, Clone)]
pub struct ColumnRule {
    heading: String,
    target: Target,
}

impl ColumnRule {
    /// `C/H nom=core_crimp_height`, `3=core_crimp_height.tolerance`, `Remarks=ignore`; the error says what is
    /// wrong with it and what is wanted.
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
                let known: Vec<_> = ["wire", "terminal", "ignore"]
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

    /// Is it for the column at `at` (from 0) with this heading?
    fn is_for(&self, at: usize, heading: &str) -> bool {
        self.heading.to_lowercase() == heading.to_lowercase() || self.heading.parse() == Ok(at + 1)
    }
}

/// What a file says, understood.
#[derive(Debug)]
pub struct Understood {
    /// As named by `--encoding`, or guessed from the bytes.
    pub encoding: Encoding,
    /// What stands between cells.
    pub separator: Separator,
    /// The decimal mark, where any number has one.
    pub decimal: Option<DecimalMark>,
    /// The line of the headings.
    pub header_line: usize,
    /// Each heading with what its column is taken for; `None` where it is not used.
    pub columns: Vec<(String, Option<String>)>,
    /// The terminals with their rows, in the order of the file.
    pub terminals: Vec<Imported>,
    /// What else a person should know: rows not used, sizes that do not fit each other.
    pub notes: Vec<String>,
}

/// One terminal of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// Its id; `None` where neither the file nor the user names it.
    pub id: Option<String>,
    /// Its rows, in the order of the file.
    pub rows: Vec<ImportedRow>,
}

/// One row of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ImportedRow {
    /// Its line in the file.
    pub line: usize,
    /// The conductor size.
    pub wire: WireSize,
    /// The limits, in the order of the columns.
    pub limits: Vec<(AxisName, Limits)>,
}

/// Reads a file. `axes` are those that a sheet may limit.
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
