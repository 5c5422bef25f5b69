//! Production runs in messages: the open run of a station, what is held there, and a run as `tallyjaw runs --json` shows
//! it.

use crate::entry::Seq;
use crate::entry::production::fold::{Hold, OpenRun, Production};
use crate::entry::production::history::{Fate, RunRecord};
use crate::station::sampling::{self, Need};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The production runs of a station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ProductionMessage {
    /// The open run; left out if none is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub open: Option<OpenRunMessage>,
    /// Crimps that are held and not settled.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldMessage>,
    /// What to do about held crimps, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub held_says: Option<String>,
    /// Crimps counted while no run is open.
    pub without_run: u64,
}

/// An open production run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OpenRunMessage {
    /// Number of the run: `seq` of its entry `run_opened`.
    pub run: u64,
    /// Its id in the configuration.
    pub run_id: String,
    /// Crimps counted so far.
    pub crimps: u64,
    /// Crimps that good samples vouch for.
    pub vouched: u64,
    /// Crimps since the last good sample, or since the bad one after it.
    pub open: u64,
    /// Crimps left until the next sample; left out if it becomes due by time only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<u64>,
    /// A sample is due after this number of crimps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub every_crimps: Option<u32>,
    /// A sample is due this number of minutes after the last good one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub every_minutes: Option<u32>,
    /// When the next sample becomes due by time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<String>,
    /// Whether a sample is due now.
    pub due: bool,
    /// Series of the last good sample.
    pub last_good: u64,
    /// Series of the last sample, if it was bad.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bad_sample: Option<u64>,
    /// Plan of the next sample.
    pub plan: String,
    /// What the run needs next, in words.
    pub says: String,
}

/// Held crimps.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct HoldMessage {
    /// `seq` of the entry `held`.
    pub held: u64,
    /// Number of the run.
    pub run: u64,
    /// Series that caused it.
    pub series: u64,
    /// Number of the first crimp in the run, from 1.
    pub first: u64,
    /// Number of the last crimp.
    pub last: u64,
    /// Why they are held.
    pub cause: String,
    /// Number of crimps that are not settled.
    pub left: u64,
}

impl ProductionMessage {
    /// The message; `None` for a station without a run, held crimps or counted ones.
    pub fn new(production: &Production) -> Option<Self> {
        let is_empty =
            production.run.is_none() && production.holds.is_empty() && production.without_run == 0;
        if is_empty {
            return None;
        }
        Some(Self {
            open: production.run.as_ref().map(OpenRunMessage::new),
            holds: production
                .holds
                .iter()
                .map(|(by, hold)| HoldMessage::new(*by, hold))
                .collect(),
            held_says: sampling::held(production),
            without_run: production.without_run,
        })
    }
}

impl OpenRunMessage {
    fn new(run: &OpenRun) -> Self {
        let need = Need::of(run);
        Self {
            run: run.id.0,
            run_id: run.settings.id.clone(),
            crimps: run.crimps,
            vouched: run.vouched,
            open: run.open(),
            left: run.left(),
            every_crimps: run.settings.every_crimps,
            every_minutes: run.settings.every_minutes,
            due_at: run.due_at().map(|at| at.to_string()),
            due: need.is_now(),
            last_good: run.last_good.0.0,
            bad_sample: run.bad.map(|series| series.0),
            plan: run.settings.in_process.clone(),
            says: need.to_string(),
        }
    }
}

impl HoldMessage {
    fn new(by: Seq, hold: &Hold) -> Self {
        Self {
            held: by.0,
            run: hold.run.0,
            series: hold.series.0,
            first: hold.first,
            last: hold.last,
            cause: hold.cause.name().to_owned(),
            left: hold.left(),
        }
    }
}

/// A production run of the journal, as a line of `tallyjaw runs --json`.
#[derive(Debug, Serialize)]
pub struct RunMessage {
    /// `run`.
    pub kind: &'static str,
    /// Its number.
    pub run: u64,
    /// Its id in the configuration.
    pub run_id: String,
    /// Its station.
    pub station: String,
    /// When it was opened.
    pub opened: String,
    /// When it was closed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
    /// What closed it: `last_off` or `another_run`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub end: Option<&'static str>,
    /// Crimps counted.
    pub crimps: u64,
    /// Crimps that good samples vouch for.
    pub vouched: u64,
    /// Crimps that are held and not settled.
    pub held: u64,
    /// Crimps that a person released.
    pub released: u64,
    /// Crimps that a person sent to rework.
    pub reworked: u64,
    /// Crimps that a person scrapped.
    pub scrapped: u64,
    /// Crimps about which no sample has decided.
    pub open: u64,
    /// Its samples, in order.
    pub samples: Vec<SampleMessage>,
    /// The crimps by their numbers, with their disposition.
    pub spans: Vec<SpanMessage>,
}

/// A sample of a production run.
#[derive(Debug, Serialize)]
pub struct SampleMessage {
    /// The series.
    pub series: u64,
    /// When it was closed.
    pub at: String,
    /// `first_off`, `in_process` or `last_off`.
    pub role: &'static str,
    /// `good`, `bad` or `nothing`: what the sample shows about the crimps.
    pub says: &'static str,
    /// The crimps counted by then.
    pub crimps: u64,
}

/// Consecutive crimps with the same disposition.
#[derive(Debug, Serialize)]
pub struct SpanMessage {
    /// Number of the first crimp in the run.
    pub first: u64,
    /// Number of the last crimp.
    pub last: u64,
    /// `vouched`, `held`, `settled` or `open`.
    pub fate: &'static str,
    /// The entry that held them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<u64>,
}

impl RunMessage {
    /// The message of a run.
    pub fn new(run: &RunRecord) -> Self {
        use crate::spec::Settlement;
        Self {
            kind: "run",
            run: run.id.0,
            run_id: run.settings.id.clone(),
            station: run.station.clone(),
            opened: run.opened.to_string(),
            closed: run.closed.as_ref().map(|closed| closed.at.to_string()),
            end: run.closed.as_ref().map(|closed| closed.end.name()),
            crimps: run.crimps,
            vouched: run.vouched,
            held: run.held(),
            released: run.settled(Settlement::Release),
            reworked: run.settled(Settlement::Rework),
            scrapped: run.settled(Settlement::Scrap),
            open: run.open(),
            samples: run
                .samples
                .iter()
                .map(|sample| SampleMessage {
                    series: sample.series.0,
                    at: sample.at.to_string(),
                    role: sample.role.name(),
                    says: sample.says.name(),
                    crimps: sample.crimps,
                })
                .collect(),
            spans: run
                .spans()
                .iter()
                .map(|span| SpanMessage {
                    first: span.first,
                    last: span.last,
                    fate: span.fate.name(),
                    by: match span.fate {
                        Fate::Held(by) | Fate::Settled(by) => Some(by.0),
                        Fate::Vouched | Fate::Open => None,
                    },
                })
                .collect(),
        }
    }
}
