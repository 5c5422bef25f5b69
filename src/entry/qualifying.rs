//! The evidence from qualification series: by terminal, wire, tool and nest, the readings of the newest series.
//!
//! In: series as they are closed. Out: for each combination the newest [`Evidence`] of every axis and its limits.
//!
//! - Only series with purpose qualification count. They must name a tool, because it is part of the combination.
//! - A series that was stopped early shows nothing, unless a reading had failed before.
//! - Memory is bounded: a combination keeps at most [`MOST_KEPT`] series, the newest ones.

use super::state::SeriesState;
use super::{Completed, Outcome, Reservation, Seq, State};
use crate::quantity::{Area, Quantity, Unit, WallMicros};
use crate::spec::{ArmedSpec, AxisName, Limits, Purpose, WireSize};
use std::collections::BTreeMap;

/// A combination keeps at most this number of series.
pub const MOST_KEPT: usize = 8;

/// A terminal on a wire, crimped by a tool in one of its nests.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Combination {
    /// The terminal's id.
    pub terminal: String,
    /// Size of the wire.
    pub wire: Area,
    /// The crimp tool's id.
    pub tool: String,
    /// The nest used; `None` if none was named.
    pub nest: Option<String>,
}

/// A closed qualification series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// The journal of the series, if the readings come from more than one.
    pub journal: Option<String>,
    /// Its id: `seq` of its `armed` entry.
    pub series: Seq,
    /// When it was closed.
    pub at: WallMicros,
    /// The wire as its plan named it.
    pub wire: WireSize,
    /// Its outcome.
    pub outcome: Outcome,
    /// Whether its plan requires a zero before the first reading and after the last.
    pub is_bracketed: bool,
    /// The reservations of its outcome.
    pub reservations: Vec<Reservation>,
    /// Its axes, except those that a newer series has with the same limits.
    pub axes: Vec<EvidenceAxis>,
}

/// The counted readings of one axis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EvidenceAxis {
    /// The axis.
    pub axis: AxisName,
    /// The limits by which they were judged.
    pub limits: Limits,
    /// The coarsest resolution of their instruments.
    pub resolution: Option<Quantity>,
    /// The unit of the first reading.
    pub unit: Unit,
    /// The values in base units, in the order in which they were taken.
    pub bases: Vec<i64>,
}

/// The evidence from all qualification series.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Qualifying(pub BTreeMap<Combination, Vec<Evidence>>);

impl Combination {
    /// The combination of a series; `None` for gauge blocks, and without a tool.
    pub fn of(spec: &ArmedSpec) -> Option<Self> {
        let (crimp, tool) = (spec.subject.crimp()?, spec.tool.as_ref()?);
        Some(Self {
            terminal: crimp.terminal.clone(),
            wire: crimp.wire.area,
            tool: tool.id.clone(),
            nest: tool.nest.clone(),
        })
    }
}

impl EvidenceAxis {
    /// Whether the readings of this axis were judged by these limits.
    pub fn is_of(&self, axis: &AxisName, limits: &Limits) -> bool {
        self.axis == *axis && same(&self.limits, limits)
    }
}

/// Whether two limits are the same. Nominals are not compared, because they decide no verdict.
pub fn same(one: &Limits, other: &Limits) -> bool {
    (one.dimension(), one.lower(), one.upper()) == (other.dimension(), other.lower(), other.upper())
}

impl State {
    /// Keeps the readings of the series that is closed by this entry, if it is a qualification.
    pub(super) fn qualify(&mut self, at: WallMicros, completed: &Completed) {
        let known = self.stations.get(&completed.station);
        let series = known.and_then(|known| known.series.as_ref());
        if let Some(series) = series.filter(|series| series.id == completed.series) {
            self.qualifying.close(at, completed, series);
        }
    }
}

impl Qualifying {
    fn close(&mut self, at: WallMicros, completed: &Completed, series: &SeriesState) {
        let spec = &series.spec;
        if spec.purpose != Purpose::Qualification {
            return;
        }
        let (Some(of), Some(crimp)) = (Combination::of(spec), spec.subject.crimp()) else {
            return;
        };
        let says_nothing = completed.outcome == Outcome::CutShort && completed.tally.failed == 0;
        if says_nothing {
            self.forget(&of, series.id);
            return;
        }
        let axes = spec.axes.iter();
        let axes = axes.map(|axis| readings_of(series, &axis.name, &axis.limits));
        self.take(
            of,
            Evidence {
                journal: None,
                series: series.id,
                at,
                wire: crimp.wire.clone(),
                outcome: completed.outcome,
                is_bracketed: spec.zero.before_first && spec.zero.closing,
                reservations: completed.reservations().to_vec(),
                axes: axes.collect(),
            },
        );
    }

    /// Takes a series that is newer than those before.
    pub fn take(&mut self, of: Combination, evidence: Evidence) {
        self.forget(&of, evidence.series);
        let known = self.0.entry(of).or_default();
        // A series that may be resumed may still get another outcome, so it must not replace an earlier one.
        if evidence.outcome != Outcome::CutShort {
            for before in known.iter_mut() {
                let is_newer = |old: &EvidenceAxis| {
                    let mut axes = evidence.axes.iter();
                    axes.any(|new| new.is_of(&old.axis, &old.limits))
                };
                before.axes.retain(|axis| !is_newer(axis));
            }
            known.retain(|before| !before.axes.is_empty());
        }
        known.push(evidence);
        let surplus = known.len().saturating_sub(MOST_KEPT);
        known.drain(..surplus);
    }

    /// The evidence from several journals, each with its name, as if all series had been measured at one bench in the
    /// order of their times.
    pub fn of_all<'k>(known: impl IntoIterator<Item = (&'k str, &'k Self)>) -> Self {
        let mut all: Vec<(&Combination, Evidence)> = Vec::new();
        for (journal, one) in known {
            for (of, evidence) in &one.0 {
                let named = evidence.iter().map(|evidence| Evidence {
                    journal: Some(journal.to_owned()),
                    ..evidence.clone()
                });
                all.extend(named.map(|evidence| (of, evidence)));
            }
        }
        all.sort_by_key(|(_, evidence)| evidence.at);
        let mut together = Self::default();
        for (of, evidence) in all {
            together.take(of.clone(), evidence);
        }
        together
    }

    /// Removes a series that was resumed, because its outcome no longer stands.
    fn forget(&mut self, of: &Combination, series: Seq) {
        if let Some(known) = self.0.get_mut(of) {
            known.retain(|before| before.series != series || before.journal.is_some());
        }
    }

    /// The series of a combination, the newest last.
    pub fn of(&self, of: &Combination) -> &[Evidence] {
        self.0.get(of).map_or(&[], Vec::as_slice)
    }
}

fn readings_of(series: &SeriesState, axis: &AxisName, limits: &Limits) -> EvidenceAxis {
    let readings = || series.readings.iter().filter(|one| one.axis == *axis);
    let resolutions = readings().filter_map(|one| {
        let instrument = series.spec.instrument(&one.instrument)?;
        Some(instrument.resolution)
    });
    let first = readings().next();
    EvidenceAxis {
        axis: axis.clone(),
        limits: limits.clone(),
        resolution: resolutions.max_by_key(|step| step.base()),
        unit: first.map_or(limits.unit(), |one| one.value.unit()),
        bases: readings().map(|one| one.value.quantity().base()).collect(),
    }
}
