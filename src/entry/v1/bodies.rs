//! Entries about ports, series and what the operator says.

use super::names;
use crate::entry::line::LineError;
use crate::entry::{self, Entry, Seq, Slot};
use crate::spec::AxisName;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Attached {
    station: String,
    instrument: String,
    port: String,
    line: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    identity: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    socket: Option<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    alike: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    read_by: Option<ReadBy>,
}

/// How values are read from bytes; left out as a whole where that is not known.
#[derive(Serialize, Deserialize, JsonSchema)]
struct ReadBy {
    /// The name of the frame format.
    format: String,
    /// The unit of values that carry none.
    unit: String,
    /// The user's regular expression, where the format is `pattern`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pattern: Option<String>,
    /// How values become readings: `press`, `steady`, `ask`.
    capture: String,
}

impl From<&entry::ReadBy> for ReadBy {
    fn from(known: &entry::ReadBy) -> Self {
        Self {
            format: known.format.clone(),
            unit: known.unit.clone(),
            pattern: known.pattern.clone(),
            capture: known.capture.clone(),
        }
    }
}

impl From<ReadBy> for entry::ReadBy {
    fn from(body: ReadBy) -> Self {
        Self {
            format: body.format,
            unit: body.unit,
            pattern: body.pattern,
            capture: body.capture,
        }
    }
}

impl From<&entry::Attached> for Attached {
    fn from(attached: &entry::Attached) -> Self {
        Self {
            station: attached.station.clone(),
            instrument: attached.instrument.clone(),
            port: attached.port.clone(),
            line: attached.line.clone(),
            identity: attached.identity.clone(),
            socket: attached.socket.clone(),
            alike: attached.alike,
            read_by: attached.read_by.as_deref().map(ReadBy::from),
        }
    }
}

impl From<Attached> for entry::Attached {
    fn from(body: Attached) -> Self {
        Self {
            instrument: body.instrument,
            station: body.station,
            port: body.port,
            line: body.line,
            identity: body.identity,
            socket: body.socket,
            alike: body.alike,
            read_by: body.read_by.map(|known| Box::new(known.into())),
        }
    }
}

impl TryFrom<Attached> for Entry {
    type Error = LineError;

    fn try_from(body: Attached) -> Result<Self, LineError> {
        Ok(entry::Attached::from(body).into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Detached {
    pub(super) station: String,
    pub(super) instrument: String,
    pub(super) reason: String,
}

impl TryFrom<Detached> for Entry {
    type Error = LineError;

    fn try_from(body: Detached) -> Result<Self, LineError> {
        Ok(entry::Detached {
            instrument: body.instrument,
            station: body.station,
            reason: body.reason,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Disarmed {
    pub(super) station: String,
    pub(super) series: u64,
}

impl TryFrom<Disarmed> for Entry {
    type Error = LineError;

    fn try_from(body: Disarmed) -> Result<Self, LineError> {
        Ok(entry::Disarmed {
            station: body.station,
            series: Seq(body.series),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Completed {
    station: String,
    series: u64,
    outcome: names::Outcome,
    tally: Tally,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    resumable: bool,
    /// What takes from the weight of the outcome; left out by older releases, which did not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reservations: Option<Vec<names::Reservation>>,
}

/// How many readings came out how. A count that is there is known, so 0 is written.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Tally {
    passed: u32,
    failed: u32,
    unsure: u32,
    doubted: u32,
    retracted: u32,
    not_counted: u32,
}

impl From<entry::Tally> for Tally {
    fn from(tally: entry::Tally) -> Self {
        Self {
            passed: tally.passed,
            failed: tally.failed,
            unsure: tally.unsure,
            doubted: tally.doubted,
            retracted: tally.retracted,
            not_counted: tally.not_counted,
        }
    }
}

impl From<Tally> for entry::Tally {
    fn from(tally: Tally) -> Self {
        Self {
            passed: tally.passed,
            failed: tally.failed,
            unsure: tally.unsure,
            doubted: tally.doubted,
            retracted: tally.retracted,
            not_counted: tally.not_counted,
        }
    }
}

impl From<&entry::Completed> for Completed {
    fn from(completed: &entry::Completed) -> Self {
        Self {
            station: completed.station.clone(),
            series: completed.series.0,
            outcome: completed.outcome.into(),
            tally: completed.tally.into(),
            resumable: completed.resumable,
            reservations: completed
                .reservations
                .as_ref()
                .map(|all| all.iter().copied().map(Into::into).collect()),
        }
    }
}

impl TryFrom<Completed> for Entry {
    type Error = LineError;

    fn try_from(body: Completed) -> Result<Self, LineError> {
        Ok(entry::Completed {
            station: body.station,
            series: Seq(body.series),
            outcome: body.outcome.into(),
            tally: body.tally.into(),
            resumable: body.resumable,
            reservations: body
                .reservations
                .map(|all| all.into_iter().map(Into::into).collect()),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct ZeroSaid {
    pub(super) station: String,
    pub(super) instrument: String,
}

impl TryFrom<ZeroSaid> for Entry {
    type Error = LineError;

    fn try_from(body: ZeroSaid) -> Result<Self, LineError> {
        Ok(entry::ZeroSaid {
            station: body.station,
            instrument: body.instrument,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Doubted {
    pub(super) station: String,
    pub(super) series: u64,
    pub(super) readings: Vec<u64>,
    pub(super) reason: String,
}

impl TryFrom<Doubted> for Entry {
    type Error = LineError;

    fn try_from(body: Doubted) -> Result<Self, LineError> {
        Ok(entry::Doubted {
            station: body.station,
            series: Seq(body.series),
            readings: body.readings.into_iter().map(Seq).collect(),
            reason: body.reason,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Retracted {
    pub(super) station: String,
    pub(super) series: u64,
    pub(super) reading: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) by: Option<names::Means>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) piece: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) axis: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) reason: Option<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub(super) spent: bool,
}

impl TryFrom<Retracted> for Entry {
    type Error = LineError;

    fn try_from(body: Retracted) -> Result<Self, LineError> {
        Ok(entry::Retracted {
            station: body.station,
            series: Seq(body.series),
            reading: Seq(body.reading),
            by: body.by.map(Into::into),
            slot: body.piece.zip(body.axis).map(|(piece, axis)| Slot {
                piece,
                axis: AxisName::new(axis),
            }),
            reason: body.reason,
            spent: body.spent,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Restored {
    pub(super) station: String,
    pub(super) series: u64,
    pub(super) reading: u64,
    pub(super) by: names::Means,
}

impl TryFrom<Restored> for Entry {
    type Error = LineError;

    fn try_from(body: Restored) -> Result<Self, LineError> {
        Ok(entry::Restored {
            station: body.station,
            series: Seq(body.series),
            reading: Seq(body.reading),
            by: body.by.into(),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Resumed {
    pub(super) station: String,
    pub(super) series: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) operator: Option<String>,
    pub(super) by: names::Means,
}

impl TryFrom<Resumed> for Entry {
    type Error = LineError;

    fn try_from(body: Resumed) -> Result<Self, LineError> {
        Ok(entry::Resumed {
            station: body.station,
            series: Seq(body.series),
            operator: body.operator,
            by: body.by.into(),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Noted {
    pub(super) station: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) series: Option<u64>,
    pub(super) text: String,
}

impl TryFrom<Noted> for Entry {
    type Error = LineError;

    fn try_from(body: Noted) -> Result<Self, LineError> {
        Ok(entry::Noted {
            station: body.station,
            series: body.series.map(Seq),
            text: body.text,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Alerted {
    pub(super) station: String,
    pub(super) series: u64,
    pub(super) rule: String,
    pub(super) text: String,
    pub(super) readings: Vec<u64>,
}

impl TryFrom<Alerted> for Entry {
    type Error = LineError;

    fn try_from(body: Alerted) -> Result<Self, LineError> {
        Ok(entry::Alerted {
            station: body.station,
            series: Seq(body.series),
            rule: body.rule,
            text: body.text,
            readings: body.readings.into_iter().map(Seq).collect(),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Refused {
    pub(super) station: String,
    pub(super) instrument: String,
    pub(super) said: String,
    pub(super) reason: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) remedy: Option<String>,
}

impl TryFrom<Refused> for Entry {
    type Error = LineError;

    fn try_from(body: Refused) -> Result<Self, LineError> {
        Ok(entry::Refused {
            station: body.station,
            instrument: body.instrument,
            said: body.said,
            reason: body.reason,
            remedy: body.remedy,
        }
        .into())
    }
}
