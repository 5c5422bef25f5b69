//! The properties of a series that queries compare, once no later entry can change it.
//!
//! They decide which lines are read. A list shows some of them beside the verdict, which is read from the journal.

use super::closings::Closing;
use crate::entry::ledger::Series;
use crate::entry::{Outcome, Seq};
use crate::quantity::{Area, WallMicros};
use crate::spec::{ArmedSubject, Job, Material};
use serde::{Deserialize, Serialize};

/// Properties that many series have in common.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub(crate) struct Facts {
    pub(crate) station: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) plan: Option<String>,
    /// `None` for gauge blocks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) terminal: Option<String>,
    /// Cross-section of the wire in square micrometres; `None` for gauge blocks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wire: Option<u64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) tool: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) nest: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) job: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) customer: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) item: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) serial: Option<String>,
    /// The customer's order number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reference: Option<String>,
    pub(crate) purpose: String,
    /// The operator at the start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) operator: Option<String>,
    /// All operators of the series.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) operators: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) terminal_lots: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) wire_lots: Vec<String>,
    pub(crate) instruments: Vec<String>,
    pub(crate) axes: Vec<String>,
}

impl Facts {
    /// The facts of a series that nothing can change any more.
    pub(crate) fn of<K>(series: &Series<K>) -> Self {
        let spec = &series.spec;
        let crimp = match &spec.subject {
            ArmedSubject::Crimps { crimp, .. } => Some(crimp),
            ArmedSubject::Blocks(_) => None,
        };
        let job = spec.job.as_ref();
        let owned = |names: Vec<&str>| names.into_iter().map(str::to_owned).collect();
        Self {
            station: spec.station.clone(),
            plan: spec.plan.clone(),
            terminal: crimp.map(|crimp| crimp.terminal.clone()),
            wire: crimp.map(|crimp| crimp.wire.area.square_micrometres()),
            tool: spec.tool.as_ref().map(|tool| tool.id.clone()),
            nest: spec.tool.as_ref().and_then(|tool| tool.nest.clone()),
            job: job.map(|job| job.id.clone()),
            customer: job.and_then(|job| job.customer.clone()),
            item: job.and_then(|job| job.item.clone()),
            serial: job.and_then(|job| job.serial.clone()),
            reference: job.and_then(|job| job.reference.clone()),
            purpose: spec.purpose.name().to_owned(),
            operator: spec.operator.clone(),
            operators: owned(series.operators()),
            terminal_lots: owned(series.lots_of(Material::Terminal)),
            wire_lots: owned(series.lots_of(Material::Wire)),
            instruments: owned(spec.instruments.iter().map(|one| &*one.name).collect()),
            axes: owned(spec.axes.iter().map(|axis| axis.name.as_str()).collect()),
        }
    }

    /// The job; `None` if there was none.
    pub(crate) fn job(&self) -> Option<Job> {
        Some(Job {
            id: self.job.clone()?,
            customer: self.customer.clone(),
            item: self.item.clone(),
            serial: self.serial.clone(),
            reference: self.reference.clone(),
        })
    }

    /// Cross-section of the wire; `None` for gauge blocks.
    pub(crate) fn wire(&self) -> Option<Area> {
        self.wire.map(Area::from_square_micrometres)
    }
}

/// A series that begins and ends within one segment, without unusual entries in between.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "Stored", into = "Stored")]
pub(super) struct Row {
    pub(super) id: Seq,
    /// The entry after which no entry can change it.
    pub(super) to: Seq,
    /// Place of its facts in the segment's list.
    pub(super) facts: usize,
    pub(super) times: Times,
    pub(super) outcome: Outcome,
    /// Number of failed readings.
    pub(super) failed: u32,
    /// The first of the earlier zeros that open it too.
    pub(super) zeros: Option<Seq>,
    /// The entry that closed it, and the offset of its line.
    pub(super) closed: (Seq, u64),
}

impl Row {
    /// The place of the entry that closed it.
    pub(super) const fn closing(&self) -> Closing {
        Closing {
            series: self.id,
            seq: self.closed.0,
            at: self.closed.1,
        }
    }
}

/// When a series was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Times {
    pub(crate) opened: WallMicros,
    pub(crate) closed: WallMicros,
    /// The earliest and the latest time of the entries at its station while it was open.
    pub(crate) earliest: WallMicros,
    pub(crate) latest: WallMicros,
}

/// A row on disk. Times are counted from the first.
#[derive(Clone, Copy, Serialize, Deserialize)]
struct Stored(
    Seq,
    Seq,
    usize,
    (i64, i64, i64, i64),
    Outcome,
    u32,
    Option<Seq>,
    (Seq, u64),
);

impl From<Stored> for Row {
    fn from(Stored(id, to, facts, times, outcome, failed, zeros, place): Stored) -> Self {
        let (opened, closed, earliest, latest) = times;
        let since = |micros: i64| WallMicros(opened.saturating_add(micros));
        let times = Times {
            opened: WallMicros(opened),
            closed: since(closed),
            earliest: since(earliest),
            latest: since(latest),
        };
        Self {
            id,
            to,
            facts,
            times,
            outcome,
            failed,
            zeros,
            closed: place,
        }
    }
}

impl From<Row> for Stored {
    fn from(row: Row) -> Self {
        let opened = row.times.opened.0;
        let since = |at: WallMicros| at.0.saturating_sub(opened);
        let Times {
            closed,
            earliest,
            latest,
            ..
        } = row.times;
        let times = (opened, since(closed), since(earliest), since(latest));
        Self(
            row.id,
            row.to,
            row.facts,
            times,
            row.outcome,
            row.failed,
            row.zeros,
            row.closed,
        )
    }
}
