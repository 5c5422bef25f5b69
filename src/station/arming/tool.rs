//! The crimp tool and its nest, or why it is not the one for this wire.

use super::{Found, list, refuse};
use crate::spec::{ArmedTool, Catalog, Tool, ToolClass};
use crate::station::Refusal;

pub(super) fn tool(
    catalog: &Catalog,
    found: &Found<'_>,
    warnings: &mut Vec<String>,
) -> Result<Option<ArmedTool>, Refusal> {
    let Some(id) = &found.plan.tool else {
        if found.plan.nest.is_some() {
            return Err(refuse(
                "the plan names a nest but no tool",
                "name the tool too",
            ));
        }
        return Ok(None);
    };
    let tool = catalog.tool(id).ok_or_else(|| {
        let known = list(catalog.tools.iter().map(|tool| tool.id.clone()));
        refuse(
            format!("no tool {id:?}, want one of {known}"),
            "correct the plan, or add it to tools.toml",
        )
    })?;
    if !tool.terminals.is_empty() && !tool.terminals.contains(&found.terminal.id) {
        let message = format!(
            "tool {id} is not for {}, only for {}",
            found.terminal.id,
            tool.terminals.join(", ")
        );
        return Err(refuse(
            message,
            "take the tool that the terminal's maker names",
        ));
    }
    if tool.class == ToolClass::Repair {
        warnings.push(format!(
            "{id} is a repair-class tool: the maker's sheet decides whether its crimps are good, and what else they need"
        ));
    }
    let nest = nest(tool, found)?;
    Ok(Some(ArmedTool {
        id: id.clone(),
        class: tool.class,
        nest,
    }))
}

fn nest(tool: &Tool, found: &Found<'_>) -> Result<Option<String>, Refusal> {
    let area = found.wire.area;
    let fitting = tool.nests.iter().find(|nest| nest.wires.contains(&area));
    let advice = match fitting {
        Some(nest) => format!("its nest for {area} is {}", nest.id),
        None => format!("it has no nest for {area}; take another tool"),
    };
    let Some(id) = &found.plan.nest else {
        return if tool.nests.is_empty() {
            Ok(None)
        } else {
            Err(refuse(
                format!("the plan names no nest of {}", tool.id),
                advice,
            ))
        };
    };
    let nest = tool
        .nests
        .iter()
        .find(|nest| nest.id == *id)
        .ok_or_else(|| {
            let known = list(tool.nests.iter().map(|nest| nest.id.clone()));
            refuse(
                format!("{} has no nest {id:?}, want one of {known}", tool.id),
                advice.clone(),
            )
        })?;
    if !nest.wires.contains(&area) {
        let made_for = list(nest.wires.iter().map(ToString::to_string));
        let message = format!(
            "wrong nest: {id} of {} is for {made_for}, not for {area}",
            tool.id
        );
        return Err(refuse(message, advice));
    }
    Ok(Some(id.clone()))
}
