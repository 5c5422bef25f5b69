//! Readings out of the journal, in one pass; what is kept does not grow with the journal.
//!
//! A reading is told when its series is closed: until then it may be doubted or retracted, and after
//! that not any more ([`crate::entry::audit`]).

use super::{Filter, lines};
use crate::cli::Failure;
use crate::config::DaemonConfig;
use crate::entry::glance::{self, Glance, Glancer};
use crate::entry::resume::Resumable;
use crate::entry::{Entry, Reading, Seq, Stamped, Standing};
use crate::journal::Line;
use crate::quantity::WallMicros;
use crate::spec::ArmedSpec;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::ControlFlow;
use std::sync::Arc;

/// Why a reading does not stand by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, clap::ValueEnum)]
pub(in crate::cli) enum Fallen {
    /// Doubted because of a zero
    Doubted,
    /// Retracted
    Retracted,
    /// Never counted
    NotCounted,
}

/// A series that matches.
#[derive(Debug)]
pub(in crate::cli) struct Series {
    /// Its id.
    pub(in crate::cli) id: Seq,
    /// What it judges by.
    pub(in crate::cli) spec: Box<ArmedSpec>,
    /// Who measures here in it: who armed it, until somebody else took over.
    pub(in crate::cli) operator: Option<Arc<str>>,
    /// The entry since which nothing more is said about it; none while it is open or can be resumed.
    pub(in crate::cli) closed: Option<Seq>,
}

/// What a command makes of readings.
pub(in crate::cli) trait Take {
    /// What is kept of a reading until its series is closed.
    type Kept;

    /// A reading that matches came up, with the line that it stands in; none if it is of no use.
    fn keep(
        &mut self,
        series: &Series,
        glance: &Glance<'_>,
        line: &Line,
    ) -> Result<Option<Self::Kept>, Failure>;

    /// Nothing more will be said about a reading that was kept, or the journal ends here. They come series
    /// by series as these are closed, those of a series in the order of their entries.
    fn tell(
        &mut self,
        series: &Series,
        kept: Self::Kept,
        fallen: Option<Fallen>,
    ) -> Result<(), Failure>;

    /// A reading that matches and was measured for nothing.
    fn loose(&mut self, seq: Seq, at: WallMicros, reading: &Reading) -> Result<(), Failure> {
        let _ = (seq, at, reading);
        Ok(())
    }
}

/// How far a pass through the journal came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::cli) struct Reached {
    /// The last entry.
    pub(in crate::cli) last: Seq,
    /// The first of the matching series that are open there.
    pub(in crate::cli) open: Option<Seq>,
}

/// A matching series that is not closed, with what is kept of its readings.
struct Open<K> {
    series: Series,
    kept: Vec<(Seq, bool, K)>,
}

/// A pass through the journal.
pub(in crate::cli) struct Search<'s, T: Take> {
    daemon: &'s DaemonConfig,
    filter: Filter<'s>,
    glancer: Glancer,
    missing: BTreeSet<u64>,
    open: BTreeMap<Seq, Open<T::Kept>>,
    fallen: HashMap<Seq, Fallen>,
    /// Closed, and can be open again.
    resumable: Resumable,
    take: &'s mut T,
}

impl<'s, T: Take> Search<'s, T> {
    /// Tells `take` every reading of the journal that matches.
    pub(in crate::cli) fn run(
        daemon: &'s DaemonConfig,
        filter: Filter<'s>,
        take: &'s mut T,
    ) -> Result<(), Failure> {
        Self::run_from(daemon, filter, filter.after(), take).map(drop)
    }

    /// The same, from behind entry `after` on.
    pub(in crate::cli) fn run_from(
        daemon: &'s DaemonConfig,
        filter: Filter<'s>,
        after: Seq,
        take: &'s mut T,
    ) -> Result<Reached, Failure> {
        let mut search = Self::new(daemon, filter, take);
        let last = lines::each(daemon, after, |line| search.line(line))?;
        let open = search.open.keys().next().copied();
        search.finish()?;
        Ok(Reached { last, open })
    }

    fn new(daemon: &'s DaemonConfig, filter: Filter<'s>, take: &'s mut T) -> Self {
        Self {
            daemon,
            filter,
            glancer: Glancer::default(),
            missing: filter.ids().iter().copied().collect(),
            open: BTreeMap::new(),
            fallen: HashMap::new(),
            resumable: Resumable::default(),
            take,
        }
    }

    /// Takes the next line; breaks off where no line that follows can match.
    fn line(&mut self, line: &Line) -> Result<ControlFlow<()>, Failure> {
        if let Some(glance) = self.glancer.reading(&line.bytes) {
            if glance.counted && !self.resumable.is_empty() {
                let settled = self.resumable.settled_by_reading(glance.series);
                self.close(settled, glance.seq)?;
            }
            self.reading(&glance, line)?;
        } else if glance::kind(&line.bytes).is_none_or(|kind| self.tells(kind)) {
            let stamped = lines::decoded(self.daemon, line)?;
            let settled = self.resumable.settled(&stamped);
            self.close(settled, stamped.seq)?;
            self.entry(stamped, line)?;
            let all_told = self.missing.is_empty() && self.open.is_empty();
            if all_told && !self.filter.ids().is_empty() {
                return Ok(ControlFlow::Break(()));
            }
        }
        Ok(ControlFlow::Continue(()))
    }

    fn entry(&mut self, stamped: Stamped, line: &Line) -> Result<(), Failure> {
        if let Entry::Doubted {
            series, readings, ..
        } = &stamped.entry
        {
            for seq in readings.iter().filter(|_| self.open.contains_key(series)) {
                self.fallen.entry(*seq).or_insert(Fallen::Doubted);
            }
        } else if let Entry::Retracted {
            series, reading, ..
        } = &stamped.entry
        {
            if self.open.contains_key(series) {
                self.fallen.insert(*reading, Fallen::Retracted);
            }
        } else if let Entry::Restored {
            series, reading, ..
        } = &stamped.entry
        {
            if self.open.contains_key(series) {
                self.fallen.remove(reading);
            }
        } else if let Entry::Completed(completed) = &stamped.entry {
            if !completed.resumable {
                self.close(Some(completed.series), stamped.seq)?;
            }
        } else if let Entry::Resumed {
            series, operator, ..
        } = &stamped.entry
        {
            if let Some(open) = self.open.get_mut(series) {
                open.series.operator = operator.as_deref().map(Into::into);
            }
        } else if let Entry::OperatorSaid {
            series, operator, ..
        } = &stamped.entry
        {
            if let Some(open) = series.and_then(|id| self.open.get_mut(&id)) {
                open.series.operator = Some(operator.as_str().into());
            }
        } else if let Entry::Reading(reading) = &stamped.entry {
            if let Some(slot) = &reading.slot {
                let glance = Glance {
                    seq: stamped.seq,
                    at: &stamped.at.to_string(),
                    instrument: &reading.instrument,
                    series: slot.series,
                    piece: slot.piece,
                    axis: slot.axis.as_str(),
                    base: reading.value.quantity().base(),
                    unit: reading.value.unit(),
                    counted: reading.standing == Standing::Counted,
                };
                self.reading(&glance, line)?;
            } else if self.filter.loose(stamped.at, reading) {
                self.take.loose(stamped.seq, stamped.at, reading)?;
            }
        } else if let Entry::Armed(spec) = stamped.entry {
            let id = stamped.seq;
            if self.filter.series(id, &spec) {
                self.missing.remove(&id.0);
                let series = Series {
                    id,
                    operator: spec.operator.as_deref().map(Into::into),
                    spec,
                    closed: None,
                };
                let kept = Vec::new();
                self.open.insert(id, Open { series, kept });
            }
        }
        Ok(())
    }

    fn reading(&mut self, glance: &Glance<'_>, line: &Line) -> Result<(), Failure> {
        let Some(open) = self.open.get_mut(&glance.series) else {
            return Ok(());
        };
        let operator = open.series.operator.as_deref();
        if !self
            .filter
            .reading(glance.axis, glance.instrument, operator)
        {
            return Ok(());
        }
        if self.filter.is_timed() && !self.filter.time(time_of(glance)?) {
            return Ok(());
        }
        if let Some(kept) = self.take.keep(&open.series, glance, line)? {
            open.kept.push((glance.seq, glance.counted, kept));
        }
        Ok(())
    }

    /// Whether entries of this kind say anything about readings now.
    fn tells(&self, kind: &str) -> bool {
        tells(kind) || (kind == "zeroed" && !self.resumable.is_empty())
    }

    /// Nothing more is said about a series since this entry.
    fn close(&mut self, series: Option<Seq>, by: Seq) -> Result<(), Failure> {
        let Some(mut open) = series.and_then(|series| self.open.remove(&series)) else {
            return Ok(());
        };
        open.series.closed = Some(by);
        self.settle(open)
    }

    /// Tells the readings of a series of which nothing more will be said.
    fn settle(&mut self, open: Open<T::Kept>) -> Result<(), Failure> {
        for (seq, counted, kept) in open.kept {
            let later = self.fallen.remove(&seq);
            let fallen = if counted {
                later
            } else {
                Some(Fallen::NotCounted)
            };
            self.take.tell(&open.series, kept, fallen)?;
        }
        Ok(())
    }

    fn finish(mut self) -> Result<(), Failure> {
        for open in std::mem::take(&mut self.open).into_values() {
            self.settle(open)?;
        }
        if let Some(id) = self.missing.first() {
            return Err(Failure::usage(format!(
                "no series {id} in this journal, or it is none of what else was asked for"
            ))
            .with_remedy("list them: tallyjaw series"));
        }
        Ok(())
    }
}

/// Whether entries of this kind say anything about readings.
fn tells(kind: &str) -> bool {
    [
        "armed",
        "reading",
        "doubted",
        "retracted",
        "restored",
        "completed",
        "resumed",
        "operator_said",
    ]
    .contains(&kind)
}

/// When a reading was entered.
pub(in crate::cli) fn time_of(glance: &Glance<'_>) -> Result<WallMicros, Failure> {
    glance
        .at
        .parse()
        .map_err(|_| Failure::io(format!("entry {} has the time {:?}", glance.seq, glance.at)))
}
