//! A reading as a row of a table, with what became of it: for files and data sets that others read.
//!
//! In: a reading's entry, the series that it was measured in, its standing when that was closed. Out: a
//! [`Row`] of typed values; [`COLUMNS`] says what a column is called, in which unit it is, how it is told.
//!
//! - One row a reading, also of those that do not count; [`Row::standing`] says so.
//! - A row is about what the journal says, and judges nothing.
//! - Names of columns are for ever: people's queries stand on them.

mod column;
mod gather;

pub use column::{COLUMNS, Cell, Column, Form, Kind};
pub use gather::Gather;

use crate::entry::{JournalId, NotCounted, Reading, Seq, Standing};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedSpec, Limits, Verdict, WireSize};

/// What became of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stands {
    /// It counts.
    Counted,
    /// It counted, and a zero no longer vouches for it.
    Doubted,
    /// It counted, and the operator retracted it.
    Retracted,
    /// It never counted.
    NotCounted,
}

impl Stands {
    /// Every standing.
    pub const ALL: [Self; 4] = [
        Self::Counted,
        Self::Doubted,
        Self::Retracted,
        Self::NotCounted,
    ];

    /// As in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Counted => "counted",
            Self::Doubted => "doubted",
            Self::Retracted => "retracted",
            Self::NotCounted => "not_counted",
        }
    }
}

/// A reading, as a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row<'r> {
    /// The journal that it stands in.
    pub journal: &'r str,
    /// Its entry; with the journal it is the reading's address in the world.
    pub seq: Seq,
    /// When it was entered.
    pub at: WallMicros,
    /// The station.
    pub station: &'r str,
    /// The instrument.
    pub instrument: &'r str,
    /// Who measured.
    pub operator: Option<&'r str>,
    /// What it was measured for; `None` while nothing was armed.
    pub slot: Option<Slot<'r>>,
    /// The value.
    pub value: Measured,
    /// Value minus nominal.
    pub deviation: Option<Quantity>,
    /// The verdict that was given; of a doubted or retracted reading too.
    pub verdict: Option<Verdict>,
    /// What became of it.
    pub standing: Stands,
    /// Why it does not count.
    pub reason: Option<NotCounted>,
}

/// What a row was measured for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slot<'r> {
    /// The series.
    pub series: Seq,
    /// The plan.
    pub plan: Option<&'r str>,
    /// Why it was armed.
    pub purpose: &'static str,
    /// The terminal; `None` of a gauge block.
    pub terminal: Option<&'r str>,
    /// The wire.
    pub wire: Option<&'r WireSize>,
    /// The crimp tool: id, class, nest.
    pub tool: Option<(&'r str, &'static str, Option<&'r str>)>,
    /// The piece, from 1.
    pub piece: u32,
    /// What was measured.
    pub axis: &'r str,
    /// What is allowed.
    pub limits: &'r Limits,
}

/// A series that a row is of.
#[derive(Debug, Clone, Copy)]
pub struct Of<'r> {
    /// What it was armed with.
    pub spec: &'r ArmedSpec,
    /// Who measured at the time.
    pub operator: Option<&'r str>,
}

impl<'r> Row<'r> {
    /// The row of a reading. `of` is the series in its slot, `stands` what became of it if it counted.
    pub fn new(
        journal: &'r JournalId,
        seq: Seq,
        at: WallMicros,
        reading: &'r Reading,
        of: Option<Of<'r>>,
        stands: Stands,
    ) -> Self {
        let reason = match &reading.standing {
            Standing::Counted => None,
            Standing::NotCounted { reason, .. } => Some(*reason),
        };
        let slot = reading.slot.as_ref();
        Self {
            journal: &journal.0,
            seq,
            at,
            station: &reading.station,
            instrument: &reading.instrument,
            operator: of.and_then(|of| of.operator),
            slot: slot.map(|slot| Slot {
                series: slot.series,
                plan: of.and_then(|of| of.spec.plan.as_deref()),
                purpose: slot.purpose.name(),
                terminal: slot.crimp.as_ref().map(|crimp| crimp.terminal.as_str()),
                wire: slot.crimp.as_ref().map(|crimp| &crimp.wire),
                tool: of
                    .and_then(|of| of.spec.tool.as_ref())
                    .map(|tool| (tool.id.as_str(), tool.class.name(), tool.nest.as_deref())),
                piece: slot.piece,
                axis: slot.axis.as_str(),
                limits: &slot.limits,
            }),
            value: reading.value,
            deviation: slot.and_then(|slot| slot.deviation),
            verdict: slot.and_then(|slot| slot.verdict),
            standing: if reason.is_some() {
                Stands::NotCounted
            } else {
                stands
            },
            reason,
        }
    }
}
