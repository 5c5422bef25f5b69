//! The ledger: series with their readings, and whether each reading counts.
//!
//! In: entries in order, or glances at their lines. Out: each series with its readings, as soon as no later entry can
//! change it. Before that, its present state can be read.
//!
//! - Everything that shows readings uses [`Disposition`]. It agrees with the state: the tally of a closed series has
//!   the same counts.
//! - A series that an arming stopped early stays in the ledger until it can no longer be resumed.
//! - Memory holds only series that may still change, with the data of their readings that the caller chose.

mod disposition;
mod series;
#[cfg(test)]
mod tests;

pub use disposition::Disposition;
pub use series::{Closed, Entered, Series, Whole};

use super::glance::{self, Glance};
use super::resume::{Stop, after_stop};
use super::{Entry, FrameEntry, FrameKind, Kind, SaidEntry, SaidKind, Seq, SeriesEntry, Stamped};
use crate::quantity::WallMicros;
use std::collections::BTreeMap;

/// The series that may still change, with data `K` of each reading.
#[derive(Debug)]
pub struct Ledger<K> {
    series: BTreeMap<Seq, Series<K>>,
    /// By station: the series that can be resumed, and the one that was armed in its place.
    stopped: BTreeMap<String, (Seq, Option<Seq>)>,
}

/// When a line can change a series of a ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Never.
    Never,
    /// While a series can be resumed.
    WhileStopped,
    /// At any time; also a line whose kind cannot be found without parsing.
    Always,
}

impl Need {
    /// The need of a line, by its kind.
    pub fn of(line: &[u8]) -> Self {
        let Some(name) = glance::kind(line) else {
            return Self::Always;
        };
        match Kind::from_name(name) {
            None | Some(Kind::Journal(_) | Kind::Port(_) | Kind::Production(_)) => Self::Never,
            Some(Kind::Said(kind)) => match kind {
                SaidKind::OperatorSaid | SaidKind::LotSaid => Self::Always,
                SaidKind::AdapterSaid
                | SaidKind::JobSaid
                | SaidKind::ZeroSaid
                | SaidKind::ToolSaid
                | SaidKind::Noted
                | SaidKind::Refused => Self::Never,
            },
            Some(Kind::Frame(kind)) => match kind {
                FrameKind::Reading => Self::Always,
                FrameKind::Zeroed => Self::WhileStopped,
                FrameKind::Unread => Self::Never,
            },
            Some(Kind::Series(_)) => Self::Always,
        }
    }
}

impl<K> Default for Ledger<K> {
    fn default() -> Self {
        Self {
            series: BTreeMap::new(),
            stopped: BTreeMap::new(),
        }
    }
}

impl<K> Ledger<K> {
    /// Takes the next entry. Returns the series that becomes final by it. `kept` is stored with the entry if it is a
    /// reading of a series that may still change.
    pub fn take(&mut self, stamped: &Stamped, kept: Option<K>) -> Option<Series<K>> {
        let Stamped { seq, at, entry, .. } = stamped;
        let over = self.follow_stopped(stamped);
        let settled = match entry {
            Entry::Journal(_) | Entry::Port(_) | Entry::Production(_) => None,
            Entry::Said(entry) => {
                self.take_said(*seq, entry);
                None
            }
            Entry::Frame(entry) => {
                self.take_frame(*seq, entry, kept);
                None
            }
            Entry::Series(entry) => self.take_series(*seq, *at, entry),
        };
        self.settle(over.or(settled), *seq)
    }

    fn take_said(&mut self, seq: Seq, entry: &SaidEntry) {
        match entry {
            SaidEntry::OperatorSaid(said) => {
                let series = said.series.and_then(|series| self.series.get_mut(&series));
                if let Some(series) = series {
                    series.set_operator(seq, Some(&said.operator));
                }
            }
            SaidEntry::LotSaid(said) => {
                let series = said.series.and_then(|series| self.series.get_mut(&series));
                if let Some(series) = series {
                    series.change_lot(seq, said.material, said.lot.clone());
                }
            }
            // a job stays the same within a series
            SaidEntry::JobSaid(_)
            | SaidEntry::AdapterSaid(_)
            | SaidEntry::ZeroSaid(_)
            | SaidEntry::ToolSaid(_)
            | SaidEntry::Noted(_)
            | SaidEntry::Refused(_) => {}
        }
    }

    fn take_frame(&mut self, seq: Seq, entry: &FrameEntry, kept: Option<K>) {
        match entry {
            FrameEntry::Reading(reading) => {
                let slot = reading.slot.as_ref();
                if let Some((slot, kept)) = slot.zip(kept) {
                    let disposition = Disposition::from(&reading.standing);
                    self.enter(slot.series, seq, disposition, kept);
                }
            }
            FrameEntry::Zeroed(_) | FrameEntry::Unread(_) => {}
        }
    }

    /// Takes an entry about a series. Returns the series that is closed and cannot be resumed.
    fn take_series(&mut self, seq: Seq, at: WallMicros, entry: &SeriesEntry) -> Option<Seq> {
        match entry {
            SeriesEntry::Armed(spec) => {
                self.series.insert(seq, Series::new(seq, at, spec));
            }
            SeriesEntry::Completed(completed) => {
                if let Some(series) = self.series.get_mut(&completed.series) {
                    let completed = completed.clone();
                    series.closed = Some(Closed { at, completed });
                }
                return (!completed.resumable).then_some(completed.series);
            }
            SeriesEntry::Resumed(resumed) => {
                if let Some(series) = self.series.get_mut(&resumed.series) {
                    series.closed = None;
                    series.set_operator(seq, resumed.operator.as_deref());
                    series.change_lots(seq, resumed.lots.clone());
                }
            }
            SeriesEntry::Doubted(doubted) => {
                for reading in &doubted.readings {
                    self.amend(doubted.series, *reading, |known| known.doubted(seq));
                }
            }
            SeriesEntry::Retracted(body) => {
                let series = self.series.get_mut(&body.series);
                if let (Some(series), Some(slot), true) = (series, &body.slot, body.spent) {
                    series.spent.insert(body.reading, slot.piece);
                }
                self.amend(body.series, body.reading, |known| known.retracted(seq));
            }
            SeriesEntry::Restored(body) => {
                if let Some(series) = self.series.get_mut(&body.series) {
                    series.spent.remove(&body.reading);
                }
                self.amend(body.series, body.reading, Disposition::restored);
            }
            SeriesEntry::Looked(body) => {
                if let Some(series) = self.series.get_mut(&body.series) {
                    series.looks.insert((body.piece, body.look), body.answer);
                }
            }
            SeriesEntry::Pulled(body) => {
                let series = self.series.get_mut(&body.series);
                if let Some(reading) = series.and_then(|series| series.reading_mut(body.reading)) {
                    reading.pull_mode = Some(body.mode);
                }
            }
            SeriesEntry::Disarmed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Pictured(_)
            | SeriesEntry::Alerted(_) => {}
        }
        None
    }

    /// As [`Ledger::take`], for a reading of which only these fields are known.
    pub fn glance(&mut self, glance: &Glance<'_>, kept: Option<K>) -> Option<Series<K>> {
        let over = if glance.disposition == Disposition::Counted {
            self.resumable_before(glance.series)
        } else {
            None
        };
        let settled = self.settle(over, glance.seq);
        if let Some(kept) = kept {
            self.enter(glance.series, glance.seq, glance.disposition, kept);
        }
        settled
    }

    /// Whether a line of this need can change a series of the ledger now. Other lines need not be parsed.
    pub fn needs(&self, need: Need) -> bool {
        match need {
            Need::Never => false,
            Need::WhileStopped => !self.stopped.is_empty(),
            Need::Always => true,
        }
    }

    /// Drops a series, and ignores later entries about it.
    pub fn forget(&mut self, series: Seq) {
        self.series.remove(&series);
    }

    /// A series that may still change.
    pub fn get(&self, series: Seq) -> Option<&Series<K>> {
        self.series.get(&series)
    }

    /// The series that may still change, in the order in which they were opened.
    pub fn unsettled(&self) -> impl Iterator<Item = &Series<K>> {
        self.series.values()
    }

    /// The series that could still change when the journal ended, in their present state.
    pub fn finish(self) -> impl Iterator<Item = Series<K>> {
        self.series.into_values()
    }

    fn enter(&mut self, series: Seq, seq: Seq, disposition: Disposition, kept: K) {
        if let Some(series) = self.series.get_mut(&series) {
            series.readings.push(Entered {
                seq,
                disposition,
                pull_mode: None,
                kept,
            });
        }
    }

    fn amend(&mut self, series: Seq, reading: Seq, how: impl FnOnce(Disposition) -> Disposition) {
        let series = self.series.get_mut(&series);
        if let Some(reading) = series.and_then(|series| series.reading_mut(reading)) {
            reading.disposition = how(reading.disposition);
        }
    }

    fn settle(&mut self, series: Option<Seq>, by: Seq) -> Option<Series<K>> {
        let mut series = self.series.remove(&series?)?;
        series.settled = Some(by);
        Some(series)
    }

    /// The series that can no longer be resumed after this entry.
    fn follow_stopped(&mut self, stamped: &Stamped) -> Option<Seq> {
        let entry = &stamped.entry;
        if let Entry::Series(SeriesEntry::Completed(completed)) = entry
            && completed.resumable
        {
            let stopped = (completed.series, None);
            let before = self.stopped.insert(completed.station.clone(), stopped);
            let before = before.map(|(series, _)| series);
            return before.filter(|series| *series != completed.series);
        }
        if self.stopped.is_empty() {
            return None;
        }
        let station = entry.station()?;
        let (series, next) = self.stopped.get_mut(station)?;
        match after_stop(entry, next.is_some()) {
            Stop::Stays => None,
            Stop::IsFollowed => {
                *next = Some(stamped.seq);
                None
            }
            Stop::IsResumed(resumed) => {
                let series = Some(*series).filter(|series| *series != resumed);
                self.stopped.remove(station);
                series
            }
            Stop::IsOver => self.stopped.remove(station).map(|(series, _)| series),
        }
    }

    /// The stopped series in whose place `next` was armed. A counted reading of `next` makes it final.
    fn resumable_before(&mut self, next: Seq) -> Option<Seq> {
        let mut stopped = self.stopped.iter();
        let station = stopped.find(|(_, (_, armed))| *armed == Some(next));
        let station = station.map(|(station, _)| station.clone())?;
        self.stopped.remove(&station).map(|(series, _)| series)
    }
}
