//! Calibration, verification and checks on disk, in `armed` and in the state.

use super::journal::time;
use super::values::fault;
use crate::entry::line::LineError;
use crate::entry::state::ToolState;
use crate::quantity::Date;
use crate::spec::{InstrumentCare, ToolCare, Verified};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Care of an instrument; left out if nothing is known.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Instrument {
    #[serde(skip_serializing_if = "Option::is_none")]
    calibrated: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    calibration_due: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    verify_every_days: Option<u32>,
}

/// The last verification.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Verification {
    series: u64,
    at: String,
    accepted: bool,
}

/// Care of a tool; left out if nothing is known.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Tool {
    #[serde(skip_serializing_if = "Option::is_none")]
    last_check: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    check_due: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    check_every_crimps: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    crimps_before: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    crimps_at_check: Option<u64>,
}

/// Number of crimps of a tool.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Crimps {
    crimps: u64,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    nests: BTreeMap<String, u64>,
}

fn shown(date: Option<Date>) -> Option<String> {
    date.map(|date| date.to_string())
}

fn date(text: Option<String>) -> Result<Option<Date>, LineError> {
    let date = text.map(|text| text.parse::<Date>());
    date.transpose().map_err(|error| fault(error.to_string()))
}

pub(super) fn instrument(care: &InstrumentCare) -> Option<Instrument> {
    let is_known = *care != InstrumentCare::default();
    is_known.then(|| Instrument {
        calibrated: shown(care.calibrated),
        calibration_due: shown(care.calibration_due),
        verify_every_days: care.verify_every_days,
    })
}

pub(super) fn of_instrument(body: Option<Instrument>) -> Result<InstrumentCare, LineError> {
    let Some(body) = body else {
        return Ok(InstrumentCare::default());
    };
    Ok(InstrumentCare {
        calibrated: date(body.calibrated)?,
        calibration_due: date(body.calibration_due)?,
        verify_every_days: body.verify_every_days,
    })
}

pub(super) fn tool(care: &ToolCare) -> Option<Tool> {
    let is_known = *care != ToolCare::default();
    is_known.then(|| Tool {
        last_check: shown(care.last_check),
        check_due: shown(care.check_due),
        check_every_crimps: care.check_every_crimps,
        crimps_before: (care.crimps_before != 0).then_some(care.crimps_before),
        crimps_at_check: care.crimps_at_check,
    })
}

pub(super) fn of_tool(body: Option<Tool>) -> Result<ToolCare, LineError> {
    let Some(body) = body else {
        return Ok(ToolCare::default());
    };
    Ok(ToolCare {
        last_check: date(body.last_check)?,
        check_due: date(body.check_due)?,
        check_every_crimps: body.check_every_crimps,
        crimps_before: body.crimps_before.unwrap_or(0),
        crimps_at_check: body.crimps_at_check,
    })
}

impl From<Verified> for Verification {
    fn from(verified: Verified) -> Self {
        Self {
            series: verified.series,
            at: verified.at.to_string(),
            accepted: verified.accepted,
        }
    }
}

impl TryFrom<Verification> for Verified {
    type Error = LineError;

    fn try_from(body: Verification) -> Result<Self, LineError> {
        Ok(Self {
            series: body.series,
            at: time("at", &body.at)?,
            accepted: body.accepted,
        })
    }
}

impl From<&ToolState> for Crimps {
    fn from(tool: &ToolState) -> Self {
        Self {
            crimps: tool.crimps,
            nests: tool.nests.clone(),
        }
    }
}

impl From<Crimps> for ToolState {
    fn from(body: Crimps) -> Self {
        Self {
            crimps: body.crimps,
            nests: body.nests,
        }
    }
}
