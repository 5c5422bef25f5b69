//! The answer to `catalog`: stations, plans, sheets and tools of the configuration.

use crate::quantity::Area;
use crate::spec::wire::resolve;
use crate::spec::{Catalog, Plan, Purpose, Subject, Terminal, Tool};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Stations, plans, sheets and tools of the configuration.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CatalogMessage {
    /// Names of the stations, in the order of the configuration.
    pub stations: Vec<String>,
    /// Plans that can be started by their id.
    pub plans: Vec<PlanMessage>,
    /// Terminal sheets.
    pub terminals: Vec<TerminalMessage>,
    /// Crimp tools.
    pub tools: Vec<ToolBrief>,
    /// Names of the purposes that a plan may have.
    pub purposes: Vec<String>,
}

/// A plan that can be started, in words for a person who chooses one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PlanMessage {
    /// Id of the plan.
    pub plan: String,
    /// Id of the terminal; left out where gauge blocks are measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// Wire in words, with area and gauge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// Sizes of the gauge blocks, as text with unit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blocks: Vec<String>,
    /// Axes in the order of measuring.
    pub axes: Vec<String>,
    /// Number of pieces, or of repeats at each gauge block.
    pub pieces: u32,
    /// Purpose of the pieces, such as `first_off`.
    pub purpose: String,
    /// Id of the crimp tool; left out if the plan names none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool: Option<String>,
    /// Nest of the tool that forms the size.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
}

/// The sheet of a terminal's maker.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TerminalMessage {
    /// Id of the terminal.
    pub terminal: String,
    /// What the sheet calls the terminal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Origin of the limits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// One row for each conductor size.
    pub rows: Vec<RowMessage>,
}

/// Requirements of the maker for one size of wire.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RowMessage {
    /// Wire size in words.
    pub wire: String,
    /// Axes with their limits.
    pub axes: Vec<LimitMessage>,
}

/// One axis with its limits as text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LimitMessage {
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: String,
    /// Limits as text with unit.
    pub limits: String,
}

/// A crimp tool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToolBrief {
    /// Id of the tool.
    pub tool: String,
    /// `production` or `repair`.
    pub class: String,
    /// Ids of the terminals it is for; empty if it is for any.
    pub terminals: Vec<String>,
    /// Nests of the tool, in the order of the configuration.
    pub nests: Vec<NestMessage>,
}

/// Nest of a tool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NestMessage {
    /// Id of the nest.
    pub nest: String,
    /// Wire sizes it is for, as text.
    pub wires: Vec<String>,
}

impl CatalogMessage {
    /// The message for a configuration.
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
    /// The message for a plan; `None` if it has no id.
    fn new(plan: &Plan) -> Option<Self> {
        let (terminal, wire, blocks) = match &plan.subject {
            Subject::Crimps { terminal, wire } => {
                // The check of the configuration has resolved every wire.
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
            wire: row.sizes.to_string(),
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
            name: terminal.name.clone(),
            source: terminal.source.clone(),
            rows: rows.collect(),
        }
    }
}

impl ToolBrief {
    /// The message for a tool.
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
