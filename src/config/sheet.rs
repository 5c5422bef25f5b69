//! Reads terminal sheets: `[[terminal]]` and `[[terminal.row]]`.

use super::diagnostic::Source;
use super::faults::{At, Fault, Faults, Place, Role};
use super::parse;
use super::table::{Table, alternatives, comma_help};
use super::value::too_large;
use crate::spec::axis::PULL_FORCE;
use crate::spec::wire::resolve;
use crate::spec::{Axis, AxisName, Limits, SizingSystem, WireRequest, WireSize};

/// A terminal, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawTerminal {
    pub(super) id: At<String>,
    pub(super) source: Option<String>,
    pub(super) repair_needs: Option<String>,
    pub(super) rows: Vec<At<RawRow>>,
    /// No part was faulty, so what is not there is really missing.
    pub(super) is_whole: bool,
}

/// A row, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawRow {
    pub(super) wire: WireSize,
    /// Limits by axis; `None` where they were faulty.
    pub(super) limits: Vec<(AxisName, Option<Limits>)>,
    /// The place of each axis's limits.
    pub(super) places: Vec<(AxisName, Place)>,
}

pub(super) fn read(source: &Source, axes: &[Axis], faults: &mut Faults) -> Vec<RawTerminal> {
    let file = faults.add_file(Role::Sheets, source);
    let parsed = parse::parse(source, file, faults);
    let mut root = Table::root(&parsed, file);
    let terminals = root
        .tables(faults, "terminal", "[[terminal]]")
        .into_iter()
        .filter_map(|table| terminal(table, axes, faults))
        .collect();
    root.finish(faults);
    terminals
}

fn terminal(mut table: Table<'_>, axes: &[Axis], faults: &mut Faults) -> Option<RawTerminal> {
    let before = faults.count();
    let id = table.required_name(faults, "id", "\"QF-250-F\"");
    let source = table.text(faults, "source").map(|source| source.value);
    let repair_needs = table.text(faults, "repair_needs").map(|needs| needs.value);
    if !table.has("row") {
        table.missing(
            faults,
            "[[terminal.row]]",
            "at least one, with wire = \"2.0 mm²\"",
        );
    }
    let tables = table.tables(faults, "row", "[[terminal.row]]");
    let rows: Vec<_> = tables
        .into_iter()
        .filter_map(|row_table| row(row_table, axes, faults))
        .collect();
    table.finish(faults);
    let is_whole = faults.count() == before;
    if id.is_none() {
        faults.leave_out_unnamed(Role::Sheets);
    }
    Some(RawTerminal {
        id: id?,
        source,
        repair_needs,
        rows: each_wire_once(rows, faults),
        is_whole,
    })
}

/// Reads `wire` and `sizing` of a row or plan: the size with its place.
pub(super) fn wire(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<WireSize>> {
    let text = table.required_text(faults, "wire", "\"2.0 mm²\", or a gauge with its sizing");
    let sizing = sizing(table, faults);
    let text = text?;
    let sizing = sizing?;
    resolved(text, sizing, faults)
}

/// Reads the sizing system: `Some(None)` if none is given, `None` if it is faulty.
#[expect(
    clippy::option_option,
    reason = "faulty, not given and given are three things"
)]
pub(super) fn sizing(table: &mut Table<'_>, faults: &mut Faults) -> Option<Option<SizingSystem>> {
    let names = SizingSystem::ALL.map(SizingSystem::name);
    let sizing = table.one_of(faults, "sizing", &names, SizingSystem::from_name);
    match sizing {
        Some(sizing) => Some(Some(sizing.value)),
        None => (!table.has("sizing")).then_some(None),
    }
}

/// Resolves a size, or reports why that is not possible.
pub(super) fn resolved(
    text: At<String>,
    sizing: Option<SizingSystem>,
    faults: &mut Faults,
) -> Option<At<WireSize>> {
    let request = WireRequest {
        text: text.value,
        sizing,
    };
    match resolve(&request) {
        Ok(value) => Some(At {
            value,
            place: text.place,
        }),
        Err(error) => {
            let want = "want mm² as printed on the wire, or a gauge with its sizing";
            let fault = Fault::new(error.to_string(), want).help(error.remedy());
            faults.add(&text.place, fault);
            None
        }
    }
}

fn row(mut table: Table<'_>, axes: &[Axis], faults: &mut Faults) -> Option<At<RawRow>> {
    let wire = wire(&mut table, faults);
    let names: Vec<&str> = axes.iter().map(|axis| axis.name.as_str()).collect();
    table.record_known_keys(faults);
    let others = table.others();
    // A sheet can have thousands of rows, so each allocates only what it needs.
    let mut limits = Vec::with_capacity(others.len());
    let mut places = Vec::with_capacity(others.len());
    if others.is_empty() {
        let fault = Fault::new("this row has no limits", "want an axis with its limits");
        let help = format!("the axes are {}", alternatives(&names));
        faults.add(table.place(), fault.help(help));
    }
    for key in others {
        if let Some(known) = axes.iter().find(|axis| axis.name.as_str() == key.value) {
            limits.push((known.name.clone(), limits_of(&table, known, faults)));
            places.push((known.name.clone(), key.place.clone()));
        } else {
            table.unknown_key(faults, &key, &names);
        }
    }
    let wire = wire?;
    Some(At {
        value: RawRow {
            wire: wire.value,
            limits,
            places,
        },
        place: wire.place,
    })
}

fn limits_of(table: &Table<'_>, axis: &Axis, faults: &mut Faults) -> Option<Limits> {
    let key = axis.name.as_str();
    let text = table.other_text(faults, key)?;
    let fault = match text.value.parse::<Limits>() {
        Ok(limits) => match fault_of(&limits, axis) {
            None => return Some(limits),
            Some(fault) => fault,
        },
        Err(error) => Fault::new(format!("{key}: {error}"), format!("want {}", example(axis)))
            .help_of(comma_help(&text.value)),
    };
    faults.add(&text.place, fault);
    None
}

/// A fault in limits that have a valid form: wrong dimension, an upper limit of a force, a negative limit.
pub(super) fn fault_of(limits: &Limits, axis: &Axis) -> Option<Fault> {
    let key = axis.name.as_str();
    if limits.dimension() != axis.dimension {
        let got = format!(
            "{key} is a {}, got {limits}, a {}",
            axis.dimension,
            limits.dimension()
        );
        return Some(Fault::new(got, format!("want {}", example(axis))));
    }
    if key == PULL_FORCE && (limits.lower().is_none() || limits.upper().is_some()) {
        let got = format!("{key} is {limits}, with an upper limit");
        let fault = Fault::new(got, format!("want a minimum alone, {}", example(axis)));
        return Some(fault.help("a pull test has only a minimum: a stronger crimp is not worse"));
    }
    let ends = [limits.lower(), limits.upper()].into_iter().flatten();
    if let Some(below) = ends.clone().find(|end| end.base() < 0) {
        let got = format!("{key} has the limit {below}, which is below zero");
        return Some(Fault::new(got, "want 0 or more"));
    }
    ends.into_iter().find_map(|end| too_large(key, end))
}

fn example(axis: &Axis) -> &'static str {
    match axis.dimension {
        crate::quantity::Dimension::Length => {
            "limits such as \"1.62 ±0.05 mm\" or \"1.57..1.67 mm\""
        }
        crate::quantity::Dimension::Force => "a limit such as \">= 135 N\"",
    }
}

/// Reports a second row for the same size, and drops it.
fn each_wire_once(rows: Vec<At<RawRow>>, faults: &mut Faults) -> Vec<At<RawRow>> {
    let mut kept: Vec<At<RawRow>> = Vec::new();
    for row in rows {
        let earlier = kept
            .iter()
            .find(|kept| kept.value.wire.area == row.value.wire.area);
        match earlier {
            Some(earlier) => {
                let got = format!("a second row for {}", row.value.wire.area);
                let want = format!(
                    "want one row per size; the first is at {}",
                    faults.line_of(&earlier.place)
                );
                faults.add(&row.place, Fault::new(got, want));
            }
            None => kept.push(row),
        }
    }
    kept
}
