//! The evidence from qualification series, in the state on disk.

use super::journal::time;
use super::names;
use super::subject::CrimpFields;
use super::values::{LimitFields, fault, mn, nm, quantity};
use crate::entry::line::LineError;
use crate::entry::qualifying::{Combination, Evidence, EvidenceAxis, Qualifying};
use crate::entry::{Digits, Outcome, Reservation, Seq};
use crate::spec::AxisName;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A qualification series, as the state keeps it.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Qualification {
    terminal: String,
    wire_mm2: Digits,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wire_gauge: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sizing: Option<names::Sizing>,
    /// The crimp tool's id.
    #[serde(rename = "tool_id")]
    tool: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
    /// `seq` of the entry `armed` that opened it.
    #[serde(rename = "series_id")]
    series: u64,
    /// When it was closed.
    at: String,
    outcome: Outcome,
    /// Whether its plan requires a zero before the first reading and after the last.
    bracketed: bool,
    /// The reservations of its outcome.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    reservations: Vec<Reservation>,
    /// The counted readings of each axis.
    #[serde(rename = "measured_axes")]
    axes: Vec<Axis>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Axis {
    #[serde(rename = "axis")]
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nominal_nm: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nominal_mn: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lower_nm: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lower_mn: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    upper_nm: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    upper_mn: Option<i64>,
    /// Unit of the limits.
    unit: names::Unit,
    /// Unit of the readings.
    shown_in: names::Unit,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    resolution_nm: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    resolution_mn: Option<i64>,
    /// The values in whole nanometres or millinewtons, in the order in which they were taken.
    values: Vec<i64>,
}

impl Qualification {
    pub(super) fn all_of(qualifying: &Qualifying) -> Vec<Self> {
        let all = qualifying.0.iter();
        all.flat_map(|(of, series)| series.iter().map(|one| Self::new(of, one)))
            .collect()
    }

    fn new(of: &Combination, evidence: &Evidence) -> Self {
        Self {
            terminal: of.terminal.clone(),
            wire_mm2: of.wire.mm2().into(),
            wire_gauge: evidence.wire.gauge.clone(),
            sizing: super::values::sizing(&evidence.wire),
            tool: of.tool.clone(),
            nest: of.nest.clone(),
            series: evidence.series.0,
            at: evidence.at.to_string(),
            outcome: evidence.outcome,
            bracketed: evidence.is_bracketed,
            reservations: evidence.reservations.clone(),
            axes: evidence.axes.iter().map(Axis::from).collect(),
        }
    }
}

impl From<&EvidenceAxis> for Axis {
    fn from(of: &EvidenceAxis) -> Self {
        let limits = &of.limits;
        Self {
            name: of.axis.as_str().to_owned(),
            nominal_nm: nm(limits.nominal()),
            nominal_mn: mn(limits.nominal()),
            lower_nm: nm(limits.lower()),
            lower_mn: mn(limits.lower()),
            upper_nm: nm(limits.upper()),
            upper_mn: mn(limits.upper()),
            unit: limits.unit(),
            shown_in: of.unit,
            resolution_nm: nm(of.resolution),
            resolution_mn: mn(of.resolution),
            values: of.bases.clone(),
        }
    }
}

impl TryFrom<Axis> for EvidenceAxis {
    type Error = LineError;

    fn try_from(body: Axis) -> Result<Self, LineError> {
        let limits = LimitFields {
            nominal: (body.nominal_nm, body.nominal_mn),
            lower: (body.lower_nm, body.lower_mn),
            upper: (body.upper_nm, body.upper_mn),
            unit: body.unit,
        };
        Ok(Self {
            axis: AxisName::new(body.name),
            limits: limits.try_into()?,
            resolution: quantity("resolution", body.resolution_nm, body.resolution_mn)?,
            unit: body.shown_in,
            bases: body.values,
        })
    }
}

/// The evidence from the series of a state, in their order.
pub(super) fn qualifying(all: Vec<Qualification>) -> Result<Qualifying, LineError> {
    let mut found = Qualifying::default();
    for body in all {
        let crimp = CrimpFields {
            terminal: Some(body.terminal),
            wire_mm2: Some(body.wire_mm2),
            wire_gauge: body.wire_gauge,
            sizing: body.sizing,
        };
        let crimp = crimp.crimp()?;
        let crimp = crimp.ok_or_else(|| fault("a qualification series without terminal"))?;
        let axes = body.axes.into_iter().map(TryInto::try_into);
        let of = Combination {
            terminal: crimp.terminal.clone(),
            wire: crimp.wire.area,
            tool: body.tool,
            nest: body.nest,
        };
        found.0.entry(of).or_default().push(Evidence {
            journal: None,
            series: Seq(body.series),
            at: time("at", &body.at)?,
            wire: crimp.wire.clone(),
            outcome: body.outcome,
            is_bracketed: body.bracketed,
            reservations: body.reservations,
            axes: axes.collect::<Result<_, _>>()?,
        });
    }
    Ok(found)
}
