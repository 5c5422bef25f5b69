//! `tallyjaw tools`: exit 0.

use super::columns::Columns;
use super::{Context, Exit, Failure};
use crate::quantity::Area;
use crate::spec::{Nest, Tool};
use serde_json::{Value, json};
use std::io::Write;

/// List the crimp tools with their nests
#[derive(Debug, clap::Args)]
pub(super) struct Tools {}

impl Tools {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        let catalog = context.load()?.1.catalog;
        if context.json {
            for tool in &catalog.tools {
                writeln!(out, "{}", tool_json(tool))?;
            }
            return Ok(Exit::Yes);
        }
        let mut columns = Columns::new(&["tool", "class", "nest", "wires", "terminals"]);
        for tool in &catalog.tools {
            for (nest, wires) in nests(tool) {
                columns.row(vec![
                    tool.id.clone(),
                    tool.class.name().to_owned(),
                    nest,
                    wires,
                    terminals(tool),
                ]);
            }
        }
        columns.write(out)?;
        Ok(Exit::Yes)
    }
}

fn terminals(tool: &Tool) -> String {
    if tool.terminals.is_empty() {
        return "any".to_owned();
    }
    tool.terminals.join(", ")
}

/// Each nest with its sizes; a tool without nests is a row of its own.
fn nests(tool: &Tool) -> Vec<(String, String)> {
    if tool.nests.is_empty() {
        return vec![(String::new(), "any".to_owned())];
    }
    let sizes = |nest: &Nest| {
        let wires: Vec<_> = nest.wires.iter().map(Area::to_string).collect();
        wires.join(", ")
    };
    let nests = tool.nests.iter();
    nests.map(|nest| (nest.id.clone(), sizes(nest))).collect()
}

fn tool_json(tool: &Tool) -> Value {
    let wires = |nest: &Nest| {
        let areas = nest.wires.iter();
        areas
            .map(|area| super::wire::number(area.mm2()))
            .collect::<Vec<_>>()
    };
    let nests: Vec<_> = tool
        .nests
        .iter()
        .map(|nest| json!({ "nest": nest.id, "wires_mm2": wires(nest) }))
        .collect();
    json!({
        "kind": "tool",
        "tool": tool.id,
        "class": tool.class.name(),
        "terminals": tool.terminals,
        "nests": nests,
    })
}
