//! An open series as clients see it: everything that it judges by.

use crate::entry::Digits;
use crate::entry::runs::Alert;
use crate::entry::state::SeriesState;
use crate::entry::{Tally, ToolInHand};
use crate::quantity::{Decimal, Quantity};
use crate::spec::Job;
use crate::spec::{ArmedAxis, ArmedInstrument, ArmedTool, Decision, Guard, ZeroPolicy};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// An open series and what it judges by.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct ArmedMessage {
    /// Its id: the seq of its `armed` entry.
    pub series: u64,
    /// When it was opened.
    pub since: String,
    /// The plan; left out if given inline.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<String>,
    /// Who measured when it was armed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// What the pieces are for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<JobMessage>,
    /// The lot of the terminals when it was armed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal_lot: Option<String>,
    /// The lot of the wire when it was armed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire_lot: Option<String>,
    /// The terminal; left out where gauge blocks are measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// Where its limits are from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// The wire with both of its sizes, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// The wire's size.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire_mm2: Option<Digits>,
    /// The gauge it was named by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// The system that led from gauge to size.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sizing: Option<String>,
    /// The gauge blocks with their own uncertainty; left out where crimps are measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blocks: Vec<String>,
    /// Why pieces are measured.
    pub purpose: String,
    /// The crimp tool.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tool: Option<ToolMessage>,
    /// `by_axis`, `by_piece` or `by_value`.
    pub order: String,
    /// How many pieces.
    pub pieces: u32,
    /// How many readings make it full.
    pub slots: u64,
    /// How many count so far.
    pub filled: u64,
    /// Of all its readings so far.
    pub tally: Tally,
    /// Pieces that were destroyed by a reading that was retracted: higher numbers are measured instead.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spent: Vec<u32>,
    /// `simple` or `guarded`.
    pub decision: String,
    /// The factor of the guard band.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard_factor: Option<Digits>,
    /// What is measured, in order.
    pub axes: Vec<AxisMessage>,
    /// When a zero is required.
    pub zero: ZeroMessage,
    /// The next series is opened at once.
    pub repeat: bool,
    /// The instruments whose values count.
    pub instruments: Vec<InstrumentBrief>,
    /// What the operator is warned of.
    pub warnings: Vec<String>,
    /// The rules over several readings that are in force.
    #[serde(default)]
    pub alert_rules: Vec<String>,
    /// The last of its alerts; those on a reading that was taken out are not among them.
    #[serde(default)]
    pub alerts: Vec<Alert>,
}

/// What pieces are for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct JobMessage {
    /// The shop's number of the job.
    pub id: String,
    /// For whom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer: Option<String>,
    /// The harness: part number and revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// The serial number of the harness in hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// The customer's own number of the order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
}

impl JobMessage {
    /// Of a job.
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
    /// As its `[[tool]]` table has it.
    pub id: String,
    /// `production` or `repair`.
    pub class: String,
    /// The nest used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// When it was last checked; only of a series, as the next two.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_check: Option<String>,
    /// The last day on which that check is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check_due: Option<String>,
    /// Crimps it had made in all when the series was armed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crimps: Option<u64>,
}

/// One axis of a series; lengths in nanometres, forces in millinewtons.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct AxisMessage {
    /// Its name.
    pub axis: String,
    /// The limits as text.
    pub limits: String,
    /// The nominal value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_nm: Option<i64>,
    /// The lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower_nm: Option<i64>,
    /// The upper limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_nm: Option<i64>,
    /// The nominal value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_mn: Option<i64>,
    /// The lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower_mn: Option<i64>,
    /// The upper limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_mn: Option<i64>,
    /// Where the limits are from if not from the maker's sheet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits_from: Option<String>,
    /// Per instrument that can measure it.
    pub guards: Vec<GuardMessage>,
}

/// How well an instrument can judge an axis.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct GuardMessage {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// How far the limits are drawn in, as text; left out under the simple rule.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<String>,
    /// Test uncertainty ratio: half the tolerance over 2u.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tur: Option<Digits>,
}

/// When a zero is required.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroMessage {
    /// Before the first reading.
    pub before_first: bool,
    /// After this number of pieces.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_pieces: Option<u32>,
    /// After this many seconds without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_seconds: Option<u64>,
    /// After the last reading.
    pub closing: bool,
    /// A value this close to the origin, in counts, is a zero.
    pub band: u32,
    /// A zero further off than this, in counts, is off.
    pub limit: u32,
    /// A length this close to zero, in nanometres, is an attempt at a zero where it cannot be a measurement; left out by
    /// a daemon that does not know of attempts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attempt_nm: Option<i64>,
    /// Two zeros within two seconds, where none is due, retract the last reading.
    #[serde(default)]
    pub double_retracts: bool,
}

/// What a series knows of an instrument.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct InstrumentBrief {
    /// Its name.
    pub instrument: String,
    /// Its resolution.
    pub resolution: String,
    /// Its maximum permissible error.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_error: Option<String>,
    /// A zero must be said, since an armed axis can itself read as little.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub zero_must_be_said: bool,
    /// When it was last calibrated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibrated: Option<String>,
    /// The last day on which that calibration is good.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration_due: Option<String>,
    /// Its last verification before the series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub verified: Option<VerifiedMessage>,
}

/// The last verification of an instrument against gauge blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct VerifiedMessage {
    /// `seq` of the entry `armed` that opened it.
    pub series: u64,
    /// When it was closed.
    pub at: String,
    /// Every error was within the maximum permissible one.
    pub accepted: bool,
}

impl ArmedMessage {
    /// Of an open series.
    pub fn new(series: &SeriesState) -> Self {
        let spec = &series.spec;
        let crimp = spec.subject.crimp();
        let wire = crimp.map(|crimp| &crimp.wire);
        let blocks = spec.subject.blocks();
        let axes = u64::try_from(spec.axes.len()).unwrap_or(u64::MAX);
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
            slots: axes.saturating_mul(u64::from(spec.pieces)),
            filled: u64::try_from(series.readings.len()).unwrap_or(u64::MAX),
            tally: series.tally,
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

    /// Of the tool in the hand.
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
