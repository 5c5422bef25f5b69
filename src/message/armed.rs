//! A series as clients see it, with everything that its verdicts depend on.

use crate::entry::Digits;
use crate::entry::runs::Alert;
use crate::entry::state::SeriesState;
use crate::entry::{Counts, Tally, ToolInHand};
use crate::quantity::{Decimal, Quantity};
use crate::spec::Job;
use crate::spec::{ArmedAxis, ArmedInstrument, ArmedTool, Decision, Guard, ZeroPolicy};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A series and everything that its verdicts depend on.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct ArmedMessage {
    /// Number of the series: `seq` of its `armed` entry.
    pub series: u64,
    /// Time of its start, RFC 3339 in UTC.
    pub since: String,
    /// Id of the plan; left out if the request gave the keys of a plan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<String>,
    /// Operator at the start; left out if unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// Job that the pieces are for; left out if none was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<JobMessage>,
    /// Lot of the terminals at the start; left out if unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal_lot: Option<String>,
    /// Lot of the wire at the start; left out if unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire_lot: Option<String>,
    /// The terminal; left out where gauge blocks are measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// What the sheet calls the terminal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal_name: Option<String>,
    /// Sizes of the row in force, where it is for a range of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub row: Option<String>,
    /// Origin of the limits, as the sheet gives it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// Wire in words, with area and gauge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// Conductor size in mm².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire_mm2: Option<Digits>,
    /// Gauge by which the plan names the wire; left out if it gives mm².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// Sizing system in which the gauge was resolved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sizing: Option<String>,
    /// Gauge blocks with their own uncertainty; left out where crimps are measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blocks: Vec<String>,
    /// Purpose of the pieces, such as `first_off`.
    pub purpose: String,
    /// Crimp tool of the series, with its care at the start.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tool: Option<ToolMessage>,
    /// `by_axis`, `by_piece` or `by_value`.
    pub order: String,
    /// Number of pieces, or of repeats at each gauge block.
    pub pieces: u32,
    /// Number of readings that make it full: pieces times axes.
    pub slots: u64,
    /// Number of counted readings so far.
    pub filled: u64,
    /// Numbers of readings by verdict and disposition, so far.
    pub tally: Tally,
    /// What a display shows of it, as in the entry `completed`; left out by older releases.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts: Option<Counts>,
    /// Spent pieces: destroyed by measuring, then retracted. Higher numbers are measured in their place.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spent: Vec<u32>,
    /// `simple` or `guarded`.
    pub decision: String,
    /// Factor of the guard band; left out with simple acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard_factor: Option<Digits>,
    /// Axes with their limits, in the order of measuring.
    pub axes: Vec<AxisMessage>,
    /// When zero checks are required.
    pub zero: ZeroMessage,
    /// Whether the next series is opened as soon as this one is full.
    pub repeat: bool,
    /// Instruments whose readings count in this series.
    pub instruments: Vec<InstrumentBrief>,
    /// Warnings given at the start.
    pub warnings: Vec<String>,
    /// Names of the run rules that are in force.
    #[serde(default)]
    pub alert_rules: Vec<String>,
    /// Last alerts of the series; an alert is left out once one of its readings no longer counts.
    #[serde(default)]
    pub alerts: Vec<Alert>,
}

/// Job that pieces are for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobMessage {
    /// Number of the job in the shop.
    pub id: String,
    /// Customer of the job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer: Option<String>,
    /// Part number and revision of the harness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// Serial number of the harness that is measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Order number of the customer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
}

impl JobMessage {
    /// The message for a job.
    pub fn new(job: &Job) -> Self {
        Self {
            id: job.id.clone(),
            customer: job.customer.clone(),
            item: job.item.clone(),
            serial: job.serial.clone(),
            reference: job.reference.clone(),
        }
    }
}

/// A crimp tool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToolMessage {
    /// Id of the tool in the configuration.
    pub id: String,
    /// `production` or `repair`.
    pub class: String,
    /// Nest in use; left out if it was not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// Date of the last check; given for the tool of a series only, like the next two fields.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_check: Option<String>,
    /// Last day on which that check is valid.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check_due: Option<String>,
    /// Total number of crimps by the tool at the start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crimps: Option<u64>,
}

/// One axis of a series; lengths in nanometres, forces in millinewtons.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct AxisMessage {
    /// Name of the axis, such as `core_crimp_height`.
    pub axis: String,
    /// Limits as text with unit: `1.62 ±0.05 mm`.
    pub limits: String,
    /// Nominal length.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_nm: Option<i64>,
    /// Lower limit of a length.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower_nm: Option<i64>,
    /// Upper limit of a length.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_nm: Option<i64>,
    /// Nominal force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_mn: Option<i64>,
    /// Lower limit of a force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower_mn: Option<i64>,
    /// Upper limit of a force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_mn: Option<i64>,
    /// Origin of the limits, if not the maker's sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits_from: Option<String>,
    /// Guard band and test uncertainty ratio for each instrument that measures the axis.
    pub guards: Vec<GuardMessage>,
}

/// How well an instrument can judge an axis.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct GuardMessage {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// Width of the guard band, as text with unit; left out with simple acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<String>,
    /// Test uncertainty ratio: half the tolerance over the expanded uncertainty 2u. Left out if the uncertainty is unknown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tur: Option<Digits>,
    /// The uncertainty budget that both are from; left out if they are from the instrument's own properties.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<String>,
}

/// When zero checks are required.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroMessage {
    /// Whether one is required before the first reading.
    pub before_first: bool,
    /// Number of pieces after which one is required.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_pieces: Option<u32>,
    /// Number of seconds after which one is required.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_seconds: Option<u64>,
    /// Whether one is required after the last reading.
    pub closing: bool,
    /// Forces: a value within this many resolution steps of zero is a zero.
    pub band: u32,
    /// A zero is off if its error exceeds this many resolution steps.
    pub limit: u32,
    /// Lengths: a value this close to zero is an attempt at a zero if it cannot be a measurement. Left out by daemons
    /// without this rule.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attempt_nm: Option<i64>,
    /// Whether two zeros within two seconds, where none is due, retract the last reading.
    #[serde(default)]
    pub double_retracts: bool,
}

/// Instrument as the series uses it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct InstrumentBrief {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// Smallest step of its display, as text with unit.
    pub resolution: String,
    /// Maximum permissible error, as text with unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_error: Option<String>,
    /// Whether the operator must announce a zero, because an axis of the plan has values near zero.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub zero_must_be_said: bool,
    /// Date of the last calibration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibrated: Option<String>,
    /// Last day on which that calibration is valid.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_due: Option<String>,
    /// Last verification before the series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub verified: Option<VerifiedMessage>,
}

/// Last verification of an instrument against gauge blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct VerifiedMessage {
    /// `seq` of the entry `armed` that opened it.
    pub series: u64,
    /// Time of its end, RFC 3339 in UTC.
    pub at: String,
    /// Whether every error was within the maximum permissible error.
    pub accepted: bool,
}

impl ArmedMessage {
    /// The message for a series of the state.
    pub fn new(series: &SeriesState) -> Self {
        let spec = &series.spec;
        let crimp = spec.subject.crimp();
        let sheet = spec.subject.sheet();
        let wire = crimp.map(|crimp| &crimp.wire);
        let blocks = spec.subject.blocks();
        let guard_factor = match spec.decision {
            Decision::Simple => None,
            Decision::Guarded { factor_milli } => {
                Some(Decimal::new(i64::from(factor_milli), 3).into())
            }
        };
        Self {
            series: series.id.0,
            since: series.since.to_string(),
            plan: spec.plan.clone(),
            operator: spec.operator.clone(),
            job: spec.job.as_ref().map(JobMessage::new),
            terminal_lot: spec.lots.terminal.clone(),
            wire_lot: spec.lots.wire.clone(),
            terminal: crimp.map(|crimp| crimp.terminal.clone()),
            terminal_name: sheet.and_then(|sheet| sheet.name.clone()),
            row: sheet
                .and_then(|sheet| sheet.sizes)
                .map(|sizes| sizes.to_string()),
            source: spec.subject.source().map(str::to_owned),
            wire: wire.map(ToString::to_string),
            wire_mm2: wire.map(|wire| wire.area.mm2().into()),
            gauge: wire.and_then(|wire| wire.gauge.clone()),
            sizing: wire.map(|wire| wire.sizing.name().to_owned()),
            blocks: blocks.iter().map(ToString::to_string).collect(),
            purpose: spec.purpose.name().to_owned(),
            tool: spec.tool.as_ref().map(ToolMessage::new),
            order: spec.order.name().to_owned(),
            pieces: spec.pieces,
            slots: series.slots(),
            filled: u64::try_from(series.readings.len()).unwrap_or(u64::MAX),
            tally: series.tally,
            counts: Some(series.counts()),
            spent: series.spent.iter().copied().collect(),
            decision: spec.decision.name().to_owned(),
            guard_factor,
            axes: spec.axes.iter().map(AxisMessage::new).collect(),
            zero: ZeroMessage::new(&spec.zero),
            repeat: spec.repeat,
            instruments: spec.instruments.iter().map(InstrumentBrief::new).collect(),
            warnings: spec.warnings.clone(),
            alert_rules: spec
                .alerts
                .iter()
                .map(|rule| rule.name.to_owned())
                .collect(),
            alerts: series.alerts.clone(),
        }
    }
}

impl ToolMessage {
    fn new(tool: &ArmedTool) -> Self {
        Self {
            id: tool.id.clone(),
            class: tool.class.name().to_owned(),
            nest: tool.nest.clone(),
            last_check: tool.care.last_check.map(|day| day.to_string()),
            check_due: tool.care.check_due.map(|day| day.to_string()),
            crimps: tool.crimps,
        }
    }

    /// The message for the tool in use at a station; dates and counts are left out.
    pub(super) fn in_hand(tool: &ToolInHand) -> Self {
        Self {
            id: tool.id.clone(),
            class: tool.class.name().to_owned(),
            nest: tool.nest.clone(),
            last_check: None,
            check_due: None,
            crimps: None,
        }
    }
}

impl AxisMessage {
    fn new(axis: &ArmedAxis) -> Self {
        let nanometres = |part: Option<Quantity>| match part? {
            Quantity::Length(length) => Some(length.nanometres()),
            Quantity::Force(_) => None,
        };
        let millinewtons = |part: Option<Quantity>| match part? {
            Quantity::Length(_) => None,
            Quantity::Force(force) => Some(force.millinewtons()),
        };
        let limits = &axis.limits;
        Self {
            axis: axis.name.to_string(),
            limits: limits.to_string(),
            nominal_nm: nanometres(limits.nominal()),
            lower_nm: nanometres(limits.lower()),
            upper_nm: nanometres(limits.upper()),
            nominal_mn: millinewtons(limits.nominal()),
            lower_mn: millinewtons(limits.lower()),
            upper_mn: millinewtons(limits.upper()),
            limits_from: axis.limits_from.clone(),
            guards: axis
                .guards
                .iter()
                .map(|guard| GuardMessage::new(guard, axis))
                .collect(),
        }
    }
}

impl GuardMessage {
    fn new(guard: &Guard, axis: &ArmedAxis) -> Self {
        let width = Quantity::from_base(axis.limits.dimension(), guard.width);
        Self {
            instrument: guard.instrument.clone(),
            guard: (guard.width != 0).then(|| width.to_string()),
            tur: guard
                .test_uncertainty_ratio_hundredths
                .map(|hundredths| Decimal::new(i64::from(hundredths), 2).into()),
            budget: guard.budget.clone(),
        }
    }
}

impl ZeroMessage {
    fn new(policy: &ZeroPolicy) -> Self {
        Self {
            before_first: policy.before_first,
            every_pieces: policy.every_pieces,
            every_seconds: policy.every.map(|every| every.as_secs()),
            closing: policy.closing,
            band: policy.band_counts,
            limit: policy.limit_counts,
            attempt_nm: Some(policy.attempt.nanometres()),
            double_retracts: policy.double_retracts,
        }
    }
}

impl InstrumentBrief {
    fn new(instrument: &ArmedInstrument) -> Self {
        Self {
            instrument: instrument.name.clone(),
            resolution: instrument.resolution.to_string(),
            max_error: instrument.max_error.map(|error| error.to_string()),
            zero_must_be_said: instrument.zero_must_be_said,
            calibrated: instrument.care.calibrated.map(|day| day.to_string()),
            calibration_due: instrument.care.calibration_due.map(|day| day.to_string()),
            verified: instrument.verified.map(|verified| VerifiedMessage {
                series: verified.series,
                at: verified.at.to_string(),
                accepted: verified.accepted,
            }),
        }
    }
}
