//! The crimp tool and its nest, or why it is not the one for this wire.

use super::{Found, list, refuse};
use crate::entry::ToolInHand;
use crate::quantity::Area;
use crate::quantity::nearest;
use crate::spec::{ArmedTool, Catalog, Nest, Tool, ToolClass};
use crate::station::Refusal;

/// The tool that the plan names; where it names none and its pieces are our own crimps, the one in
/// the hand.
pub(super) fn tool(
    catalog: &Catalog,
    found: &Found<'_>,
    in_hand: Option<&ToolInHand>,
    warnings: &mut Vec<String>,
) -> Result<Option<ArmedTool>, Refusal> {
    let plan = found.plan;
    if let (Some(id), Some(hand)) = (&plan.tool, in_hand) {
        refuse_another(id, plan.nest.as_deref(), hand)?;
    }
    let of_hand = in_hand.filter(|_| plan.purpose.is_of_own_crimps());
    let id = match (&plan.tool, of_hand) {
        (Some(id), _) => id,
        (None, Some(_) | None) if plan.nest.is_some() => {
            return Err(refuse(
                "the plan names a nest but no tool",
                "name the tool too",
            ));
        }
        (None, Some(hand)) => &hand.id,
        (None, None) => return Ok(None),
    };
    let tool = tool_named(catalog, id)?;
    let area = found.wire.area;
    let of_hand = of_hand.filter(|hand| hand.id == *id);
    let said = plan.nest.as_deref();
    let said = said.or_else(|| of_hand.and_then(|hand| hand.nest.as_deref()));
    check_tool(tool, said, &found.terminal.id, area)?;
    let nest = match (said, of_hand) {
        // What a person holds has the nest for the wire; the arming card shows it, to be checked.
        (None, Some(_)) => fitting(tool, area).map(|nest| nest.id.clone()),
        (None, None) if !tool.nests.is_empty() => {
            return Err(refuse(
                format!("the plan names no nest of {}", tool.id),
                advice(tool, area),
            ));
        }
        (said, _) => said.map(str::to_owned),
    };
    if tool.class == ToolClass::Repair {
        warnings.push(format!(
            "{id} is a repair-class tool: the maker's sheet decides whether its crimps are good, and what else they need"
        ));
    }
    let needs = found.terminal.repair_needs.clone();
    Ok(Some(ArmedTool {
        id: id.clone(),
        class: tool.class,
        nest,
        care: tool.care,
        crimps: None,
        needs: needs.filter(|_| tool.class == ToolClass::Repair),
    }))
}

/// Refuses a plan whose tool is not the one in the hand.
fn refuse_another(id: &str, nest: Option<&str>, hand: &ToolInHand) -> Result<(), Refusal> {
    let in_words = crate::entry::words::tool(hand);
    if hand.id != id {
        return Err(refuse(
            format!("{in_words} is in the hand, the plan asks for {id}"),
            format!("take {id} and scan its card: tj/tool/{id}"),
        ));
    }
    match (nest, &hand.nest) {
        (Some(nest), Some(got)) if got != nest => Err(refuse(
            format!("{in_words} is in the hand, the plan asks for nest {nest}"),
            format!("use nest {nest} and say so: tj/tool/{id}/{nest}"),
        )),
        (Some(_) | None, _) => Ok(()),
    }
}

/// The tool of this id.
pub(in crate::station) fn tool_named<'a>(
    catalog: &'a Catalog,
    id: &str,
) -> Result<&'a Tool, Refusal> {
    catalog.tool(id).ok_or_else(|| {
        let known = || catalog.tools.iter().map(|tool| tool.id.as_str());
        let remedy = nearest(id, known()).map_or_else(
            || "correct the plan, or add it to tools.toml".to_owned(),
            |near| format!("did you mean {near}? otherwise add {id} to tools.toml"),
        );
        let known = list(known().map(str::to_owned));
        refuse(format!("no tool {id:?}, want one of {known}"), remedy)
    })
}

/// The nest of this id.
pub(in crate::station) fn nest_named<'a>(tool: &'a Tool, id: &str) -> Result<&'a Nest, Refusal> {
    let known = tool.nests.iter().find(|nest| nest.id == id);
    known.ok_or_else(|| {
        let known = list(tool.nests.iter().map(|nest| nest.id.clone()));
        refuse(
            format!("{} has no nest {id:?}, want one of {known}", tool.id),
            "say one of its nests, or none",
        )
    })
}

/// Whether the tool, and the nest if one is said, are for this terminal and wire.
pub(in crate::station) fn check_tool(
    tool: &Tool,
    nest: Option<&str>,
    terminal: &String,
    area: Area,
) -> Result<(), Refusal> {
    if !tool.terminals.is_empty() && !tool.terminals.contains(terminal) {
        let message = format!(
            "tool {} is not for {terminal}, only for {}",
            tool.id,
            tool.terminals.join(", ")
        );
        return Err(refuse(
            message,
            "take the tool that the terminal's maker names",
        ));
    }
    let Some(id) = nest else {
        if tool.nests.is_empty() || fitting(tool, area).is_some() {
            return Ok(());
        }
        let known = list(tool.nests.iter().map(|nest| nest.id.clone()));
        let message = format!("no nest of {} is for {area}, it has {known}", tool.id);
        return Err(refuse(message, advice(tool, area)));
    };
    let known = nest_named(tool, id).map_err(|refusal| Refusal {
        remedy: Some(advice(tool, area)),
        ..refusal
    })?;
    if !known.wires.contains(&area) {
        let made_for = list(known.wires.iter().map(ToString::to_string));
        let message = format!(
            "wrong nest: {id} of {} is for {made_for}, not for {area}",
            tool.id
        );
        return Err(refuse(message, advice(tool, area)));
    }
    Ok(())
}

/// The nest for this wire.
fn fitting(tool: &Tool, area: Area) -> Option<&Nest> {
    tool.nests.iter().find(|nest| nest.wires.contains(&area))
}

fn advice(tool: &Tool, area: Area) -> String {
    match fitting(tool, area) {
        Some(nest) => format!("its nest for {area} is {}", nest.id),
        None => format!("it has no nest for {area}; take another tool"),
    }
}
