//! The crimp tool and its nest, or why they do not fit the wire.

use super::{Noted, ResolvedCrimp, Resolver, Unarmable};
use crate::spec::{ArmedTool, Catalog, Nest, Tool, ToolClass, WireSize};

impl Resolver<'_> {
    /// The tool that the plan names; for own crimps without a named tool, the tool in hand.
    pub(super) fn tool(&mut self, found: &ResolvedCrimp<'_>) -> Result<Option<ArmedTool>, Noted> {
        let plan = self.plan;
        let of_hand = self.hand.filter(|_| plan.purpose.is_of_own_crimps());
        let said = plan.nest.as_deref();
        let id = match (plan.tool.as_deref(), said, of_hand) {
            (Some(id), _, _) => id,
            (None, Some(nest), _) => {
                let nest = nest.to_owned();
                return Err(self.refuse(Unarmable::NestOfNothing { nest }));
            }
            (None, None, Some(hand)) => hand.tool,
            (None, None, None) => return Ok(None),
        };
        let tool = tool_named(self.catalog, id).map_err(|why| self.refuse(*why))?;
        let of_hand = of_hand.filter(|hand| hand.tool == id);
        let said = said.or_else(|| of_hand.and_then(|hand| hand.nest));
        let fits = check_tool(tool, said, &found.terminal.id, &found.wire);
        fits.map_err(|why| self.refuse(*why))?;
        let fitting = fitting(tool, &found.wire);
        let nest = match (said, of_hand) {
            // The nest of the tool in hand follows from the wire; the arming card shows it for checking.
            (None, Some(_)) => fitting,
            (None, None) if !tool.nests.is_empty() => {
                let tool = id.to_owned();
                return Err(self.refuse(Unarmable::NestUnnamed { tool, fitting }));
            }
            (said, _) => said.map(str::to_owned),
        };
        let is_repair = tool.class == ToolClass::Repair;
        if is_repair {
            self.warnings.push(format!(
                "{id} is a repair-class tool: the maker's sheet decides whether its crimps are good, and what else they need"
            ));
        }
        let needs = found.terminal.repair_needs.clone();
        Ok(Some(ArmedTool {
            id: id.to_owned(),
            class: tool.class,
            nest,
            care: tool.care,
            crimps: None,
            needs: needs.filter(|_| is_repair),
        }))
    }
}

/// The tool of this id.
///
/// # Errors
///
/// No tool has this id.
pub fn tool_named<'c>(catalog: &'c Catalog, id: &str) -> Result<&'c Tool, Box<Unarmable>> {
    catalog.tool(id).ok_or_else(|| {
        let known = catalog.tools.iter().map(|tool| tool.id.clone());
        Box::new(Unarmable::NoTool {
            got: id.to_owned(),
            known: known.collect(),
        })
    })
}

/// The nest of this id.
///
/// # Errors
///
/// The tool has no such nest.
pub fn nest_named<'t>(tool: &'t Tool, id: &str) -> Result<&'t Nest, Box<Unarmable>> {
    let known = tool.nests.iter().find(|nest| nest.id == id);
    known.ok_or_else(|| {
        Box::new(Unarmable::NoNest {
            tool: tool.id.clone(),
            got: id.to_owned(),
            known: tool.nests.iter().map(|nest| nest.id.clone()).collect(),
        })
    })
}

/// Checks that the tool, and the nest if one is named, are for this terminal and wire.
///
/// # Errors
///
/// The reason why they are not.
pub fn check_tool(
    tool: &Tool,
    nest: Option<&str>,
    terminal: &str,
    wire: &WireSize,
) -> Result<(), Box<Unarmable>> {
    if !tool.terminals.is_empty() && !tool.terminals.iter().any(|known| known == terminal) {
        return Err(Box::new(Unarmable::NotForTerminal {
            tool: tool.id.clone(),
            terminal: terminal.to_owned(),
            only: tool.terminals.clone(),
        }));
    }
    let fitting = fitting(tool, wire);
    let Some(id) = nest else {
        if tool.nests.is_empty() || fitting.is_some() {
            return Ok(());
        }
        let mut made_for: Vec<_> = tool.nests.iter().flat_map(|nest| &nest.wires).collect();
        made_for.sort();
        made_for.dedup();
        return Err(Box::new(Unarmable::NoNestForWire {
            tool: tool.id.clone(),
            wire: wire.clone(),
            made_for: made_for.into_iter().copied().collect(),
        }));
    };
    let known = nest_named(tool, id)?;
    if known.wires.contains(&wire.area) {
        return Ok(());
    }
    Err(Box::new(Unarmable::WrongNest {
        tool: tool.id.clone(),
        nest: id.to_owned(),
        wire: wire.clone(),
        made_for: known.wires.clone(),
        fitting,
    }))
}

/// The nest for this wire.
fn fitting(tool: &Tool, wire: &WireSize) -> Option<String> {
    let nest = tool
        .nests
        .iter()
        .find(|nest| nest.wires.contains(&wire.area));
    nest.map(|nest| nest.id.clone())
}
