//! Runs and alerts, as the state of a `segment` holds them.

use super::names;
use super::values::{self, LimitFields, fault, measured, mn, nm};
use crate::entry::Digits;
use crate::entry::Seq;
use crate::entry::line::LineError;
use crate::entry::runs::{self, Maker};
use crate::spec::{AlertRule, AxisName, Limits};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Run {
    #[serde(skip_serializing_if = "Option::is_none")]
    terminal: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wire_mm2: Option<Digits>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    plan: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    series: Option<u64>,
    axis: String,
    instrument: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    nominal_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    nominal_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lower_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lower_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    upper_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    upper_mn: Option<i64>,
    limits_unit: names::Unit,
    points: Vec<Point>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    told: Vec<String>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Point {
    seq: u64,
    series: u64,
    piece: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_mn: Option<i64>,
    value: Digits,
    unit: names::Unit,
}

/// The names of these rules.
pub(super) fn names_of(rules: &[&'static AlertRule]) -> Vec<String> {
    rules.iter().map(|rule| rule.name.to_owned()).collect()
}

/// The rules with these names; an error names an unknown one.
pub(super) fn rules(names: &[String]) -> Result<Vec<&'static AlertRule>, LineError> {
    let rule = |name: &String| {
        AlertRule::from_name(name).ok_or_else(|| {
            let known: Vec<_> = AlertRule::names().collect();
            fault(format!(
                "got the rule {name:?}, want one of {}",
                known.join(", ")
            ))
        })
    };
    names.iter().map(rule).collect()
}

impl From<&runs::Run> for Run {
    fn from(run: &runs::Run) -> Self {
        let (tool, nest, plan, series) = match &run.maker {
            Maker::Tool { id, nest } => (Some(id.clone()), nest.clone(), None, None),
            Maker::Plan(plan) => (None, None, Some(plan.clone()), None),
            Maker::Series(series) => (None, None, None, Some(series.0)),
        };
        let limits = &run.limits;
        Self {
            terminal: run.crimp.as_ref().map(|(terminal, _)| terminal.clone()),
            wire_mm2: run.crimp.as_ref().map(|(_, wire)| wire.mm2().into()),
            tool,
            nest,
            plan,
            series,
            axis: run.axis.as_str().to_owned(),
            instrument: run.instrument.clone(),
            nominal_nm: nm(limits.nominal()),
            nominal_mn: mn(limits.nominal()),
            lower_nm: nm(limits.lower()),
            lower_mn: mn(limits.lower()),
            upper_nm: nm(limits.upper()),
            upper_mn: mn(limits.upper()),
            limits_unit: limits.unit(),
            points: run.points.iter().map(Point::from).collect(),
            told: names_of(&run.signalled),
        }
    }
}

impl TryFrom<Run> for runs::Run {
    type Error = LineError;

    fn try_from(body: Run) -> Result<Self, LineError> {
        let limits = LimitFields {
            nominal: (body.nominal_nm, body.nominal_mn),
            lower: (body.lower_nm, body.lower_mn),
            upper: (body.upper_nm, body.upper_mn),
            unit: body.limits_unit,
        };
        let maker = match (body.tool, body.plan, body.series) {
            (Some(id), None, None) => Maker::Tool {
                id,
                nest: body.nest,
            },
            (None, Some(plan), None) => Maker::Plan(plan),
            (None, None, Some(series)) => Maker::Series(Seq(series)),
            _ => return Err(fault("a run wants one of `tool`, `plan` and `series`")),
        };
        let crimp = body.terminal.zip(body.wire_mm2).map(|(terminal, mm2)| {
            Ok::<_, LineError>((terminal, values::wire(&mm2, None, None)?.area))
        });
        let points: Result<_, _> = body.points.into_iter().map(TryInto::try_into).collect();
        Ok(Self {
            crimp: crimp.transpose()?,
            maker,
            axis: AxisName::new(body.axis),
            instrument: body.instrument,
            limits: Limits::try_from(limits)?,
            points: points?,
            signalled: rules(&body.told)?,
        })
    }
}

impl From<&runs::Point> for Point {
    fn from(point: &runs::Point) -> Self {
        Self {
            seq: point.seq.0,
            series: point.series.0,
            piece: point.piece,
            value_nm: nm(Some(point.value.quantity())),
            value_mn: mn(Some(point.value.quantity())),
            value: point.value.digits().into(),
            unit: point.value.unit(),
        }
    }
}

impl TryFrom<Point> for runs::Point {
    type Error = LineError;

    fn try_from(body: Point) -> Result<Self, LineError> {
        Ok(Self {
            value: measured(body.value_nm, body.value_mn, &body.value, body.unit)?,
            seq: Seq(body.seq),
            series: Seq(body.series),
            piece: body.piece,
        })
    }
}
