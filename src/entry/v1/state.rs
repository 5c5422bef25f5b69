//! The state on disk, as a `segment` entry holds it.

use super::armed::Armed;
use super::care;
use super::job::JobFields;
use super::journal::time;
use super::names;
use super::parts::{LookAnswer, PullAnswer, answers};
use super::production::ProductionForm;
use super::qualifying::{Qualification, qualifying};
use super::reading::Reading;
use super::runs::Run;
use super::values::{measured, mn, nm, quantity};
use super::zero_state::Zero;
use crate::entry::Digits;
use crate::entry::line::LineError;
use crate::entry::production::fold::Production;
use crate::entry::repeat;
use crate::entry::runs::{Alert, Runs};
use crate::entry::state::{CountedReading, InstrumentState, SeriesState, StationState};
use crate::entry::{
    self, Adapter, Attached, JournalId, KeyInUse, RefusedSaying, Seq, Tally, ToolInHand, resume,
    undo,
};
use crate::spec::{AxisName, Lots};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct State {
    #[serde(skip_serializing_if = "Option::is_none")]
    journal: Option<JournalId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last: Option<Seq>,
    stations: BTreeMap<String, Station>,
    instruments: BTreeMap<String, Instrument>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    tools: BTreeMap<String, care::Crimps>,
    /// The evidence from qualification series.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    qualifications: Vec<Qualification>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    signing: Option<KeyInUse>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Station {
    #[serde(skip_serializing_if = "Option::is_none")]
    series: Option<Series>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_reading: Option<LastReading>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_outcome: Option<LastOutcome>,
    /// Reservations of the last outcome.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    last_reservations: Vec<entry::Reservation>,
    /// Pictures of the last closed series.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    last_pictures: Vec<entry::PictureKept>,
    #[serde(skip_serializing_if = "Option::is_none")]
    operator: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    tool: Option<ToolInHand>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    job: Option<JobFields>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    terminal_lot: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wire_lot: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    refused: Option<RefusedSaying>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    runs: Vec<Run>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    repeat: Option<Repeat>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    stopped: Option<Box<Stopped>>,
    /// Production runs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    production: Option<Box<ProductionForm>>,
}

/// The series that the last arming stopped early, as long as it can be resumed.
#[derive(Serialize, Deserialize, JsonSchema)]
struct Stopped {
    series: Series,
    is_followed: bool,
}

/// The next series of a plan that repeats, until it is armed.
#[derive(Serialize, Deserialize, JsonSchema)]
struct Repeat {
    spec: Box<Armed>,
    since: String,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct LastReading {
    seq: u64,
    reading: Reading,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct LastOutcome {
    series: u64,
    outcome: entry::Outcome,
    tally: Tally,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    at: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    counts: Option<entry::Counts>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Instrument {
    station: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    attached: Option<Attached>,
    #[serde(skip_serializing_if = "Option::is_none")]
    detached_because: Option<String>,
    zero_said: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    opening_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    opening_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    verified: Option<care::Verification>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    adapter: Option<Adapter>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    rivals: Vec<String>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Series {
    id: u64,
    since: String,
    spec: Armed,
    readings: Vec<Counted>,
    tally: Tally,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    doubted: Vec<Counted>,
    zeros: BTreeMap<String, Zero>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    alerts: Vec<Alert>,
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    crimped: BTreeSet<u32>,
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    spent: BTreeSet<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    retracted: Option<RetractedReading>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    looks: Vec<LookAnswer>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pull_modes: Vec<PullAnswer>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pictures: Vec<entry::PictureKept>,
}

/// The last retracted reading, as long as it can be restored.
#[derive(Serialize, Deserialize, JsonSchema)]
struct RetractedReading {
    reading: Counted,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    spent: bool,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct Counted {
    seq: u64,
    piece: u32,
    axis: String,
    instrument: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_mn: Option<i64>,
    value: Digits,
    unit: names::Unit,
    verdict: names::Verdict,
}

/// A map with the same names, and each value converted.
fn each<A, B>(
    map: BTreeMap<String, A>,
    turn: impl Fn(A) -> Result<B, LineError>,
) -> Result<BTreeMap<String, B>, LineError> {
    map.into_iter()
        .map(|(name, value)| Ok((name, turn(value)?)))
        .collect()
}

impl From<&entry::State> for State {
    fn from(state: &entry::State) -> Self {
        let stations = state.stations.iter();
        let instruments = state.instruments.iter();
        let tools = state.tools.iter();
        Self {
            journal: state.journal.clone(),
            last: state.last,
            stations: stations
                .map(|(name, station)| (name.clone(), station.into()))
                .collect(),
            instruments: instruments
                .map(|(name, instrument)| (name.clone(), instrument.into()))
                .collect(),
            tools: tools
                .map(|(name, tool)| (name.clone(), tool.into()))
                .collect(),
            qualifications: Qualification::all_of(&state.qualifying),
            signing: state.key.clone(),
        }
    }
}

impl TryFrom<State> for entry::State {
    type Error = LineError;

    fn try_from(body: State) -> Result<Self, LineError> {
        Ok(Self {
            journal: body.journal,
            last: body.last,
            stations: each(body.stations, TryInto::try_into)?,
            instruments: each(body.instruments, TryInto::try_into)?,
            tools: each(body.tools, |tool| Ok(tool.into()))?,
            qualifying: qualifying(body.qualifications)?,
            key: body.signing,
        })
    }
}

impl From<&StationState> for Station {
    fn from(station: &StationState) -> Self {
        Self {
            series: station.series.as_ref().map(Series::from),
            last_reading: station
                .last_reading
                .as_ref()
                .map(|(seq, reading)| LastReading {
                    seq: seq.0,
                    reading: (&**reading).into(),
                }),
            last_outcome: station
                .last_outcome
                .map(|(series, outcome, tally)| LastOutcome {
                    series: series.0,
                    outcome,
                    tally,
                    at: station.closed_at.map(|at| at.to_string()),
                    counts: station.last_counts,
                }),
            last_reservations: station.last_reservations.clone(),
            last_pictures: station.last_pictures.clone(),
            operator: station.operator.clone(),
            tool: station.tool.clone(),
            job: station.job.as_ref().map(JobFields::from),
            terminal_lot: station.lots.terminal.clone(),
            wire_lot: station.lots.wire.clone(),
            refused: station.refused.clone(),
            runs: station.runs.0.iter().map(Run::from).collect(),
            repeat: station.repeat.as_ref().map(Repeat::from),
            stopped: station.stopped.as_ref().map(|stopped| {
                Box::new(Stopped {
                    series: (&stopped.series).into(),
                    is_followed: stopped.is_followed,
                })
            }),
            production: ProductionForm::of(&station.production).map(Box::new),
        }
    }
}

impl TryFrom<Station> for StationState {
    type Error = LineError;

    fn try_from(body: Station) -> Result<Self, LineError> {
        let runs: Result<_, _> = body.runs.into_iter().map(TryInto::try_into).collect();
        let stopped = body.stopped.map(|stopped| {
            Ok::<_, LineError>(Box::new(resume::Stopped {
                series: stopped.series.try_into()?,
                is_followed: stopped.is_followed,
            }))
        });
        let last_reading = body
            .last_reading
            .map(|last| Ok::<_, LineError>((Seq(last.seq), Arc::new(last.reading.try_into()?))));
        let closed_at = body.last_outcome.as_ref().and_then(|last| last.at.as_ref());
        let closed_at = closed_at.map(|at| time("at", at)).transpose()?;
        Ok(Self {
            closed_at,
            last_counts: body.last_outcome.as_ref().and_then(|last| last.counts),
            series: body.series.map(TryInto::try_into).transpose()?,
            last_reading: last_reading.transpose()?,
            last_outcome: body
                .last_outcome
                .map(|last| (Seq(last.series), last.outcome, last.tally)),
            last_reservations: body.last_reservations,
            last_pictures: body.last_pictures,
            operator: body.operator,
            tool: body.tool,
            job: body.job.map(Into::into),
            lots: Lots {
                terminal: body.terminal_lot,
                wire: body.wire_lot,
            },
            refused: body.refused,
            runs: Runs(runs?),
            repeat: body.repeat.map(TryInto::try_into).transpose()?,
            stopped: stopped.transpose()?,
            production: match body.production {
                Some(production) => (*production).try_into()?,
                None => Production::default(),
            },
        })
    }
}

impl From<&repeat::Repeat> for Repeat {
    fn from(owed: &repeat::Repeat) -> Self {
        Self {
            spec: Box::new((&*owed.spec).into()),
            since: owed.since.to_string(),
        }
    }
}

impl TryFrom<Repeat> for repeat::Repeat {
    type Error = LineError;

    fn try_from(body: Repeat) -> Result<Self, LineError> {
        Ok(Self {
            spec: Box::new((*body.spec).try_into()?),
            since: time("since", &body.since)?,
        })
    }
}

impl From<&InstrumentState> for Instrument {
    fn from(instrument: &InstrumentState) -> Self {
        Self {
            station: instrument.station.clone(),
            attached: instrument.attached.clone(),
            detached_because: instrument.detached_because.clone(),
            zero_said: instrument.zero_said,
            opening_nm: nm(instrument.opening),
            opening_mn: mn(instrument.opening),
            verified: instrument.verified.map(Into::into),
            adapter: instrument.adapter.clone(),
            rivals: instrument.rivals.clone(),
        }
    }
}

impl TryFrom<Instrument> for InstrumentState {
    type Error = LineError;

    fn try_from(body: Instrument) -> Result<Self, LineError> {
        Ok(Self {
            station: body.station,
            attached: body.attached,
            detached_because: body.detached_because,
            zero_said: body.zero_said,
            opening: quantity("opening", body.opening_nm, body.opening_mn)?,
            verified: body.verified.map(TryInto::try_into).transpose()?,
            adapter: body.adapter,
            rivals: body.rivals,
        })
    }
}

impl From<&SeriesState> for Series {
    fn from(series: &SeriesState) -> Self {
        let zeros = series.zeros.iter();
        Self {
            id: series.id.0,
            since: series.since.to_string(),
            spec: (&series.spec).into(),
            readings: series.readings.iter().map(Counted::from).collect(),
            tally: series.tally,
            doubted: series.doubted.iter().map(Counted::from).collect(),
            zeros: zeros
                .map(|(name, zero)| (name.clone(), zero.into()))
                .collect(),
            alerts: series.alerts.clone(),
            crimped: series.crimped.clone(),
            spent: series.spent.clone(),
            retracted: series.retracted.as_ref().map(RetractedReading::from),
            looks: LookAnswer::all_of(&series.answers),
            pull_modes: PullAnswer::all_of(&series.answers),
            pictures: series.pictures.clone(),
        }
    }
}

impl TryFrom<Series> for SeriesState {
    type Error = LineError;

    fn try_from(body: Series) -> Result<Self, LineError> {
        let readings: Result<_, _> = body.readings.into_iter().map(TryInto::try_into).collect();
        let doubted: Result<_, _> = body.doubted.into_iter().map(TryInto::try_into).collect();
        Ok(Self {
            doubted: doubted?,
            answers: answers(body.looks, body.pull_modes),
            pictures: body.pictures,
            id: Seq(body.id),
            since: time("since", &body.since)?,
            spec: body.spec.try_into()?,
            readings: readings?,
            tally: body.tally,
            zeros: each(body.zeros, TryInto::try_into)?,
            alerts: body.alerts,
            crimped: body.crimped,
            spent: body.spent,
            retracted: body.retracted.map(TryInto::try_into).transpose()?,
        })
    }
}

impl From<&undo::RetractedReading> for RetractedReading {
    fn from(retracted: &undo::RetractedReading) -> Self {
        Self {
            reading: (&retracted.reading).into(),
            spent: retracted.spent,
        }
    }
}

impl TryFrom<RetractedReading> for undo::RetractedReading {
    type Error = LineError;

    fn try_from(body: RetractedReading) -> Result<Self, LineError> {
        Ok(Self {
            reading: body.reading.try_into()?,
            spent: body.spent,
        })
    }
}

impl From<&CountedReading> for Counted {
    fn from(reading: &CountedReading) -> Self {
        Self {
            seq: reading.seq.0,
            piece: reading.piece,
            axis: reading.axis.as_str().to_owned(),
            instrument: reading.instrument.to_string(),
            value_nm: nm(Some(reading.value.quantity())),
            value_mn: mn(Some(reading.value.quantity())),
            value: reading.value.digits().into(),
            unit: reading.value.unit(),
            verdict: reading.verdict,
        }
    }
}

impl TryFrom<Counted> for CountedReading {
    type Error = LineError;

    fn try_from(body: Counted) -> Result<Self, LineError> {
        Ok(Self {
            value: measured(body.value_nm, body.value_mn, &body.value, body.unit)?,
            seq: Seq(body.seq),
            piece: body.piece,
            axis: AxisName::new(body.axis),
            instrument: body.instrument.into(),
            verdict: body.verdict,
        })
    }
}
