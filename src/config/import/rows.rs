//! Reads the rows after the headings: terminals with their sizes and limits.

use super::cell::{CellError, Parts, Reading, is_nothing, parts};
use super::grid::GridRow;
use super::heading::{Heading, Part, Target};
use super::layout::Layout;
use super::number::DecimalMark;
use super::{Ask, Imported, ImportedRow};
use crate::config::faults::{At, Fault, Faults, Place, quoted};
use crate::config::sheet::fault_of;
use crate::config::value::is_name;
use crate::quantity::{Dimension, Unit};
use crate::spec::{Axis, AxisName, Limits};

/// Reads every row. Faults are reported; notes about unused rows are returned.
pub(super) fn read(
    layout: &Layout,
    mark: Option<DecimalMark>,
    ask: &Ask,
    axes: &[Axis],
    faults: &mut Faults,
) -> (Vec<Imported>, Vec<String>) {
    let mut reader = Reader {
        layout,
        reading: Reading {
            mark: mark.unwrap_or(DecimalMark::Point),
            grouped: ask.decimal.is_some(),
        },
        ask,
        axes,
        faults,
        notes: Vec::new(),
        reported: Vec::new(),
        terminals: Vec::new(),
        names: Vec::new(),
    };
    for row in &layout.rows {
        reader.row(row);
    }
    reader.finish()
}

pub(super) struct Reader<'a> {
    pub(super) layout: &'a Layout,
    pub(super) reading: Reading,
    pub(super) ask: &'a Ask,
    axes: &'a [Axis],
    pub(super) faults: &'a mut Faults,
    pub(super) notes: Vec<String>,
    /// Faults that would repeat in every row, such as a column without a unit. They are reported once.
    reported: Vec<String>,
    terminals: Vec<Imported>,
    /// The names that the rows of each terminal have, each once.
    names: Vec<Vec<String>>,
}

impl Reader<'_> {
    fn row(&mut self, row: &GridRow) {
        let Some(first) = row.cells.first() else {
            return;
        };
        let line = self.faults.line_number(&first.place);
        let beyond = row.cells.iter().skip(self.layout.headings.cells.len());
        if let Some(extra) = beyond.into_iter().find(|cell| !cell.value.is_empty()) {
            let got = format!("{} is beyond the last heading", quoted(&extra.value));
            let fault = Fault::new(got, "want no more cells than headings").help(
                "a decimal comma between commas splits a number in two: \
                 put such cells in quotes, or save with semicolons",
            );
            self.faults.add(&extra.place, fault);
            return;
        }
        let says_something = self.layout.meanings().any(|(at, _, heading)| {
            matches!(heading.target, Target::Axis(..)) && !is_nothing(row.text(at))
        });
        if !says_something {
            let texts = row.cells.iter().map(|cell| cell.value.as_str());
            let text: Vec<_> = texts.filter(|text| !text.is_empty()).collect();
            let note = format!(
                "line {line} has no limits and is not used: {}",
                text.join(" | ")
            );
            self.notes.push(note);
            return;
        }
        let Ok(id) = self.terminal(row) else {
            return;
        };
        let sizes = self.sizes(row, line);
        let limits = self.limits(row);
        if let Some((wire, up_to)) = sizes {
            let row_read = ImportedRow {
                line,
                wire,
                up_to,
                limits,
            };
            self.keep(id, row_read, row);
        }
    }

    fn keep(&mut self, id: Option<String>, row: ImportedRow, cells: &GridRow) {
        let at = self.terminals.iter().position(|known| known.id == id);
        let at = at.unwrap_or_else(|| {
            let rows = Vec::new();
            let name = None;
            self.terminals.push(Imported { id, name, rows });
            self.names.push(Vec::new());
            self.terminals.len() - 1
        });
        let mut columns = self.layout.meanings();
        let name = columns.find(|(_, _, heading)| heading.target == Target::Name);
        let name = name.map(|(at, ..)| cells.text(at).to_owned());
        if let (Some(name), Some(names)) = (name, self.names.get_mut(at))
            && !is_nothing(&name)
            && !names.contains(&name)
        {
            names.push(name);
        }
        let Some(terminal) = self.terminals.get_mut(at) else {
            return;
        };
        let twice = terminal
            .rows
            .iter()
            .find(|known| known.sizes().meet(row.sizes()));
        if let Some(earlier) = twice {
            let (wire, _) = self.layout.wires();
            if let Some(cell) = wire.and_then(|wire| cells.cells.get(wire)) {
                let (before, now) = (earlier.written_sizes(), row.written_sizes());
                let is_overlap = earlier.sizes() != row.sizes();
                let got = if is_overlap {
                    format!("the rows for {before} and {now} overlap")
                } else {
                    format!("a second row for {}", row.wire)
                };
                let want = format!(
                    "want one row per size; the first is in line {}",
                    earlier.line
                );
                let help = if is_overlap && terminal.id.is_some() && self.ask.terminal.is_none() {
                    "a size would have two rows: let one end below the size at which the other begins, \
                     as the maker means it"
                } else {
                    "if the rows are for several terminals, name the column with their ids: \
                     --column \"HEADING=terminal\""
                };
                self.faults
                    .add(&cell.place, Fault::new(got, want).help(help));
            }
            return;
        }
        terminal.rows.push(row);
    }

    /// The terminal of a row; `Err` if the cell is faulty or `--terminal` names another one.
    fn terminal(&mut self, row: &GridRow) -> Result<Option<String>, ()> {
        let mut columns = self.layout.meanings();
        let column = columns.find(|(_, _, heading)| heading.target == Target::Terminal);
        let Some(cell) = column.and_then(|(at, ..)| row.cells.get(at)) else {
            return Ok(self.ask.terminal.clone());
        };
        if let Some(asked) = &self.ask.terminal {
            return if *asked == cell.value {
                Ok(Some(cell.value.clone()))
            } else {
                Err(())
            };
        }
        if is_name(&cell.value) {
            return Ok(Some(cell.value.clone()));
        }
        let got = format!("{} is not the id of a terminal", quoted(&cell.value));
        let want = "want letters, digits, - _ and ., at most 64";
        let help = "correct the cell, or leave the column out and name the terminal: \
                    --column \"HEADING=ignore\" --terminal ID";
        self.faults
            .add(&cell.place, Fault::new(got, want).help(help));
        Err(())
    }

    /// Whether this is the first call for `what`.
    pub(super) fn is_first(&mut self, what: &str) -> bool {
        let first = self.reported.iter().all(|before| before != what);
        if first {
            self.reported.push(what.to_owned());
        }
        first
    }

    fn limits(&mut self, row: &GridRow) -> Vec<(AxisName, Limits)> {
        let mut names: Vec<&AxisName> = Vec::new();
        for (_, _, heading) in self.layout.meanings() {
            if let Target::Axis(name, _) = &heading.target
                && !names.contains(&name)
            {
                names.push(name);
            }
        }
        let limits_of = |name: &AxisName| Some((name.clone(), self.limits_of(name, row)?));
        names.into_iter().filter_map(limits_of).collect()
    }

    fn limits_of(&mut self, name: &AxisName, row: &GridRow) -> Option<Limits> {
        let axis = self.axes.iter().find(|axis| axis.name == *name)?;
        let columns = columns_of(self.layout, name);
        let heading_unit = columns.iter().find_map(|(_, heading, _)| heading.unit);
        let mut said = Parts::default();
        let mut place: Option<&Place> = None;
        for (at, heading, part) in columns {
            let Some(cell) = row.cells.get(at).filter(|cell| !is_nothing(&cell.value)) else {
                continue;
            };
            place = place.or(Some(&cell.place));
            match self.said(cell, part, heading) {
                Ok(parts) => {
                    let joined = said.join(parts);
                    if let Err(twice) = joined {
                        let got = format!("this row has the {twice} of {name} twice");
                        let fault = Fault::new(got, "want it once");
                        self.faults.add(&cell.place, fault);
                        return None;
                    }
                }
                Err(fault) => {
                    self.faults.add(&cell.place, fault);
                    return None;
                }
            }
        }
        let place = place?.clone();
        let asked = match axis.dimension {
            Dimension::Length => self.ask.unit,
            Dimension::Force => self.ask.force_unit,
        };
        let unit = heading_unit.or(said.unit()).or(asked);
        let said = said.fill(unit);
        if said.lacks_unit() {
            if self.is_first(name.as_str()) {
                self.faults.add(&place, no_unit(axis));
            }
            return None;
        }
        self.built(axis, &said, &place)
    }

    fn said(&self, cell: &At<String>, part: Part, heading: &Heading) -> Result<Parts, Fault> {
        let text = quoted(&cell.value);
        let said = parts(&cell.value, part, self.reading).map_err(|error| match error {
            CellError::Token(token) => Fault::new(
                format!("{} in {text} is not understood", quoted(&token)),
                format!("want numbers with a decimal {}, and limits such as \"1.62 ±0.05\", \"1.62 +0.05/-0.03\", \"1.57..1.67\", \"min 90\"", self.reading.mark),
            ),
            CellError::Units => Fault::new(format!("two units in {text}"), "want one"),
            CellError::Form => Fault::new(
                format!("{text} is not a form of limits"),
                "want \"1.62 ±0.05\", \"1.62 +0.05/-0.03\", \"1.57..1.67\" or \"min 90\"",
            ),
            CellError::NotThisPart(want) => Fault::new(
                format!("{text} in a column of {}", heading.target),
                format!("want {want}"),
            )
            .help("name the part that this column has: --column \"HEADING=AXIS.lower\" or another part"),
        })?;
        match (said.unit(), heading.unit) {
            (Some(own), Some(above)) if own != above => Err(Fault::new(
                format!("{text} is in {own}, but its heading has {above}"),
                "want one unit",
            )),
            (_, _) => Ok(said.fill(heading.unit)),
        }
    }

    fn built(&mut self, axis: &Axis, said: &Parts, place: &Place) -> Option<Limits> {
        let bare_is_minimum = axis.dimension == Dimension::Force;
        let name = &axis.name;
        let asked = self.ask.tolerance_of(name).zip(said.nominal_alone());
        let limits = match asked {
            Some((tolerance, nominal)) => tolerance.of(nominal),
            None => said.limits(bare_is_minimum),
        };
        let fault = match limits {
            Ok(limits) => match fault_of(&limits, axis) {
                None => return Some(limits),
                Some(fault) => fault,
            },
            // A sheet with one tolerance for all rows has this in each of them.
            Err(_) if said.nominal_alone().is_some() && !self.is_first(&format!("{name} alone")) => {
                return None;
            }
            Err(error) if said.nominal.is_some() => Fault::new(
                format!("{name}: {error}"),
                "want a nominal with its tolerance, or limits",
            )
            .help(
                format!(
                    "a nominal alone is no limit; if a column has its tolerance, name that column: \
                     --column \"HEADING=AXIS.tolerance\"; if the sheet has one tolerance for all rows, \
                     say it: --tolerance \"{name}=±0.05 mm\""
                ),
            ),
            Err(error) => Fault::new(
                format!("{name}: {error}"),
                "want a nominal with its tolerance, or limits",
            ),
        };
        self.faults.add(place, fault);
        None
    }

    /// Gives each terminal its name. Rows that differ in it give none.
    fn take_names(&mut self) {
        for (terminal, names) in self.terminals.iter_mut().zip(&self.names) {
            match names.as_slice() {
                [] => {}
                [name] => terminal.name = Some(name.clone()),
                [first, second, ..] => self.notes.push(format!(
                    "the rows of {} have several names, and none is taken: {}, {}",
                    terminal.id.as_deref().unwrap_or("the terminal"),
                    quoted(first),
                    quoted(second)
                )),
            }
        }
    }

    fn finish(mut self) -> (Vec<Imported>, Vec<String>) {
        self.take_names();
        if self.terminals.is_empty()
            && self.faults.is_empty()
            && let Some(first) = self.layout.headings.cells.first()
        {
            let fault = match &self.ask.terminal {
                Some(id) => Fault::new(
                    format!("no row of terminal {id}"),
                    "want the id of one in the column of terminals",
                ),
                None => Fault::new("no row below these headings", "want rows with limits"),
            };
            self.faults.add(&first.place, fault);
        }
        self.notes.extend(self.note_of_minimum());
        (self.terminals, self.notes)
    }

    /// Notes that forces without a word were read as minimums.
    fn note_of_minimum(&self) -> Option<String> {
        let is_force = |name: &AxisName| {
            let mut axes = self.axes.iter();
            axes.any(|axis| axis.name == *name && axis.dimension == Dimension::Force)
        };
        let bare = self.layout.meanings().find(|(_, _, heading)| {
            matches!(&heading.target, Target::Axis(name, Part::Whole) if is_force(name))
        })?;
        Some(format!(
            "a number alone under {} is read as a minimum",
            quoted(&bare.1.value)
        ))
    }
}

/// The columns of this axis.
fn columns_of<'l>(layout: &'l Layout, name: &AxisName) -> Vec<(usize, &'l Heading, Part)> {
    let meanings = layout.meanings();
    let of_axis = meanings.filter_map(|(at, _, heading)| match &heading.target {
        Target::Axis(axis, part) if axis == name => Some((at, heading, *part)),
        Target::Axis(..) | Target::Wire(_) | Target::Terminal | Target::Name | Target::Ignored => {
            None
        }
    });
    of_axis.collect()
}

fn no_unit(axis: &Axis) -> Fault {
    let got = format!("neither {} nor its heading has a unit", axis.name);
    let unit = |unit: Unit| unit.name();
    match axis.dimension {
        Dimension::Length => Fault::new(got, "want a unit of length").help(format!(
            "name the unit of all lengths: --unit {}, {} or {}",
            unit(Unit::Millimetre),
            unit(Unit::Inch),
            unit(Unit::Micrometre)
        )),
        Dimension::Force => Fault::new(got, "want a unit of force").help(format!(
            "name the unit of all forces: --force-unit {}, {}, {} or {}",
            unit(Unit::Newton),
            unit(Unit::Kilonewton),
            unit(Unit::KilogramForce),
            unit(Unit::PoundForce)
        )),
    }
}
