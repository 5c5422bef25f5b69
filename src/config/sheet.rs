//! Reads terminal sheets: `[[terminal]]`; [`row`](super::row) reads the rows.

use super::diagnostic::Source;
use super::faults::{At, Fault, Faults, Role};
use super::parse;
use super::row::{self, RawRow, Tolerances, example};
use super::table::Table;
use super::value::too_large;
use crate::spec::axis::PULL_FORCE;
use crate::spec::wire::resolve;
use crate::spec::{Axis, Limits, SizingSystem, WireRequest, WireSize};

/// A terminal, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawTerminal {
    pub(super) id: At<String>,
    pub(super) name: Option<String>,
    pub(super) source: Option<String>,
    pub(super) repair_needs: Option<String>,
    pub(super) rows: Vec<At<RawRow>>,
    /// No part was faulty, so a part that is not there is really missing.
    pub(super) is_whole: bool,
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
    let name = table.text(faults, "name").map(|name| name.value);
    let source = table.text(faults, "source").map(|source| source.value);
    let repair_needs = table.text(faults, "repair_needs").map(|needs| needs.value);
    if !table.has("row") {
        table.missing(
            faults,
            "[[terminal.row]]",
            "at least one, with wire = \"2.0 mm²\"",
        );
    }
    let tolerances = Tolerances::read(&mut table, axes, faults);
    let tables = table.tables(faults, "row", "[[terminal.row]]");
    let rows: Vec<_> = tables
        .into_iter()
        .filter_map(|row_table| row::read(row_table, axes, &tolerances, faults))
        .collect();
    tolerances.without_effect(&rows, faults);
    let rows = each_size_once(rows, faults);
    table.finish(faults);
    let is_whole = faults.count() == before;
    if id.is_none() {
        faults.leave_out_unnamed(Role::Sheets);
    }
    Some(RawTerminal {
        id: id?,
        name,
        source,
        repair_needs,
        rows,
        is_whole,
    })
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

/// Reports a second row for the same size, and drops it.
fn each_size_once(rows: Vec<At<RawRow>>, faults: &mut Faults) -> Vec<At<RawRow>> {
    let mut kept: Vec<At<RawRow>> = Vec::new();
    for row in rows {
        let sizes = row.value.sizes();
        let mut earlier = kept.iter();
        let Some(earlier) = earlier.find(|kept| kept.value.sizes().meet(sizes)) else {
            kept.push(row);
            continue;
        };
        let (before, at) = (earlier.value.sizes(), faults.line_of(&earlier.place));
        let fault = if before == sizes {
            let got = format!("a second row for {sizes}");
            Fault::new(got, format!("want one row per size; the first is at {at}"))
        } else {
            let got = format!("the rows for {before} and {sizes} overlap");
            let want = format!("want one row per size; the other is at {at}");
            Fault::new(got, want).help(
                "a size would have two rows: let one end below the size at which the other begins, as the maker means it",
            )
        };
        faults.add(&row.place, fault);
    }
    kept
}
