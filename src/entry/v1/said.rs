//! Entries about what a person said, where the form on disk differs from the struct.

use crate::entry::line::LineError;
use crate::entry::{self, Entry, Means, Seq, Slot};
use crate::spec::{AxisName, ToolClass};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct ToolSaid {
    station: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    series: Option<Seq>,
    tool: String,
    class: ToolClass,
    #[serde(skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
    as_planned: bool,
}

impl From<&entry::ToolSaid> for ToolSaid {
    fn from(said: &entry::ToolSaid) -> Self {
        Self {
            station: said.station.clone(),
            series: said.series,
            tool: said.tool.id.clone(),
            class: said.tool.class,
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
            series: body.series,
            tool: entry::ToolInHand {
                id: body.tool,
                class: body.class,
                nest: body.nest,
            },
            as_planned: body.as_planned,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Retracted {
    station: String,
    series: Seq,
    reading: Seq,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    by: Option<Means>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    piece: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    axis: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reason: Option<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    spent: bool,
}

impl From<&entry::Retracted> for Retracted {
    fn from(retracted: &entry::Retracted) -> Self {
        let slot = retracted.slot.as_ref();
        Self {
            station: retracted.station.clone(),
            series: retracted.series,
            reading: retracted.reading,
            by: retracted.by,
            piece: slot.map(|slot| slot.piece),
            axis: slot.map(|slot| slot.axis.as_str().to_owned()),
            reason: retracted.reason.clone(),
            spent: retracted.spent,
        }
    }
}

impl TryFrom<Retracted> for Entry {
    type Error = LineError;

    fn try_from(body: Retracted) -> Result<Self, LineError> {
        Ok(entry::Retracted {
            station: body.station,
            series: body.series,
            reading: body.reading,
            by: body.by,
            slot: body.piece.zip(body.axis).map(|(piece, axis)| Slot {
                piece,
                axis: AxisName::new(axis),
            }),
            reason: body.reason,
            spent: body.spent,
        }
        .into())
    }
}
