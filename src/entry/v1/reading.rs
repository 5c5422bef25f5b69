//! Readings, zero checks and unread bytes on disk.

use super::names;
use super::subject::CrimpFields;
use super::values::{self, LimitFields, fault, measured, mn, nm, raw};
use crate::entry::Digits;
use crate::entry::line::LineError;
use crate::entry::{self, Entry, ReadingSlot, Seq};
use crate::quantity::{Quantity, hex};
use crate::spec::{AxisName, Limits};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// A reading. It is flat, so that a line can become a row of a table.
///
/// The fields from `series` to `purpose`, the limits and the deviation are present if a series was open. `sizing` is
/// left out where it is `iso_mm2`, `limits_unit` where it equals `unit`.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Reading {
    station: Arc<str>,
    instrument: Arc<str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    series: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    piece: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    axis: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    terminal: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wire_mm2: Option<Digits>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wire_gauge: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sizing: Option<names::Sizing>,
    #[serde(skip_serializing_if = "Option::is_none")]
    purpose: Option<names::Purpose>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_mn: Option<i64>,
    value: Digits,
    unit: names::Unit,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    limits_unit: Option<names::Unit>,
    #[serde(skip_serializing_if = "Option::is_none")]
    deviation_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    deviation_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    verdict: Option<names::Verdict>,
    standing: names::Standing,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<names::NotCounted>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hint: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    plateau: Option<Plateau>,
    raw: String,
}

impl From<&entry::Reading> for Reading {
    fn from(reading: &entry::Reading) -> Self {
        let slot = reading.slot.as_ref();
        let limits = |part: fn(&Limits) -> Option<Quantity>| slot.and_then(|s| part(&s.limits));
        let deviation = slot.and_then(|slot| slot.deviation);
        let value = reading.value;
        let (standing, reason, hint) = match &reading.standing {
            entry::Standing::Counted => (names::Standing::Counted, None, None),
            entry::Standing::NotCounted { reason, hint } => {
                (names::Standing::NotCounted, Some(*reason), hint.clone())
            }
        };
        let crimp = CrimpFields::new(slot.and_then(|slot| slot.crimp.as_deref()));
        Self {
            station: Arc::clone(&reading.station),
            instrument: Arc::clone(&reading.instrument),
            series: slot.map(|slot| slot.series.0),
            piece: slot.map(|slot| slot.piece),
            axis: slot.map(|slot| slot.axis.as_str().to_owned()),
            terminal: crimp.terminal,
            wire_mm2: crimp.wire_mm2,
            wire_gauge: crimp.wire_gauge,
            sizing: crimp.sizing,
            purpose: slot.map(|slot| slot.purpose),
            value_nm: nm(Some(value.quantity())),
            value_mn: mn(Some(value.quantity())),
            value: value.digits().into(),
            unit: value.unit(),
            nominal_nm: nm(limits(Limits::nominal)),
            nominal_mn: mn(limits(Limits::nominal)),
            lower_nm: nm(limits(Limits::lower)),
            lower_mn: mn(limits(Limits::lower)),
            upper_nm: nm(limits(Limits::upper)),
            upper_mn: mn(limits(Limits::upper)),
            limits_unit: slot
                .map(|slot| slot.limits.unit())
                .filter(|unit| *unit != value.unit()),
            deviation_nm: nm(deviation),
            deviation_mn: mn(deviation),
            verdict: slot.and_then(|slot| slot.verdict),
            standing,
            reason,
            hint,
            plateau: reading.plateau.as_ref().map(Plateau::from),
            raw: hex(&reading.raw),
        }
    }
}

impl Reading {
    fn slot(&mut self) -> Result<Option<ReadingSlot>, LineError> {
        let Some(series) = self.series else {
            return Ok(None);
        };
        let missing = |name: &str| fault(format!("missing field `{name}` beside `series`"));
        let crimp = CrimpFields {
            terminal: self.terminal.take(),
            wire_mm2: self.wire_mm2.take(),
            wire_gauge: self.wire_gauge.take(),
            sizing: self.sizing,
        };
        Ok(Some(ReadingSlot {
            series: Seq(series),
            piece: self.piece.ok_or_else(|| missing("piece"))?,
            axis: AxisName::new(self.axis.take().ok_or_else(|| missing("axis"))?),
            crimp: crimp.crimp()?,
            purpose: self.purpose.ok_or_else(|| missing("purpose"))?,
            limits: LimitFields {
                nominal: (self.nominal_nm, self.nominal_mn),
                lower: (self.lower_nm, self.lower_mn),
                upper: (self.upper_nm, self.upper_mn),
                unit: self.limits_unit.unwrap_or(self.unit),
            }
            .try_into()?,
            deviation: values::quantity("deviation", self.deviation_nm, self.deviation_mn)?,
            verdict: self.verdict,
        }))
    }
}

impl TryFrom<Reading> for entry::Reading {
    type Error = LineError;

    fn try_from(mut body: Reading) -> Result<Self, LineError> {
        let standing = match (body.standing, body.reason) {
            (names::Standing::Counted, None) => entry::Standing::Counted,
            (names::Standing::NotCounted, Some(reason)) => entry::Standing::NotCounted {
                reason,
                hint: body.hint.take(),
            },
            (names::Standing::Counted, Some(_)) => {
                return Err(fault("a counted reading has a reason for not counting"));
            }
            (names::Standing::NotCounted, None) => {
                return Err(fault(
                    "missing field `reason` of a reading that does not count",
                ));
            }
        };
        Ok(Self {
            slot: body.slot()?,
            station: body.station,
            instrument: body.instrument,
            value: measured(body.value_nm, body.value_mn, &body.value, body.unit)?,
            raw: raw(&body.raw)?,
            plateau: body.plateau.map(TryInto::try_into).transpose()?,
            standing,
        })
    }
}

impl From<&Arc<entry::Reading>> for Reading {
    fn from(reading: &Arc<entry::Reading>) -> Self {
        (&**reading).into()
    }
}

impl TryFrom<Reading> for Entry {
    type Error = LineError;

    fn try_from(body: Reading) -> Result<Self, LineError> {
        Ok(Arc::new(entry::Reading::try_from(body)?).into())
    }
}

/// The range of a value that stood still in a stream.
#[derive(Serialize, Deserialize, JsonSchema)]
struct Plateau {
    #[serde(skip_serializing_if = "Option::is_none")]
    median_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    median_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    least_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    least_mn: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    greatest_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    greatest_mn: Option<i64>,
    frames: u32,
}

impl From<&entry::Plateau> for Plateau {
    fn from(plateau: &entry::Plateau) -> Self {
        let entry::Plateau {
            median,
            least,
            greatest,
            frames,
        } = *plateau;
        Self {
            median_nm: nm(Some(median)),
            median_mn: mn(Some(median)),
            least_nm: nm(Some(least)),
            least_mn: mn(Some(least)),
            greatest_nm: nm(Some(greatest)),
            greatest_mn: mn(Some(greatest)),
            frames,
        }
    }
}

impl TryFrom<Plateau> for entry::Plateau {
    type Error = LineError;

    fn try_from(body: Plateau) -> Result<Self, LineError> {
        let needed = |name: &'static str, nm, mn| {
            values::quantity(name, nm, mn)?
                .ok_or_else(|| fault(format!("missing field `{name}_nm`")))
        };
        Ok(Self {
            median: needed("median", body.median_nm, body.median_mn)?,
            least: needed("least", body.least_nm, body.least_mn)?,
            greatest: needed("greatest", body.greatest_nm, body.greatest_mn)?,
            frames: body.frames,
        })
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Zeroed {
    station: String,
    instrument: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    series: Option<Seq>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value_mn: Option<i64>,
    value: Digits,
    unit: names::Unit,
    role: names::ZeroRole,
    ok: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    opening_nm: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    opening_mn: Option<i64>,
    raw: String,
}

impl From<&entry::Zeroed> for Zeroed {
    fn from(zeroed: &entry::Zeroed) -> Self {
        Self {
            station: zeroed.station.clone(),
            instrument: zeroed.instrument.clone(),
            series: zeroed.series,
            value_nm: nm(Some(zeroed.value.quantity())),
            value_mn: mn(Some(zeroed.value.quantity())),
            value: zeroed.value.digits().into(),
            unit: zeroed.value.unit(),
            role: zeroed.role,
            ok: zeroed.ok,
            opening_nm: nm(zeroed.opening),
            opening_mn: mn(zeroed.opening),
            raw: hex(&zeroed.raw),
        }
    }
}

impl TryFrom<Zeroed> for Entry {
    type Error = LineError;

    fn try_from(body: Zeroed) -> Result<Self, LineError> {
        Ok(entry::Zeroed {
            value: measured(body.value_nm, body.value_mn, &body.value, body.unit)?,
            raw: raw(&body.raw)?,
            station: body.station,
            instrument: body.instrument,
            series: body.series,
            role: body.role,
            ok: body.ok,
            opening: values::quantity("opening", body.opening_nm, body.opening_mn)?,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Unread {
    station: String,
    instrument: String,
    reason: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<String>,
    bytes: u64,
    times: u64,
    raw: String,
}

impl From<&entry::Unread> for Unread {
    fn from(unread: &entry::Unread) -> Self {
        Self {
            station: unread.station.clone(),
            instrument: unread.instrument.clone(),
            reason: unread.reason.clone(),
            remedy: unread.remedy.clone(),
            bytes: unread.bytes,
            times: unread.times,
            raw: hex(&unread.raw),
        }
    }
}

impl TryFrom<Unread> for Entry {
    type Error = LineError;

    fn try_from(body: Unread) -> Result<Self, LineError> {
        Ok(entry::Unread {
            raw: raw(&body.raw)?,
            station: body.station,
            instrument: body.instrument,
            bytes: body.bytes,
            times: body.times,
            reason: body.reason,
            remedy: body.remedy,
        }
        .into())
    }
}
