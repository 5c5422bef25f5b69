//! Reads the rows after the headings: terminals with their sizes and limits.

use super::cell::{CellError, Parts, Reading, is_nothing, parts};
use super::grid::GridRow;
use super::heading::{Heading, Part, Target, WireUnit};
use super::layout::Layout;
use super::number::{DecimalMark, decimal};
use super::{Ask, Imported, ImportedRow};
use crate::config::faults::{At, Fault, Faults, Place, quoted};
use crate::config::sheet::fault_of;
use crate::config::value::is_name;
use crate::quantity::{Area, Dimension, Unit};
use crate::spec::wire::{WireError, gauge, resolve};
use crate::spec::{Axis, AxisName, Limits, WireRequest, WireSize};

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
    };
    for row in &layout.rows {
        reader.row(row);
    }
    reader.finish()
}

struct Reader<'a> {
    layout: &'a Layout,
    reading: Reading,
    ask: &'a Ask,
    axes: &'a [Axis],
    faults: &'a mut Faults,
    notes: Vec<String>,
    /// Faults that would repeat in every row, such as a column without a unit. They are reported once.
    reported: Vec<String>,
    terminals: Vec<Imported>,
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
        let wire = self.wire(row, line);
        let limits = self.limits(row);
        if let Some(wire) = wire {
            self.keep(id, ImportedRow { line, wire, limits }, row);
        }
    }

    fn keep(&mut self, id: Option<String>, row: ImportedRow, cells: &GridRow) {
        let at = self.terminals.iter().position(|known| known.id == id);
        let at = at.unwrap_or_else(|| {
            let rows = Vec::new();
            self.terminals.push(Imported { id, rows });
            self.terminals.len() - 1
        });
        let Some(terminal) = self.terminals.get_mut(at) else {
            return;
        };
        let twice = terminal
            .rows
            .iter()
            .find(|known| known.wire.area == row.wire.area);
        if let Some(earlier) = twice {
            let (wire, _) = self.layout.wires();
            if let Some(cell) = wire.and_then(|wire| cells.cells.get(wire)) {
                let got = format!("a second row for {}", row.wire);
                let want = format!(
                    "want one row per size; the first is in line {}",
                    earlier.line
                );
                let help = "if the rows are for several terminals, name the column with their ids: \
                            --column \"HEADING=terminal\"";
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

    fn wire(&mut self, row: &GridRow, line: usize) -> Option<WireSize> {
        let (wire, beside) = self.layout.wires();
        let at = wire?;
        let heading = self.layout.columns.get(at)?.as_ref()?;
        let Target::Wire(unit) = heading.target else {
            return None;
        };
        let here = row.cells.get(at)?;
        let text = match self.wire_text(&here.value, unit.or(self.ask.wire_unit)) {
            Ok(text) => text,
            Err(fault) => {
                self.faults.add(&here.place, fault);
                return None;
            }
        };
        let is_area = text.parse::<Area>().is_ok();
        let sizing = if is_area { None } else { self.ask.sizing };
        match resolve(&WireRequest { text, sizing }) {
            Ok(wire) => {
                let printed = beside.map_or("", |column| row.text(column));
                self.note_of_gauge(&wire, printed, line);
                Some(wire)
            }
            Err(error) => {
                self.add_wire_fault(&error, here);
                None
            }
        }
    }

    /// The size in the form of our sheets.
    fn wire_text(&self, cell: &str, unit: Option<WireUnit>) -> Result<String, Fault> {
        let lower = cell.to_lowercase();
        let stripped = lower.trim_start_matches('#').trim();
        let number = stripped
            .trim_end_matches("mm²")
            .trim_end_matches("mm2")
            .trim_end_matches("mm^2")
            .trim();
        let says_mm2 = number.len() < stripped.len();
        let is_bare = |text: &str| {
            !text.is_empty()
                && text
                    .chars()
                    .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '/'))
        };
        let is_range = number.contains("..")
            || number.contains(" to ")
            || number
                .split_once(['-', '–', '…'])
                .is_some_and(|(one, _)| one.contains(|c: char| c.is_ascii_digit()));
        if is_range {
            let got = format!("{} is a range of sizes", quoted(cell));
            let help = "the maker's limits are for one size each: make a row of each size, or leave them out";
            return Err(Fault::new(got, "want one size").help(help));
        }
        let mm2 = |number: &str| {
            let read = decimal(number, self.reading.mark, self.reading.grouped);
            read.map(|read| format!("{read} mm²")).ok_or_else(|| {
                let got = format!("{} is not a size in mm²", quoted(cell));
                Fault::new(
                    got,
                    format!("want a number with a decimal {}", self.reading.mark),
                )
            })
        };
        if says_mm2 {
            return mm2(number);
        }
        if !is_bare(number) {
            return Ok(if stripped.is_empty() {
                cell.to_owned()
            } else {
                stripped.to_owned()
            });
        }
        match unit {
            Some(WireUnit::Mm2) => mm2(number),
            Some(WireUnit::Gauge) => Ok(format!("{number} ga")),
            None if lower.starts_with('#') => Ok(format!("{number} ga")),
            None => Err(Fault::new(
                format!("neither {} nor its heading has a unit", quoted(cell)),
                "want a size in mm² or a gauge",
            )
            .help("add --wire-unit mm2 or --wire-unit awg")),
        }
    }

    fn add_wire_fault(&mut self, error: &WireError, cell: &At<String>) {
        let want = "want a size in mm² or a gauge";
        let (missing, help) = match error {
            WireError::SizingMissing { .. } | WireError::NotInSystem { .. } => (
                true,
                "name the system of the gauges: --sizing sae_metric or --sizing awg_area; \
                 tallyjaw wire shows both"
                    .to_owned(),
            ),
            WireError::NotASize { .. }
            | WireError::UnknownGauge { .. }
            | WireError::AreaWithGaugeSystem { .. } => (false, error.remedy()),
        };
        // Without a sizing system the fault would repeat in every row.
        if missing && self.ask.sizing.is_none() && !self.is_first("sizing") {
            return;
        }
        self.faults
            .add(&cell.place, Fault::new(error.to_string(), want).help(help));
    }

    /// Whether this is the first call for `what`.
    fn is_first(&mut self, what: &str) -> bool {
        let first = self.reported.iter().all(|before| before != what);
        if first {
            self.reported.push(what.to_owned());
        }
        first
    }

    /// Notes a gauge beside a size in mm², if no sizing table has that pair.
    fn note_of_gauge(&mut self, wire: &WireSize, printed: &str, line: usize) {
        let name = printed.to_lowercase();
        let name = name.trim_matches(|c: char| !(c.is_ascii_digit() || c == '/'));
        let Some(gauge) = gauge(name) else {
            return;
        };
        let area = wire.area;
        let paired = [Some(gauge.awg_area), gauge.sae_metric, gauge.iso_pairing];
        let (area_um2, awg) = (
            area.square_micrometres(),
            gauge.awg_area.square_micrometres(),
        );
        let is_near = area_um2.abs_diff(awg) <= awg / 12;
        if !paired.contains(&Some(area)) && !is_near {
            self.notes.push(format!(
                "line {line}: the sheet has {area} next to gauge {name}, a pair that no table has; \
                 {area} is taken"
            ));
        }
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
        let fault = match said.limits(bare_is_minimum) {
            Ok(limits) => match fault_of(&limits, axis) {
                None => return Some(limits),
                Some(fault) => fault,
            },
            Err(error) if said.nominal.is_some() => Fault::new(
                format!("{name}: {error}"),
                "want a nominal with its tolerance, or limits",
            )
            .help(
                "a nominal alone is no limit; if a column has its tolerance, name that column: \
                 --column \"HEADING=AXIS.tolerance\"",
            ),
            Err(error) => Fault::new(
                format!("{name}: {error}"),
                "want a nominal with its tolerance, or limits",
            ),
        };
        self.faults.add(place, fault);
        None
    }

    fn finish(mut self) -> (Vec<Imported>, Vec<String>) {
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
        Target::Axis(..) | Target::Wire(_) | Target::Terminal | Target::Ignored => None,
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
