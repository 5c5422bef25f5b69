//! Entries about what a person said, where the form on disk differs from the struct.

use super::job::JobFields;
use crate::entry::line::LineError;
use crate::entry::{self, Entry, Means, Seq, Slot};
use crate::spec::{AxisName, Lots, Material, ToolClass};
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

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct JobSaid {
    station: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    series: Option<Seq>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    job: Option<JobFields>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    warning: Option<String>,
}

impl From<&entry::JobSaid> for JobSaid {
    fn from(said: &entry::JobSaid) -> Self {
        Self {
            station: said.station.clone(),
            series: said.series,
            job: said.job.as_ref().map(JobFields::from),
            warning: said.warning.clone(),
        }
    }
}

impl TryFrom<JobSaid> for Entry {
    type Error = LineError;

    fn try_from(body: JobSaid) -> Result<Self, LineError> {
        Ok(entry::JobSaid {
            station: body.station,
            series: body.series,
            job: body.job.map(Into::into),
            warning: body.warning,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct LotSaid {
    station: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    series: Option<Seq>,
    material: Material,
    /// The lot; left out if it is not known from here on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lot: Option<String>,
}

impl From<&entry::LotSaid> for LotSaid {
    fn from(said: &entry::LotSaid) -> Self {
        Self {
            station: said.station.clone(),
            series: said.series,
            material: said.material,
            lot: said.lot.clone(),
        }
    }
}

impl TryFrom<LotSaid> for Entry {
    type Error = LineError;

    fn try_from(body: LotSaid) -> Result<Self, LineError> {
        Ok(entry::LotSaid {
            station: body.station,
            series: body.series,
            material: body.material,
            lot: body.lot,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Resumed {
    station: String,
    series: Seq,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    operator: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    terminal_lot: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wire_lot: Option<String>,
    by: Means,
}

impl From<&entry::Resumed> for Resumed {
    fn from(resumed: &entry::Resumed) -> Self {
        Self {
            station: resumed.station.clone(),
            series: resumed.series,
            operator: resumed.operator.clone(),
            terminal_lot: resumed.lots.terminal.clone(),
            wire_lot: resumed.lots.wire.clone(),
            by: resumed.by,
        }
    }
}

impl TryFrom<Resumed> for Entry {
    type Error = LineError;

    fn try_from(body: Resumed) -> Result<Self, LineError> {
        Ok(entry::Resumed {
            station: body.station,
            series: body.series,
            operator: body.operator,
            lots: Lots {
                terminal: body.terminal_lot,
                wire: body.wire_lot,
            },
            by: body.by,
        }
        .into())
    }
}
