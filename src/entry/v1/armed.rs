//! The armed specification on disk. It is complete: every verdict of the series can be recomputed from it.

use super::care;
use super::job::JobFields;
use super::names;
use super::parts::{Look, OpeningZero};
use super::production;
use super::qualified::Qualification;
use super::runs;
use super::subject;
use super::values::{LimitFields, Span, fault, known, mn, nm, quantity, shown, units};
use super::zero_policy::Zero;
use crate::entry::Digits;
use crate::entry::Entry;
use crate::entry::line::LineError;
use crate::quantity::{Dimension, Quantity};
use crate::spec::wire::Strands;
use crate::spec::{
    ArmedAxis, ArmedInstrument, ArmedSpec, ArmedTool, AxisName, Decision, FromSheet, Guard, Lots,
    Papers, Questions,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Armed {
    station: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    plan: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    operator: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    job: Option<JobFields>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    terminal_lot: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wire_lot: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    terminal: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    terminal_name: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    row: Option<subject::RowSizes>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wire_mm2: Option<Digits>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wire_gauge: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sizing: Option<names::Sizing>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    strands: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    blocks: Option<Vec<subject::Block>>,
    purpose: names::Purpose,
    /// The production run that the series is a sample of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sample: Option<production::SampleForm>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<Tool>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    qualified: Option<Qualification>,
    pieces: u32,
    order: names::Order,
    axes: Vec<Axis>,
    decision: Judging,
    zero: Zero,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    looks: Vec<Look>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    looks_per: Option<names::LooksPer>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    asks_pull_mode: bool,
    repeat: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    opening_zeros: Vec<OpeningZero>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    alert_rules: Vec<String>,
    instruments: Vec<Instrument>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Tool {
    id: String,
    class: names::ToolClass,
    #[serde(skip_serializing_if = "Option::is_none")]
    nest: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    care: Option<care::Tool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    crimps: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    needs: Option<String>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Axis {
    #[serde(rename = "axis")]
    name: String,
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
    unit: names::Unit,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    limits_from: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    plausible: Option<Span>,
    guards: Vec<GuardBand>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct GuardBand {
    instrument: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    width_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    width_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    test_uncertainty_ratio: Option<Digits>,
    /// The uncertainty budget that both are from; left out if they are from the instrument's own properties.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    budget: Option<String>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Judging {
    rule: names::Rule,
    #[serde(skip_serializing_if = "Option::is_none")]
    guard_factor: Option<Digits>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Instrument {
    name: String,
    unit: names::Unit,
    #[serde(skip_serializing_if = "Option::is_none")]
    resolution_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    resolution_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    max_error_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    max_error_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    repeatability_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    repeatability_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    range: Option<Span>,
    zero_must_be_said: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    care: Option<care::Instrument>,
    /// The instrument's serial number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    serial: Option<String>,
    /// The certificate of its last calibration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    certificate: Option<String>,
    /// The maker's data sheet that its resolution and errors are from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    maker_sheet: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    verified: Option<care::Verification>,
}

impl From<&ArmedSpec> for Armed {
    fn from(spec: &ArmedSpec) -> Self {
        let crimp = subject::CrimpFields::new(spec.subject.crimp().map(|crimp| &**crimp));
        let sheet = spec.subject.sheet();
        let questions = &spec.questions;
        Self {
            station: spec.station.clone(),
            plan: spec.plan.clone(),
            operator: spec.operator.clone(),
            job: spec.job.as_ref().map(JobFields::from),
            terminal_lot: spec.lots.terminal.clone(),
            wire_lot: spec.lots.wire.clone(),
            terminal: crimp.terminal,
            source: spec.subject.source().map(str::to_owned),
            terminal_name: sheet.and_then(|sheet| sheet.name.clone()),
            row: sheet.and_then(|sheet| sheet.sizes).map(Into::into),
            wire_mm2: crimp.wire_mm2,
            wire_gauge: crimp.wire_gauge,
            sizing: crimp.sizing,
            strands: spec.strands.map(|strands| strands.to_string()),
            blocks: subject::blocks(&spec.subject),
            purpose: spec.purpose,
            sample: spec.sample.as_ref().map(Into::into),
            tool: spec.tool.as_ref().map(|tool| Tool {
                id: tool.id.clone(),
                class: tool.class,
                nest: tool.nest.clone(),
                care: care::tool(&tool.care),
                crimps: tool.crimps,
                needs: tool.needs.clone(),
            }),
            qualified: spec.qualified.as_deref().map(Qualification::from),
            pieces: spec.pieces,
            order: spec.order,
            axes: spec.axes.iter().map(Axis::from).collect(),
            decision: spec.decision.into(),
            zero: spec.zero.into(),
            looks: questions.looks.iter().map(Look::from).collect(),
            looks_per: (!questions.looks.is_empty()).then_some(questions.looks_per),
            asks_pull_mode: questions.pull_mode,
            repeat: spec.repeat,
            opening_zeros: spec.opening_zeros.iter().map(OpeningZero::from).collect(),
            alert_rules: runs::names_of(&spec.alerts),
            instruments: spec.instruments.iter().map(Instrument::from).collect(),
            warnings: spec.warnings.clone(),
        }
    }
}

impl TryFrom<Armed> for ArmedSpec {
    type Error = LineError;

    fn try_from(body: Armed) -> Result<Self, LineError> {
        let axes: Result<_, _> = body.axes.into_iter().map(TryInto::try_into).collect();
        let crimp = subject::CrimpFields {
            terminal: body.terminal,
            wire_mm2: body.wire_mm2,
            wire_gauge: body.wire_gauge,
            sizing: body.sizing,
        };
        let sheet = FromSheet {
            source: body.source,
            name: body.terminal_name,
            sizes: body.row.map(TryInto::try_into).transpose()?,
        };
        let opening_zeros: Result<_, _> = body
            .opening_zeros
            .into_iter()
            .map(TryInto::try_into)
            .collect();
        let instruments: Result<_, _> = body
            .instruments
            .into_iter()
            .map(TryInto::try_into)
            .collect();
        Ok(Self {
            station: body.station,
            plan: body.plan,
            operator: body.operator,
            job: body.job.map(Into::into),
            lots: Lots {
                terminal: body.terminal_lot,
                wire: body.wire_lot,
            },
            subject: subject::armed(crimp.crimp()?, sheet, body.blocks)?,
            strands: strands(body.strands.as_deref())?,
            purpose: body.purpose,
            sample: body.sample.map(Into::into),
            tool: body.tool.map(TryInto::try_into).transpose()?,
            qualified: match body.qualified {
                Some(body) => Some(Box::new(body.try_into()?)),
                None => None,
            },
            axes: axes?,
            order: body.order,
            pieces: body.pieces,
            decision: body.decision.try_into()?,
            zero: body.zero.try_into()?,
            questions: Questions {
                looks: body.looks.into_iter().map(Into::into).collect(),
                looks_per: body.looks_per.unwrap_or_default(),
                pull_mode: body.asks_pull_mode,
            },
            repeat: body.repeat,
            opening_zeros: opening_zeros?,
            alerts: runs::rules(&body.alert_rules)?,
            instruments: instruments?,
            warnings: body.warnings,
        })
    }
}

fn strands(text: Option<&str>) -> Result<Option<Strands>, LineError> {
    let strands = text.map(str::parse::<Strands>).transpose();
    strands.map_err(|error| fault(error.to_string()))
}

impl TryFrom<Tool> for ArmedTool {
    type Error = LineError;

    fn try_from(body: Tool) -> Result<Self, LineError> {
        Ok(Self {
            id: body.id,
            class: body.class,
            nest: body.nest,
            care: care::of_tool(body.care)?,
            crimps: body.crimps,
            needs: body.needs,
        })
    }
}

impl From<&Arc<ArmedSpec>> for Armed {
    fn from(spec: &Arc<ArmedSpec>) -> Self {
        (&**spec).into()
    }
}

impl TryFrom<Armed> for Entry {
    type Error = LineError;

    fn try_from(body: Armed) -> Result<Self, LineError> {
        Ok(Arc::new(ArmedSpec::try_from(body)?).into())
    }
}

impl From<&ArmedAxis> for Axis {
    fn from(axis: &ArmedAxis) -> Self {
        let limits = &axis.limits;
        let band = |guard: &Guard| {
            let width = Some(Quantity::from_base(limits.dimension(), guard.width));
            GuardBand {
                instrument: guard.instrument.clone(),
                width_nm: nm(width),
                width_mn: mn(width),
                test_uncertainty_ratio: guard
                    .test_uncertainty_ratio_hundredths
                    .map(|hundredths| shown(hundredths, 2)),
                budget: guard.budget.clone(),
            }
        };
        Self {
            name: axis.name.as_str().to_owned(),
            nominal_nm: nm(limits.nominal()),
            nominal_mn: mn(limits.nominal()),
            lower_nm: nm(limits.lower()),
            lower_mn: mn(limits.lower()),
            upper_nm: nm(limits.upper()),
            upper_mn: mn(limits.upper()),
            unit: limits.unit(),
            limits_from: axis.limits_from.clone(),
            plausible: axis.plausible.map(Span::from),
            guards: axis.guards.iter().map(band).collect(),
        }
    }
}

impl TryFrom<Axis> for ArmedAxis {
    type Error = LineError;

    fn try_from(body: Axis) -> Result<Self, LineError> {
        let limits = LimitFields {
            nominal: (body.nominal_nm, body.nominal_mn),
            lower: (body.lower_nm, body.lower_mn),
            upper: (body.upper_nm, body.upper_mn),
            unit: body.unit,
        };
        let limits = crate::spec::Limits::try_from(limits)?;
        let guards: Result<_, _> = body
            .guards
            .into_iter()
            .map(|band| band.guard(limits.dimension()))
            .collect();
        Ok(Self {
            name: AxisName::new(body.name),
            limits,
            limits_from: body.limits_from,
            plausible: body.plausible.map(TryInto::try_into).transpose()?,
            guards: guards?,
        })
    }
}

impl GuardBand {
    fn guard(self, dimension: Dimension) -> Result<Guard, LineError> {
        let width = known("width", self.width_nm, self.width_mn)?;
        if width.dimension() != dimension {
            return Err(fault(
                "the guard band is of another dimension than its axis",
            ));
        }
        Ok(Guard {
            instrument: self.instrument,
            width: width.base(),
            test_uncertainty_ratio_hundredths: self
                .test_uncertainty_ratio
                .map(|ratio| whole(&ratio, 2))
                .transpose()?,
            budget: self.budget,
        })
    }
}

/// The number in units of `10^-places`; an error if it is negative.
fn whole(number: &Digits, places: u8) -> Result<u32, LineError> {
    u32::try_from(units(number, places)?).map_err(|_| fault("a number is out of range"))
}

impl From<Decision> for Judging {
    fn from(decision: Decision) -> Self {
        match decision {
            Decision::Simple => Self {
                rule: names::Rule::Simple,
                guard_factor: None,
            },
            Decision::Guarded { factor_milli } => Self {
                rule: names::Rule::Guarded,
                guard_factor: Some(shown(factor_milli, 3)),
            },
        }
    }
}

impl TryFrom<Judging> for Decision {
    type Error = LineError;

    fn try_from(body: Judging) -> Result<Self, LineError> {
        match (body.rule, body.guard_factor) {
            (names::Rule::Simple, _) => Ok(Self::Simple),
            (names::Rule::Guarded, Some(factor)) => Ok(Self::Guarded {
                factor_milli: whole(&factor, 3)?,
            }),
            (names::Rule::Guarded, None) => Err(fault("missing field `guard_factor`")),
        }
    }
}

impl From<&ArmedInstrument> for Instrument {
    fn from(instrument: &ArmedInstrument) -> Self {
        Self {
            name: instrument.name.clone(),
            unit: instrument.unit,
            resolution_nm: nm(Some(instrument.resolution)),
            resolution_mn: mn(Some(instrument.resolution)),
            max_error_nm: nm(instrument.max_error),
            max_error_mn: mn(instrument.max_error),
            repeatability_nm: nm(instrument.repeatability),
            repeatability_mn: mn(instrument.repeatability),
            range: instrument.range.map(Span::from),
            zero_must_be_said: instrument.zero_must_be_said,
            care: care::instrument(&instrument.care),
            serial: instrument.papers.serial.clone(),
            certificate: instrument.papers.certificate.clone(),
            maker_sheet: instrument.papers.maker_sheet.clone(),
            verified: instrument.verified.map(Into::into),
        }
    }
}

impl TryFrom<Instrument> for ArmedInstrument {
    type Error = LineError;

    fn try_from(body: Instrument) -> Result<Self, LineError> {
        Ok(Self {
            name: body.name,
            unit: body.unit,
            resolution: known("resolution", body.resolution_nm, body.resolution_mn)?,
            max_error: quantity("max_error", body.max_error_nm, body.max_error_mn)?,
            repeatability: quantity(
                "repeatability",
                body.repeatability_nm,
                body.repeatability_mn,
            )?,
            range: body.range.map(TryInto::try_into).transpose()?,
            zero_must_be_said: body.zero_must_be_said,
            care: care::of_instrument(body.care)?,
            papers: Papers {
                serial: body.serial,
                certificate: body.certificate,
                maker_sheet: body.maker_sheet,
            },
            verified: body.verified.map(TryInto::try_into).transpose()?,
        })
    }
}
