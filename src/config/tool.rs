//! Reads crimp tools: `[[tool]]` and `[[tool.nest]]`.

use super::care;
use super::diagnostic::Source;
use super::faults::{At, Faults, Role};
use super::parse;
use super::sheet::{resolved, sizing};
use super::table::Table;
use super::value::unique;
use crate::spec::{Nest, Tool, ToolClass};

/// A tool, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawTool {
    pub(super) id: At<String>,
    pub(super) tool: Tool,
    /// No part was faulty, so a part that is not there is really missing.
    pub(super) is_whole: bool,
}

pub(super) fn read(source: &Source, faults: &mut Faults) -> Vec<RawTool> {
    let file = faults.add_file(Role::Tools, source);
    let parsed = parse::parse(source, file, faults);
    let mut root = Table::root(&parsed, file);
    let tools = root
        .tables(faults, "tool", "[[tool]]")
        .into_iter()
        .filter_map(|table| tool(table, faults))
        .collect();
    root.finish(faults);
    tools
}

fn tool(mut table: Table<'_>, faults: &mut Faults) -> Option<RawTool> {
    let before = faults.count();
    let id = table.required_name(faults, "id", "\"T-07\"");
    if !table.has("class") {
        table.missing(faults, "class", "\"production\" or \"repair\"");
    }
    let classes = ToolClass::ALL.map(ToolClass::name);
    let class = table.one_of(faults, "class", &classes, ToolClass::from_name);
    let terminals = table.names(faults, "terminals");
    let care = care::tool(&mut table, faults);
    let tables = table.tables(faults, "nest", "[[tool.nest]]");
    let nests: Vec<_> = tables
        .into_iter()
        .filter_map(|nest_table| nest(nest_table, faults))
        .collect();
    table.finish(faults);
    let nests = unique(faults, "nest", nests, |nest| &nest.value.id);
    let is_whole = faults.count() == before;
    if id.is_none() {
        faults.leave_out_unnamed(Role::Tools);
    }
    let id = id?;
    Some(RawTool {
        tool: Tool {
            id: id.value.clone(),
            // A faulty class was reported. The tool stays known, so that references to it are not reported too.
            class: class.map_or(ToolClass::Repair, |class| class.value),
            terminals: terminals.into_iter().map(|name| name.value).collect(),
            nests: nests.into_iter().map(|nest| nest.value).collect(),
            care,
        },
        id,
        is_whole,
    })
}

fn nest(mut table: Table<'_>, faults: &mut Faults) -> Option<At<Nest>> {
    let id = table.required_name(faults, "id", "\"2.0\"");
    if !table.has("wires") {
        table.missing(faults, "wires", "[\"2.0 mm²\"]");
    }
    let texts = table.texts(faults, "wires");
    let sizing = sizing(&mut table, faults);
    table.finish(faults);
    let read = |text| Some(resolved(text, sizing?, faults)?.value.area);
    let wires = texts.into_iter().filter_map(read).collect();
    let id = id?;
    Some(At {
        value: Nest {
            id: id.value,
            wires,
        },
        place: id.place,
    })
}
