//! Entries about who measures and what is in the hand.

use super::names;
use crate::entry::line::LineError;
use crate::entry::{self, Entry, Seq};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct ZeroDue {
    pub(super) station: String,
    pub(super) instrument: String,
    pub(super) series: u64,
    pub(super) reason: String,
}

impl TryFrom<ZeroDue> for Entry {
    type Error = LineError;

    fn try_from(body: ZeroDue) -> Result<Self, LineError> {
        Ok(entry::ZeroDue {
            station: body.station,
            series: Seq(body.series),
            instrument: body.instrument,
            reason: body.reason,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct OperatorSaid {
    pub(super) station: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) series: Option<u64>,
    pub(super) operator: String,
}

impl TryFrom<OperatorSaid> for Entry {
    type Error = LineError;

    fn try_from(body: OperatorSaid) -> Result<Self, LineError> {
        Ok(entry::OperatorSaid {
            station: body.station,
            series: body.series.map(Seq),
            operator: body.operator,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct ToolSaid {
    station: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    series: Option<u64>,
    tool: String,
    class: names::ToolClass,
    #[serde(skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
    as_planned: bool,
}

impl From<&entry::ToolSaid> for ToolSaid {
    fn from(said: &entry::ToolSaid) -> Self {
        Self {
            station: said.station.clone(),
            series: said.series.map(|seq| seq.0),
            tool: said.tool.id.clone(),
            class: said.tool.class.into(),
            nest: said.tool.nest.clone(),
            as_planned: said.as_planned,
        }
    }
}

impl TryFrom<ToolSaid> for Entry {
    type Error = LineError;

    fn try_from(body: ToolSaid) -> Result<Self, LineError> {
        Ok(entry::ToolSaid {
            station: body.station,
            series: body.series.map(Seq),
            tool: entry::ToolInHand {
                id: body.tool,
                class: body.class.into(),
                nest: body.nest,
            },
            as_planned: body.as_planned,
        }
        .into())
    }
}

/// The tool in the hand, in a state.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Tool {
    id: String,
    class: names::ToolClass,
    #[serde(skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
}

impl From<&entry::ToolInHand> for Tool {
    fn from(tool: &entry::ToolInHand) -> Self {
        Self {
            id: tool.id.clone(),
            class: tool.class.into(),
            nest: tool.nest.clone(),
        }
    }
}

impl From<Tool> for entry::ToolInHand {
    fn from(body: Tool) -> Self {
        Self {
            id: body.id,
            class: body.class.into(),
            nest: body.nest,
        }
    }
}

/// What was refused last, in a state.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct RefusedSaying {
    said: String,
    reason: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<String>,
}

impl From<&entry::RefusedSaying> for RefusedSaying {
    fn from(refused: &entry::RefusedSaying) -> Self {
        Self {
            said: refused.said.clone(),
            reason: refused.reason.clone(),
            remedy: refused.remedy.clone(),
        }
    }
}

impl From<RefusedSaying> for entry::RefusedSaying {
    fn from(body: RefusedSaying) -> Self {
        Self {
            said: body.said,
            reason: body.reason,
            remedy: body.remedy,
        }
    }
}
