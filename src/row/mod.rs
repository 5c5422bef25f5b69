//! A reading as a row of a table, with its standing: for files and data sets that other programs read.
//!
//! In: a reading with its series, as the ledger has them ([`crate::entry::ledger`]). Out: a [`Row`] of typed values;
//! [`COLUMNS`] gives name, unit and derivation of each column.
//!
//! - One row for each reading, also for those that do not count; [`Row::standing`] says which count.
//! - A row repeats the journal and judges nothing.
//! - Names of columns never change: people's queries depend on them.

mod column;
mod gather;

pub use column::{COLUMNS, Cell, Column, ColumnType, TableKind};
pub use gather::Gather;

use crate::entry::ledger::{Disposition, Entered, Series, Whole};
use crate::entry::{JournalId, Seq};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{Job, Limits, Lots, PullMode, Verdict, WireSize};

/// A reading, as a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row<'r> {
    /// Identity of the journal.
    pub journal: &'r str,
    /// Its entry; `journal` and `seq` together identify the reading worldwide.
    pub seq: Seq,
    /// Wall time of the entry.
    pub at: WallMicros,
    /// Name of the station in the configuration.
    pub station: &'r str,
    /// Name of the instrument in the configuration.
    pub instrument: &'r str,
    /// Operator; `None` if unknown.
    pub operator: Option<&'r str>,
    /// Slot of the reading; `None` while no series was open.
    pub slot: Option<Slot<'r>>,
    /// Value with the unit that the instrument showed.
    pub value: Measured,
    /// Value minus nominal.
    pub deviation: Option<Quantity>,
    /// The resolution of the instrument; `None` while no series was open.
    pub resolution: Option<Quantity>,
    /// Verdict of the reading, also if it was doubted or retracted later.
    pub verdict: Option<Verdict>,
    /// Whether it counts, and if not, why.
    pub standing: Disposition,
    /// How the pull failed, if it is one and that was said.
    pub pull_mode: Option<PullMode>,
}

/// The slot of a reading in a series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slot<'r> {
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// The plan's name in the configuration; `None` if the series was armed without one.
    pub plan: Option<&'r str>,
    /// Purpose of the series.
    pub purpose: &'static str,
    /// Id of the production run that the series is a sample of.
    pub production_run: Option<&'r str>,
    /// The terminal; `None` for a gauge block.
    pub terminal: Option<&'r str>,
    /// Wire size as the plan gives it.
    pub wire: Option<&'r WireSize>,
    /// The crimp tool: id, class, nest.
    pub tool: Option<(&'r str, &'static str, Option<&'r str>)>,
    /// Job that the pieces are for; `None` if none was given.
    pub job: Option<&'r Job>,
    /// The reel and the spool in use.
    pub lots: Option<&'r Lots>,
    /// The piece, from 1.
    pub piece: u32,
    /// The axis that was measured.
    pub axis: &'r str,
    /// The limits of the axis.
    pub limits: &'r Limits,
}

impl<'r> Row<'r> {
    /// The row of a reading of a series.
    pub fn of(
        journal: &'r JournalId,
        series: &'r Series<Whole>,
        entered: &'r Entered<Whole>,
    ) -> Self {
        let spec = &series.spec;
        let row = Self::loose(journal, entered.seq, &entered.kept);
        let tool = spec.tool.as_ref();
        let mut instruments = spec.instruments.iter();
        let instrument = instruments.find(|known| known.name == row.instrument);
        Self {
            resolution: instrument.map(|instrument| instrument.resolution),
            operator: series.operator(entered.seq),
            slot: row.slot.map(|slot| Slot {
                plan: spec.plan.as_deref(),
                production_run: spec.sample.as_ref().map(|of| of.run.id.as_str()),
                job: spec.job.as_ref(),
                lots: series.lots(entered.seq),
                tool: tool.map(|tool| (tool.id.as_str(), tool.class.name(), tool.nest.as_deref())),
                ..slot
            }),
            standing: entered.disposition,
            pull_mode: entered.pull_mode,
            ..row
        }
    }

    /// The row of a reading without a series.
    pub fn loose(journal: &'r JournalId, seq: Seq, whole: &'r Whole) -> Self {
        let reading = &whole.reading;
        let slot = reading.slot.as_ref();
        Self {
            journal: &journal.0,
            seq,
            at: whole.at,
            station: &reading.station,
            instrument: &reading.instrument,
            operator: None,
            slot: slot.map(|slot| Slot {
                series: slot.series,
                plan: None,
                purpose: slot.purpose.name(),
                production_run: None,
                terminal: slot.crimp.as_ref().map(|crimp| crimp.terminal.as_str()),
                wire: slot.crimp.as_ref().map(|crimp| &crimp.wire),
                tool: None,
                job: None,
                lots: None,
                piece: slot.piece,
                axis: slot.axis.as_str(),
                limits: &slot.limits,
            }),
            value: reading.value,
            deviation: slot.and_then(|slot| slot.deviation),
            resolution: None,
            verdict: slot.and_then(|slot| slot.verdict),
            standing: Disposition::from(&reading.standing),
            pull_mode: None,
        }
    }
}
