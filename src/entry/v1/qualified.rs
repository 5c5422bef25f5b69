//! The evidence for the combination of a first-off, in `armed`.

use super::names;
use super::values::{LimitFields, mn, nm, shown, units};
use crate::entry::Digits;
use crate::entry::line::LineError;
use crate::spec::{AxisName, QualificationRule, Qualified, QualifiedAxis};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The rule, and the series that show the combination; only where the rule requires it.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Qualification {
    /// The smallest number of pieces of each axis, and of pull tests.
    #[serde(rename = "pieces_least")]
    pieces: u32,
    /// The required Ppk, which the lower 95 % confidence bound must reach.
    ppk: Digits,
    /// Whether pull tests are required.
    pull: bool,
    /// A series counts for this number of months.
    months: u32,
    /// The axes that are shown.
    shown_axes: Vec<Axis>,
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
    unit: names::Unit,
    /// The series with the evidence, by `seq` of its `armed` entry.
    #[serde(rename = "series_id")]
    series: u64,
}

impl From<&Qualified> for Qualification {
    fn from(qualified: &Qualified) -> Self {
        let rule = &qualified.rule;
        Self {
            pieces: rule.pieces,
            ppk: shown(rule.ppk_hundredths, 2),
            pull: rule.pull,
            months: rule.months,
            shown_axes: qualified.axes.iter().map(Axis::from).collect(),
        }
    }
}

impl TryFrom<Qualification> for Qualified {
    type Error = LineError;

    fn try_from(body: Qualification) -> Result<Self, LineError> {
        let ppk = units(&body.ppk, 2)?;
        let axes = body.shown_axes.into_iter().map(TryInto::try_into);
        Ok(Self {
            rule: QualificationRule {
                pieces: body.pieces,
                ppk_hundredths: u32::try_from(ppk)
                    .map_err(|_| super::values::fault("ppk is no index"))?,
                pull: body.pull,
                months: body.months,
                require: true,
            },
            axes: axes.collect::<Result<_, _>>()?,
        })
    }
}

impl From<&QualifiedAxis> for Axis {
    fn from(of: &QualifiedAxis) -> Self {
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
            series: of.series,
        }
    }
}

impl TryFrom<Axis> for QualifiedAxis {
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
            series: body.series,
        })
    }
}
