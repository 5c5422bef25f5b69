//! Finds readings in the journal in one pass, with memory that does not grow with the journal.
//!
//! A reading is given out once its series is final, because it may be doubted or retracted until then
//! ([`crate::entry::ledger`]).

use super::look::{Look, Looker, Rest};
use super::{Filter, ReadingKeys, indexed, lines};
use crate::cli::Failure;
use crate::config::DaemonConfig;
use crate::entry::glance::Glance;
use crate::entry::ledger::{Ledger, Series, Whole};
use crate::entry::{Entry, Seq, SeriesEntry, Stamped};
use crate::journal::StoredLine;
use crate::quantity::WallMicros;
use std::collections::BTreeSet;
use std::ops::ControlFlow;

/// What a command does with the readings.
pub(in crate::cli) trait Take {
    /// The data that is kept of a reading until its series is final.
    type Kept;

    /// Whether it needs more of a reading than a glance shows.
    const WHOLE: bool = false;

    /// Whether it takes readings that belong to no series.
    const LOOSE: bool = false;

    /// Takes a matching reading. Returns the data to keep; `None` if the reading is not needed.
    fn keep(
        &mut self,
        series: &Series<Self::Kept>,
        glance: &Glance<'_>,
        rest: Rest<'_>,
    ) -> Result<Option<Self::Kept>, Failure>;

    /// Takes a matching series that is final, or that is still open at the end of the journal. A series without a
    /// matching reading may be left out, unless it was named.
    fn tell(&mut self, series: Series<Self::Kept>) -> Result<(), Failure>;

    /// Takes a matching reading that was measured while no series was open.
    fn loose(&mut self, seq: Seq, reading: &Whole) -> Result<(), Failure> {
        let _ = (seq, reading);
        Ok(())
    }
}

/// A search through the journal.
pub(in crate::cli) struct Search<'s, T: Take> {
    daemon: &'s DaemonConfig,
    filter: Filter<'s>,
    looker: &'s Looker,
    missing: BTreeSet<u64>,
    ledger: Ledger<T::Kept>,
    take: &'s mut T,
}

impl<'s, T: Take> Search<'s, T> {
    /// Gives `take` every reading of the journal that matches.
    pub(in crate::cli) fn run(
        daemon: &'s DaemonConfig,
        filter: Filter<'s>,
        take: &'s mut T,
    ) -> Result<(), Failure> {
        let looker = Looker::of_readings(T::WHOLE);
        let mut search = Search::new(daemon, filter, &looker, take);
        let look = |line: &[u8]| looker.look(line);
        let plan = indexed::plan_of_readings(daemon, &filter, T::LOOSE);
        indexed::each_with(daemon, &plan, filter.after(), look, |line, look| {
            search.line(line, look)
        })?;
        search.finish().map(drop)
    }

    /// A search for a caller that provides the lines, with what the looker saw in them.
    pub(in crate::cli) fn new(
        daemon: &'s DaemonConfig,
        filter: Filter<'s>,
        looker: &'s Looker,
        take: &'s mut T,
    ) -> Self {
        Self {
            daemon,
            filter,
            looker,
            missing: filter.ids().iter().copied().collect(),
            ledger: Ledger::default(),
            take,
        }
    }

    /// Takes the next line. Breaks off if no later line can match.
    pub(in crate::cli) fn line(
        &mut self,
        line: StoredLine<'_>,
        look: Look,
    ) -> Result<ControlFlow<()>, Failure> {
        match look {
            Look::Reading(spotted, whole) => {
                let Some(glance) = spotted.in_line(line.bytes) else {
                    return Ok(ControlFlow::Continue(()));
                };
                let kept = self.keep(&glance, Rest { line, whole })?;
                self.looker.note(kept.is_some());
                let settled = self.ledger.glance(&glance, kept);
                self.tell(settled)?;
                if self.is_over() {
                    return Ok(ControlFlow::Break(()));
                }
            }
            Look::Entry(need, decoded) if self.ledger.needs(need) => {
                let (stamped, _) = lines::understood(self.daemon, *decoded)?;
                self.entry(&stamped, line)?;
                if self.is_over() {
                    return Ok(ControlFlow::Break(()));
                }
            }
            Look::Entry(..) | Look::Nothing => {}
        }
        Ok(ControlFlow::Continue(()))
    }

    /// Whether all named series were given out.
    fn is_over(&self) -> bool {
        !self.filter.ids().is_empty()
            && self.missing.is_empty()
            && self.ledger.unsettled().next().is_none()
    }

    fn entry(&mut self, stamped: &Stamped, line: StoredLine<'_>) -> Result<(), Failure> {
        let at = stamped.at.to_string();
        let glance = Glance::of(stamped, &at);
        let kept = match &glance {
            Some(glance) => {
                let whole = Whole::of(stamped).map(Ok);
                self.keep(glance, Rest { line, whole })?
            }
            None => None,
        };
        let settled = self.ledger.take(stamped, kept);
        self.tell(settled)?;
        if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry {
            if self.filter.series(stamped.seq, spec) {
                self.missing.remove(&stamped.seq.0);
            } else {
                self.ledger.forget(stamped.seq);
            }
        }
        let loose = Whole::of(stamped).filter(|one| one.reading.slot.is_none());
        match loose.filter(|one| self.filter.loose(one.at, &one.reading)) {
            Some(loose) => self.take.loose(stamped.seq, &loose),
            None => Ok(()),
        }
    }

    /// The data to keep of a reading; `None` if it does not match.
    fn keep(&mut self, glance: &Glance<'_>, rest: Rest<'_>) -> Result<Option<T::Kept>, Failure> {
        let Some(series) = self.ledger.get(glance.series) else {
            return Ok(None);
        };
        let shown = ReadingKeys {
            axis: glance.axis,
            instrument: glance.instrument,
            operator: series.operator(glance.seq),
            lots: series.lots(glance.seq),
        };
        if !self.filter.reading(&shown) {
            return Ok(None);
        }
        if self.filter.is_timed() && !self.filter.time(time_of(glance)?) {
            return Ok(None);
        }
        self.take.keep(series, glance, rest)
    }

    fn tell(&mut self, settled: Option<Series<T::Kept>>) -> Result<(), Failure> {
        settled.map_or(Ok(()), |series| self.take.tell(series))
    }

    /// Ends the search, and returns the first matching series that is still open.
    pub(in crate::cli) fn finish(self) -> Result<Option<Seq>, Failure> {
        let first = self.ledger.unsettled().next().map(|series| series.id);
        for series in self.ledger.finish() {
            self.take.tell(series)?;
        }
        if let Some(id) = self.missing.first() {
            return Err(Failure::usage(format!(
                "no series {id} in this journal that matches the options"
            ))
            .with_remedy("list them: tallyjaw series"));
        }
        Ok(first)
    }
}

/// Wall time of a reading's entry.
pub(in crate::cli) fn time_of(glance: &Glance<'_>) -> Result<WallMicros, Failure> {
    glance
        .at
        .parse()
        .map_err(|_| Failure::io(format!("entry {} has the time {:?}", glance.seq, glance.at)))
}
