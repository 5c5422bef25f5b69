//! Production runs on disk: the sample that a series is, and the state of a station's runs.

use super::journal::time;
use super::names;
use crate::entry::line::LineError;
use crate::entry::production::RunForm;
use crate::entry::production::fold::{Hold, OpenRun, Owed, Production, Sample};
use crate::entry::{Held, RunClosed, RunOpened, Seq};
use crate::spec::{ProductionRun, SampleOf};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The production run that a series is a sample of, and its part in it.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct SampleForm {
    part: names::SampleRole,
    #[serde(rename = "production_run", with = "RunForm")]
    #[schemars(with = "RunForm")]
    settings: ProductionRun,
}

impl From<&SampleOf> for SampleForm {
    fn from(sample: &SampleOf) -> Self {
        Self {
            part: sample.role,
            settings: sample.run.clone(),
        }
    }
}

impl From<SampleForm> for SampleOf {
    fn from(body: SampleForm) -> Self {
        Self {
            run: body.settings,
            role: body.part,
        }
    }
}

/// The production runs of a station.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct ProductionForm {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    run: Option<RunState>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    holds: Vec<HoldState>,
    without_run: u64,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    owed: Vec<OwedForm>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sample: Option<SampleState>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    stopped_sample: Option<SampleState>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct RunState {
    run: Seq,
    #[serde(rename = "production_run", with = "RunForm")]
    #[schemars(with = "RunForm")]
    settings: ProductionRun,
    since: String,
    crimps: u64,
    decided: u64,
    vouched: u64,
    last_good_sample: LastGood,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bad_sample: Option<Seq>,
    sample_time_due: bool,
}

/// The last good sample.
#[derive(Serialize, Deserialize, JsonSchema)]
struct LastGood {
    series: Seq,
    at: String,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct HoldState {
    held: Seq,
    run: Seq,
    series: Seq,
    first_crimp: u64,
    last_crimp: u64,
    cause: names::HoldCause,
    settled: u64,
}

/// An entry that follows from the last sample.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum OwedForm {
    Held(Held),
    RunClosed(RunClosed),
    RunOpened(RunOpened),
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct SampleState {
    series: Seq,
    sample_of: SampleForm,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    crimps: Option<u64>,
}

impl ProductionForm {
    /// `None` for a station that never had a run, a crimp or a sample.
    pub(super) fn of(production: &Production) -> Option<Self> {
        if *production == Production::default() {
            return None;
        }
        Some(Self {
            run: production.run.as_ref().map(RunState::from),
            holds: production.holds.iter().map(HoldState::from).collect(),
            without_run: production.without_run,
            owed: production.owed.iter().map(OwedForm::from).collect(),
            sample: production.sample.as_ref().map(SampleState::from),
            stopped_sample: production.stopped.as_ref().map(SampleState::from),
        })
    }
}

impl TryFrom<ProductionForm> for Production {
    type Error = LineError;

    fn try_from(body: ProductionForm) -> Result<Self, LineError> {
        Ok(Self {
            run: body.run.map(TryInto::try_into).transpose()?,
            holds: body.holds.into_iter().map(Into::into).collect(),
            without_run: body.without_run,
            owed: body.owed.into_iter().map(Into::into).collect(),
            sample: body.sample.map(Into::into),
            stopped: body.stopped_sample.map(Into::into),
        })
    }
}

impl From<&OpenRun> for RunState {
    fn from(run: &OpenRun) -> Self {
        let (series, at) = run.last_good;
        Self {
            run: run.id,
            settings: run.settings.clone(),
            since: run.since.to_string(),
            crimps: run.crimps,
            decided: run.decided,
            vouched: run.vouched,
            last_good_sample: LastGood {
                series,
                at: at.to_string(),
            },
            bad_sample: run.bad,
            sample_time_due: run.time_due,
        }
    }
}

impl TryFrom<RunState> for OpenRun {
    type Error = LineError;

    fn try_from(body: RunState) -> Result<Self, LineError> {
        Ok(Self {
            id: body.run,
            settings: body.settings,
            since: time("since", &body.since)?,
            crimps: body.crimps,
            decided: body.decided,
            vouched: body.vouched,
            last_good: (
                body.last_good_sample.series,
                time("at", &body.last_good_sample.at)?,
            ),
            bad: body.bad_sample,
            time_due: body.sample_time_due,
        })
    }
}

impl From<(&Seq, &Hold)> for HoldState {
    fn from((by, hold): (&Seq, &Hold)) -> Self {
        Self {
            held: *by,
            run: hold.run,
            series: hold.series,
            first_crimp: hold.first,
            last_crimp: hold.last,
            cause: hold.cause,
            settled: hold.settled,
        }
    }
}

impl From<HoldState> for (Seq, Hold) {
    fn from(body: HoldState) -> Self {
        let hold = Hold {
            run: body.run,
            series: body.series,
            first: body.first_crimp,
            last: body.last_crimp,
            cause: body.cause,
            settled: body.settled,
        };
        (body.held, hold)
    }
}

impl From<&Owed> for OwedForm {
    fn from(owed: &Owed) -> Self {
        match owed {
            Owed::Hold(held) => Self::Held(held.clone()),
            Owed::Close(closed) => Self::RunClosed(closed.clone()),
            Owed::Open(opened) => Self::RunOpened(opened.clone()),
        }
    }
}

impl From<OwedForm> for Owed {
    fn from(body: OwedForm) -> Self {
        match body {
            OwedForm::Held(held) => Self::Hold(held),
            OwedForm::RunClosed(closed) => Self::Close(closed),
            OwedForm::RunOpened(opened) => Self::Open(opened),
        }
    }
}

impl From<&Sample> for SampleState {
    fn from(sample: &Sample) -> Self {
        Self {
            series: sample.series,
            sample_of: (&sample.of).into(),
            crimps: sample.crimps,
        }
    }
}

impl From<SampleState> for Sample {
    fn from(body: SampleState) -> Self {
        Self {
            series: body.series,
            of: body.sample_of.into(),
            crimps: body.crimps,
        }
    }
}
