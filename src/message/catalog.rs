//! What can be armed: the answer to `catalog`.

use crate::quantity::Area;
use crate::spec::wire::resolve;
use crate::spec::{Catalog, Plan, Purpose, Subject, Terminal, Tool};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Everything that can be armed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CatalogMessage {
    /// Their names, in the order of the configuration.
    pub stations: Vec<String>,
    /// What can be armed by name.
    pub plans: Vec<PlanMessage>,
    /// What has limits.
    pub terminals: Vec<TerminalMessage>,
    /// The crimp tools.
    pub tools: Vec<ToolBrief>,
    /// Why pieces can be measured.
    pub purposes: Vec<String>,
}

/// A plan that can be armed, in words for a person who chooses one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PlanMessage {
    /// Its name.
    pub plan: String,
    /// The terminal; left out where gauge blocks are measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// The wire with both of its sizes, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// The gauge blocks.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blocks: Vec<String>,
    /// What is measured, in order.
    pub axes: Vec<String>,
    /// How many pieces, or how often each block.
    pub pieces: u32,
    /// Why.
    pub purpose: String,
    /// The crimp tool.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool: Option<String>,
    /// The place in the tool that forms the size.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
}

/// A maker's sheet: one terminal and its rows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TerminalMessage {
    /// Its name.
    pub terminal: String,
    /// Where its limits are from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// One row for each conductor size.
    pub rows: Vec<RowMessage>,
}

/// What the maker of a terminal requires on one size of wire.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RowMessage {
    /// The size.
    pub wire: String,
    /// What is limited.
    pub axes: Vec<LimitMessage>,
}

/// One axis with its limits as text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LimitMessage {
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: String,
    /// Lower and upper limit as text, with the unit.
    pub limits: String,
}

/// A crimp tool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToolBrief {
    /// Its name.
    pub tool: String,
    /// `production` or `repair`.
    pub class: String,
    /// What it is for; empty for any.
    pub terminals: Vec<String>,
    /// Those that the configuration names, in its order.
    pub nests: Vec<NestMessage>,
}

/// A nest of a tool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NestMessage {
    /// Its name.
    pub nest: String,
    /// The sizes it is for.
    pub wires: Vec<String>,
}

impl CatalogMessage {
    /// Of a configuration.
    pub fn new(catalog: &Catalog) -> Self {
        Self {
            stations: catalog.stations.clone(),
            plans: catalog.plans.iter().filter_map(PlanMessage::new).collect(),
            terminals: catalog.terminals.iter().map(TerminalMessage::new).collect(),
            tools: catalog.tools.iter().map(ToolBrief::new).collect(),
            purposes: Purpose::ALL
                .iter()
                .map(|purpose| purpose.name().to_owned())
                .collect(),
        }
    }
}

impl PlanMessage {
    /// `None` of a plan that has no name.
    fn new(plan: &Plan) -> Option<Self> {
        let (terminal, wire, blocks) = match &plan.subject {
            Subject::Crimps { terminal, wire } => {
                // A checked plan's wire resolves.
                let words = resolve(wire).map_or(wire.text.clone(), |wire| wire.to_string());
                (Some(terminal.clone()), Some(words), Vec::new())
            }
            Subject::Blocks { blocks, .. } => {
                (None, None, blocks.iter().map(ToString::to_string).collect())
            }
        };
        Some(Self {
            plan: plan.id.clone()?,
            terminal,
            wire,
            blocks,
            axes: plan.axes.iter().map(ToString::to_string).collect(),
            pieces: plan.pieces,
            purpose: plan.purpose.name().to_owned(),
            tool: plan.tool.clone(),
            nest: plan.nest.clone(),
        })
    }
}

impl TerminalMessage {
    fn new(terminal: &Terminal) -> Self {
        let rows = terminal.rows.iter().map(|row| RowMessage {
            wire: row.wire.to_string(),
            axes: row
                .limits
                .iter()
                .map(|(axis, limits)| LimitMessage {
                    axis: axis.to_string(),
                    limits: limits.to_string(),
                })
                .collect(),
        });
        Self {
            terminal: terminal.id.clone(),
            source: terminal.source.clone(),
            rows: rows.collect(),
        }
    }
}

impl ToolBrief {
    /// Of a tool.
    pub(super) fn new(tool: &Tool) -> Self {
        let nests = tool.nests.iter().map(|nest| NestMessage {
            nest: nest.id.clone(),
            wires: nest.wires.iter().map(Area::to_string).collect(),
        });
        Self {
            tool: tool.id.clone(),
            class: tool.class.name().to_owned(),
            terminals: tool.terminals.clone(),
            nests: nests.collect(),
        }
    }
}
