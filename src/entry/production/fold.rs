//! The state of production runs that follows from the entries: which crimps are vouched for, held, settled or open.
//!
//! In: entries of one station in order. Out: its [`Production`], and each [`Change`] in the disposition of crimps. The
//! state and the history of runs both use this fold, so their counts cannot differ.
//!
//! - Crimps of a run have numbers from 1. At any time those up to [`OpenRun::decided`] are vouched for, held or settled,
//!   and the others are open.
//! - A good sample vouches for the crimps that were counted before its first reading: its pieces were crimped by then.
//!   A bad one holds all of them.
//! - Crimps between a bad sample and the next good one are held too: nothing shows when the crimps became good again.
//! - A sample that was stopped early, is undecided or has doubted readings decides nothing. But a failed reading makes
//!   it bad, whether the series was stopped early or not.

use super::{Held, HoldCause, RunClosed, RunEnd, RunOpened};
use crate::entry::{
    Completed, Entry, FrameEntry, JournalEntry, Outcome, ProductionEntry, Seq, SeriesEntry,
    Stamped, Standing,
};
use crate::quantity::WallMicros;
use crate::spec::{ProductionRun, SampleOf, SampleRole, Settlement};
use std::collections::{BTreeMap, VecDeque};

/// The production runs of a station: the open one, and what earlier ones have left.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Production {
    /// The open run; `None` if none is open.
    pub run: Option<OpenRun>,
    /// Held crimps that are not settled yet, by the number of their `held` entry.
    pub holds: BTreeMap<Seq, Hold>,
    /// Crimps counted since the last run was closed, while none is open.
    pub without_run: u64,
    /// The entries that the last sample causes and that are not entered yet, in order.
    pub owed: VecDeque<Owed>,
    /// The open series, if it is a sample.
    pub(in crate::entry) sample: Option<Sample>,
    /// The sample that the last arming stopped early. It may be resumed.
    pub(in crate::entry) stopped: Option<Sample>,
}

/// An open production run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenRun {
    /// Its number: `seq` of its `run_opened` entry.
    pub id: Seq,
    /// Its settings.
    pub settings: ProductionRun,
    /// When it was opened, by the wall clock as it is set now.
    pub since: WallMicros,
    /// The crimps counted so far.
    pub crimps: u64,
    /// How many of them are vouched for, held or settled; the others are open.
    pub decided: u64,
    /// How many of them good samples vouch for.
    pub vouched: u64,
    /// The series of the last good sample, and when it was closed by the wall clock as it is set now.
    pub last_good: (Seq, WallMicros),
    /// The series of the last sample, if it was bad.
    pub bad: Option<Seq>,
    /// A sample became due by time and has its entry.
    pub time_due: bool,
}

/// Held crimps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// The production run.
    pub run: Seq,
    /// The series that caused it.
    pub series: Seq,
    /// Number of the first crimp in the run.
    pub first: u64,
    /// Number of the last crimp.
    pub last: u64,
    /// Why they are held.
    pub cause: HoldCause,
    /// Number of crimps that are settled already.
    pub settled: u64,
}

/// An entry that a sample causes and that is still missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Owed {
    /// Crimps to hold.
    Hold(Held),
    /// A run to close.
    Close(RunClosed),
    /// A run to open.
    Open(RunOpened),
}

/// A series whose plan is that of a sample.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::entry) struct Sample {
    pub(in crate::entry) series: Seq,
    pub(in crate::entry) of: SampleOf,
    /// The crimps of the run when the first reading counted; `None` before.
    pub(in crate::entry) crimps: Option<u64>,
}

/// A change in the disposition of crimps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// A run was opened.
    Opened(RunOpened),
    /// Crimps of this run were counted, with the total so far. Without a run, the number of these crimps only.
    Counted(Option<Seq>, u64),
    /// A sample of an open run was closed, with what it shows.
    Sampled {
        /// The run.
        run: Seq,
        /// The series.
        series: Seq,
        /// Its role in the run.
        role: SampleRole,
        /// What it shows.
        says: Says,
        /// The crimps of the run when it was closed.
        crimps: u64,
        /// The crimps that it vouches for, by the first and last number.
        vouched: Option<(u64, u64)>,
    },
    /// Crimps were held.
    Held(Seq, Hold),
    /// Held crimps were settled: the run, the `held` entry, the number, and the decision.
    Settled(Seq, Seq, u64, Settlement),
    /// A sample became due by time.
    Due(Seq),
    /// A run was closed.
    Closed(RunClosed),
}

/// What a closed sample shows about the crimps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// They are good.
    Good,
    /// They are not good.
    Bad,
    /// Nothing: stopped early, undecided, or with doubted readings.
    Nothing,
}

impl Says {
    /// What a closed series shows about the crimps.
    pub fn of(completed: &Completed) -> Self {
        let bad_look = completed.looks.is_some_and(|looks| looks.bad > 0);
        if completed.tally.failed > 0 || bad_look {
            Self::Bad
        } else if completed.outcome == Outcome::Accepted && completed.tally.doubted == 0 {
            Self::Good
        } else {
            Self::Nothing
        }
    }

    /// The word for programs.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Bad => "bad",
            Self::Nothing => "nothing",
        }
    }
}

impl Hold {
    /// Number of crimps that are not settled.
    pub const fn left(&self) -> u64 {
        self.size().saturating_sub(self.settled)
    }

    /// Number of held crimps.
    pub const fn size(&self) -> u64 {
        size(self.first, self.last)
    }

    fn new(held: &Held) -> Self {
        Self {
            run: held.run,
            series: held.series,
            first: held.first,
            last: held.last,
            cause: held.cause,
            settled: 0,
        }
    }
}

/// Number of crimps from `first` to `last`, both included.
pub(super) const fn size(first: u64, last: u64) -> u64 {
    last.saturating_add(1).saturating_sub(first)
}

impl OpenRun {
    /// Number of crimps about which no sample has decided.
    pub const fn open(&self) -> u64 {
        self.crimps.saturating_sub(self.decided)
    }

    /// Number of crimps left until a sample is due; `None` where a sample is due by time only.
    pub fn left(&self) -> Option<u64> {
        let every = u64::from(self.settings.every_crimps?);
        Some(every.saturating_sub(self.open()))
    }

    /// When a sample becomes due by time; `None` where one is due by crimps only.
    pub fn due_at(&self) -> Option<WallMicros> {
        let every = self.settings.every()?;
        let (_, good) = self.last_good;
        let every = i64::try_from(every.as_micros()).unwrap_or(i64::MAX);
        Some(WallMicros(good.0.saturating_add(every)))
    }

    /// Whether a sample is due, by crimps or by time.
    pub fn is_due(&self) -> bool {
        self.time_due || self.left() == Some(0)
    }
}

impl Production {
    /// Takes the next entry of the station, or one about the journal as a whole.
    pub fn apply(&mut self, stamped: &Stamped) -> Option<Change> {
        let Stamped { seq, at, entry, .. } = stamped;
        match entry {
            Entry::Journal(JournalEntry::ClockStepped(stepped)) => {
                self.shift(stepped.by_micros);
                None
            }
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(FrameEntry::Zeroed(_) | FrameEntry::Unread(_))
            | Entry::Series(
                SeriesEntry::Disarmed(_)
                | SeriesEntry::ZeroDue(_)
                | SeriesEntry::Doubted(_)
                | SeriesEntry::Retracted(_)
                | SeriesEntry::Restored(_)
                | SeriesEntry::Alerted(_)
                | SeriesEntry::Looked(_)
                | SeriesEntry::Pulled(_)
                | SeriesEntry::Pictured(_),
            ) => None,
            Entry::Frame(FrameEntry::Reading(reading)) => {
                if reading.standing == Standing::Counted
                    && let Some(slot) = &reading.slot
                {
                    self.measured(slot.series);
                }
                None
            }
            Entry::Series(SeriesEntry::Armed(spec)) => {
                self.armed(*seq, spec.sample.as_ref());
                None
            }
            Entry::Series(SeriesEntry::Resumed(resumed)) => {
                let stopped = self.stopped.take();
                self.sample = stopped.filter(|sample| sample.series == resumed.series);
                None
            }
            Entry::Series(SeriesEntry::Completed(completed)) => self.completed(*at, completed),
            Entry::Production(entry) => self.take(*seq, *at, entry),
        }
    }

    fn armed(&mut self, series: Seq, of: Option<&SampleOf>) {
        self.sample = of.map(|of| Sample {
            series,
            of: of.clone(),
            crimps: None,
        });
    }

    /// The pieces of a sample were crimped before its first reading.
    fn measured(&mut self, series: Seq) {
        let crimps = self.run.as_ref().map(|run| run.crimps);
        if let Some(sample) = &mut self.sample
            && sample.series == series
            && sample.crimps.is_none()
        {
            sample.crimps = crimps;
        }
    }

    fn completed(&mut self, at: WallMicros, completed: &Completed) -> Option<Change> {
        let sample = self
            .sample
            .take_if(|sample| sample.series == completed.series)?;
        if completed.resumable {
            self.stopped = Some(sample.clone());
        }
        let says = Says::of(completed);
        let SampleOf {
            run: settings,
            role,
        } = sample.of;
        let run = self
            .run
            .as_mut()
            .filter(|run| run.settings.id == settings.id);
        let Some(run) = run else {
            if says == Says::Good && role == SampleRole::FirstOff {
                self.open(completed, settings);
            }
            return None;
        };
        let hold = |first, last, cause| {
            let (station, series) = (completed.station.clone(), completed.series);
            Owed::Hold(Held {
                station,
                run: run.id,
                series,
                first,
                last,
                cause,
            })
        };
        let mut vouched = None;
        match says {
            Says::Nothing => {}
            Says::Bad => {
                if run.open() > 0 {
                    let (first, last) = (run.decided.saturating_add(1), run.crimps);
                    self.owed.push_back(hold(first, last, HoldCause::BadSample));
                }
                run.decided = run.crimps;
                run.bad = Some(completed.series);
            }
            Says::Good => {
                let upto = sample.crimps.unwrap_or(run.crimps).max(run.decided);
                let (first, last) = (run.decided.saturating_add(1), upto);
                if last >= first {
                    if run.bad.is_some() {
                        self.owed
                            .push_back(hold(first, last, HoldCause::AfterBadSample));
                    } else {
                        run.vouched = run.vouched.saturating_add(size(first, last));
                        vouched = Some((first, last));
                    }
                }
                if role == SampleRole::LastOff {
                    if run.crimps > upto {
                        let first = upto.saturating_add(1);
                        self.owed
                            .push_back(hold(first, run.crimps, HoldCause::NotSampled));
                    }
                    self.owed.push_back(Owed::Close(RunClosed {
                        station: completed.station.clone(),
                        run: run.id,
                        series: completed.series,
                        end: RunEnd::LastOff,
                    }));
                    run.decided = run.crimps;
                } else {
                    run.decided = upto;
                }
                run.bad = None;
                run.last_good = (completed.series, at);
                run.time_due = false;
            }
        }
        Some(Change::Sampled {
            run: run.id,
            series: completed.series,
            role,
            says,
            crimps: run.crimps,
            vouched,
        })
    }

    /// A good first-off sample opens its run, and ends the run of another id that is still open.
    fn open(&mut self, completed: &Completed, settings: ProductionRun) {
        let (station, series) = (&completed.station, completed.series);
        if let Some(run) = &mut self.run {
            if run.open() > 0 {
                self.owed.push_back(Owed::Hold(Held {
                    station: station.clone(),
                    run: run.id,
                    series,
                    first: run.decided.saturating_add(1),
                    last: run.crimps,
                    cause: HoldCause::NotSampled,
                }));
                run.decided = run.crimps;
            }
            self.owed.push_back(Owed::Close(RunClosed {
                station: station.clone(),
                run: run.id,
                series,
                end: RunEnd::AnotherRun,
            }));
        }
        self.owed.push_back(Owed::Open(RunOpened {
            station: station.clone(),
            series,
            settings,
        }));
    }

    fn take(&mut self, seq: Seq, at: WallMicros, entry: &ProductionEntry) -> Option<Change> {
        match entry {
            ProductionEntry::RunOpened(opened) => {
                self.owed.pop_front();
                self.without_run = 0;
                self.run = Some(OpenRun {
                    id: seq,
                    settings: opened.settings.clone(),
                    since: at,
                    crimps: 0,
                    decided: 0,
                    vouched: 0,
                    last_good: (opened.series, at),
                    bad: None,
                    time_due: false,
                });
                Some(Change::Opened(opened.clone()))
            }
            ProductionEntry::Crimped(crimped) => {
                let crimps = u64::from(crimped.crimps);
                let Some(run) = &mut self.run else {
                    self.without_run = self.without_run.saturating_add(crimps);
                    return Some(Change::Counted(None, crimps));
                };
                run.crimps = run.crimps.saturating_add(crimps);
                Some(Change::Counted(Some(run.id), run.crimps))
            }
            ProductionEntry::SampleDue(due) => {
                if let Some(run) = &mut self.run {
                    run.time_due = true;
                }
                Some(Change::Due(due.run))
            }
            ProductionEntry::Held(held) => {
                self.owed.pop_front();
                let new = Hold::new(held);
                self.holds.insert(seq, new.clone());
                Some(Change::Held(seq, new))
            }
            ProductionEntry::Settled(settled) => {
                let hold = self.holds.get_mut(&settled.held)?;
                hold.settled = hold.settled.saturating_add(settled.crimps);
                if hold.left() == 0 {
                    self.holds.remove(&settled.held);
                }
                let (crimps, how) = (settled.crimps, settled.settlement);
                Some(Change::Settled(settled.run, settled.held, crimps, how))
            }
            ProductionEntry::RunClosed(closed) => {
                self.owed.pop_front();
                self.run = None;
                Some(Change::Closed(closed.clone()))
            }
        }
    }

    /// Number of crimps of the open run that are held, or will be by a missing entry.
    pub fn held(&self) -> u64 {
        let held = self.holds.values().map(Hold::left);
        let owed = self.owed.iter().map(|owed| match owed {
            Owed::Hold(held) => held.size(),
            Owed::Close(_) | Owed::Open(_) => 0,
        });
        held.chain(owed).fold(0, u64::saturating_add)
    }

    /// What counts is the time that has passed since a good sample, whatever the wall clock was set to meanwhile.
    fn shift(&mut self, by_micros: i64) {
        if let Some(run) = &mut self.run {
            let (_, good) = &mut run.last_good;
            good.0 = good.0.saturating_add(by_micros);
            run.since.0 = run.since.0.saturating_add(by_micros);
        }
    }
}
