//! Writes what was understood as a sheet in our format, and reads it back before it is returned.

use super::{Imported, ImportedRow, Understood};
use crate::config::Source;
use crate::config::faults::Faults;
use crate::config::sheet;
use crate::quantity::Measured;
use crate::quantity::safe;
use crate::spec::{Axis, AxisName, Limits, SizingSystem, Tolerance};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Why no sheet was written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WrittenError {
    /// Neither file nor user gives the terminal's id.
    #[error("the file names no terminal")]
    NoTerminal,
    /// Reading the sheet back gives something other than was understood.
    #[error("what would be written does not read back: {0}")]
    NotTheSame(String),
}

impl WrittenError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::NoTerminal => "name it: --terminal ID",
            Self::NotTheSame(_) => "look at what was understood, and mend the file or --source",
        }
    }
}

impl Understood {
    /// The text of the sheet. `from` is the imported file, `source` the user's words about its origin.
    pub fn sheet(
        &self,
        from: &Path,
        source: Option<&str>,
        axes: &[Axis],
    ) -> Result<String, WrittenError> {
        let name = from.file_name().unwrap_or_default().to_string_lossy();
        let name = safe(&name);
        let mut text = format!(
            "# Read from {name} by tallyjaw sheet import. Compare it with the maker's sheet before you measure by it.\n"
        );
        for terminal in &self.terminals {
            let id = terminal.id.as_deref().ok_or(WrittenError::NoTerminal)?;
            let _ = write!(text, "\n[[terminal]]\nid = {}\n", quoted(id));
            if let Some(name) = &terminal.name {
                let _ = writeln!(text, "name = {}", quoted(name));
            }
            let _ = writeln!(text, "source = {}", quoted(source.unwrap_or(&name)));
            push_tolerances(&mut text, &self.tolerances);
            for row in &terminal.rows {
                push_row(&mut text, row, &self.tolerances);
            }
        }
        match differs(&text, &self.terminals, axes) {
            None => Ok(text),
            Some(difference) => Err(WrittenError::NotTheSame(difference)),
        }
    }
}

/// Ids of the terminals in the text of a sheet, as far as it can be read.
pub fn terminals_of(text: &str, axes: &[Axis]) -> Vec<String> {
    let source = Source {
        path: PathBuf::new(),
        text: text.to_owned(),
    };
    let terminals = sheet::read(&source, axes, &mut Faults::default());
    let ids = terminals.into_iter().map(|terminal| terminal.id.value);
    ids.collect()
}

/// Writes the tolerances once, as the maker's sheet has them.
fn push_tolerances(text: &mut String, tolerances: &[(AxisName, Tolerance)]) {
    if tolerances.is_empty() {
        return;
    }
    let each = tolerances.iter();
    let each = each.map(|(axis, tolerance)| format!("{axis} = {}", quoted(&tolerance.to_string())));
    let each: Vec<_> = each.collect();
    let _ = writeln!(text, "tolerance = {{ {} }}", each.join(", "));
}

/// The nominal alone, if the terminal's tolerance gives these limits.
fn by_tolerance(
    axis: &AxisName,
    limits: &Limits,
    tolerances: &[(AxisName, Tolerance)],
) -> Option<Measured> {
    let (_, tolerance) = tolerances.iter().find(|(name, _)| name == axis)?;
    let unit = limits.unit();
    let nominal = Measured::new(limits.nominal()?.shortest_in(unit, 2)?, unit)?;
    (tolerance.of(nominal).as_ref() == Ok(limits)).then_some(nominal)
}

fn push_row(text: &mut String, row: &ImportedRow, tolerances: &[(AxisName, Tolerance)]) {
    let wire = row.written_sizes();
    let _ = write!(text, "\n[[terminal.row]]\nwire = {}\n", quoted(&wire));
    if row.wire.sizing != SizingSystem::IsoMm2 {
        let _ = writeln!(text, "sizing = {}", quoted(row.wire.sizing.name()));
    }
    for (axis, limits) in &row.limits {
        let said = match by_tolerance(axis, limits, tolerances) {
            Some(nominal) => nominal.to_string(),
            None => limits.to_string(),
        };
        let _ = writeln!(text, "{axis} = {}", quoted(&said));
    }
}

/// A text as a TOML string.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// The first difference between the sheet and what was understood.
fn differs(text: &str, terminals: &[Imported], axes: &[Axis]) -> Option<String> {
    let source = Source {
        path: "the new sheet".into(),
        text: text.to_owned(),
    };
    let mut faults = Faults::default();
    let read = sheet::read(&source, axes, &mut faults);
    let (diagnostics, _) = faults.finish();
    if let Some(fault) = diagnostics.first() {
        return Some(format!(
            "line {}: {}, {}",
            fault.line, fault.message, fault.label
        ));
    }
    for (got, want) in read.iter().zip(terminals) {
        if got.name != want.name {
            return Some(format!("the name of {}", got.id.value));
        }
        for (row, wanted) in got.rows.iter().zip(&want.rows) {
            let row = &row.value;
            let limits: Vec<_> = row
                .limits
                .iter()
                .filter_map(|(axis, limits)| Some((axis.clone(), limits.clone()?)))
                .collect();
            let same_sizes = row.wire == wanted.wire && row.up_to == wanted.up_to;
            if !same_sizes || limits != wanted.limits {
                return Some(format!("the row for {}", wanted.sizes()));
            }
        }
    }
    let count = |rows: usize, terminals: usize| format!("{rows} rows of {terminals} terminals");
    let got = count(
        read.iter().map(|terminal| terminal.rows.len()).sum(),
        read.len(),
    );
    let rows = terminals.iter().map(|terminal| terminal.rows.len()).sum();
    let want = count(rows, terminals.len());
    (got != want).then(|| format!("{got} instead of {want}"))
}
