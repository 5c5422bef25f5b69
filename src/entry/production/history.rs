//! The production runs of a journal, with the disposition of their crimps.
//!
//! In: entries in order. Out: each run with its samples, held crimps and counts. The counting is done in
//! [`super::fold`]; this file only records it.

use super::fold::{Change, Hold, Production, Says};
use super::{RunEnd, Settled};
use crate::entry::{Crimped, Entry, JournalEntry, ProductionEntry, Seq, Stamped};
use crate::quantity::WallMicros;
use crate::spec::{ProductionRun, SampleRole, Settlement};
use std::collections::BTreeMap;

/// Collects the production runs of a journal.
#[derive(Debug, Default)]
pub struct RunHistory {
    stations: BTreeMap<String, Production>,
    runs: BTreeMap<Seq, RunRecord>,
    without_run: BTreeMap<String, u64>,
}

/// A production run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunRecord {
    /// Its number: `seq` of its `run_opened` entry.
    pub id: Seq,
    /// Its station.
    pub station: String,
    /// Its settings.
    pub settings: ProductionRun,
    /// When it was opened.
    pub opened: WallMicros,
    /// How it was closed; `None` while it is open.
    pub closed: Option<RunOver>,
    /// The crimps counted.
    pub crimps: u64,
    /// Number of crimps that good samples vouch for.
    pub vouched: u64,
    /// Its samples that were closed while it was open, and the first-off that opened it.
    pub samples: Vec<SampleRecord>,
    /// Held crimps, settled or not, in order.
    pub holds: Vec<(Seq, WallMicros, Hold)>,
    /// The decisions of persons about held crimps, in order.
    pub settlements: Vec<(Seq, WallMicros, Settled)>,
    /// The counts: time, total so far, and the entry.
    pub counts: Vec<(WallMicros, u64, Crimped)>,
    /// The times at which a sample became due by time.
    pub due: Vec<WallMicros>,
    /// The last entry that changed it.
    pub last: Seq,
}

/// How a run was closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunOver {
    /// When it was closed.
    pub at: WallMicros,
    /// What closed it.
    pub end: RunEnd,
    /// The series that caused it.
    pub series: Seq,
}

/// A sample of a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SampleRecord {
    /// The series.
    pub series: Seq,
    /// When it was closed.
    pub at: WallMicros,
    /// Its role in the run.
    pub role: SampleRole,
    /// What it shows.
    pub says: Says,
    /// The crimps counted by then.
    pub crimps: u64,
    /// The crimps that it vouches for, by the first and last number.
    pub vouched: Option<(u64, u64)>,
}

/// Consecutive crimps with the same disposition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Number of the first crimp in the run.
    pub first: u64,
    /// Number of the last crimp.
    pub last: u64,
    /// Their disposition.
    pub fate: Fate,
}

/// The disposition of crimps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// A good sample vouches for them.
    Vouched,
    /// Held by this entry, and at least one of them is not settled.
    Held(Seq),
    /// Held by this entry, and all of them are settled.
    Settled(Seq),
    /// No sample has decided about them.
    Open,
}

impl Fate {
    /// The word for programs.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Vouched => "vouched",
            Self::Held(_) => "held",
            Self::Settled(_) => "settled",
            Self::Open => "open",
        }
    }
}

impl RunHistory {
    /// Takes the next entry.
    pub fn take(&mut self, stamped: &Stamped) {
        if let Entry::Journal(entry) = &stamped.entry {
            self.take_journal(stamped, entry);
            return;
        }
        let Some(station) = stamped.entry.station() else {
            return;
        };
        if !self.stations.contains_key(station) {
            self.stations
                .insert(station.to_owned(), Production::default());
        }
        let change = self
            .stations
            .get_mut(station)
            .and_then(|known| known.apply(stamped));
        if let Some(change) = change {
            self.note(stamped, station, change);
        }
    }

    /// A journal that is read from a later segment begins with the state after the segments before.
    fn take_journal(&mut self, stamped: &Stamped, entry: &JournalEntry) {
        if let JournalEntry::Segment(segment) = entry
            && self.stations.is_empty()
        {
            for (name, station) in &segment.state.stations {
                let production = station.production.clone();
                if let Some(run) = &production.run {
                    let mut record = RunRecord::new(run.id, name, &run.settings, run.since);
                    record.crimps = run.crimps;
                    record.vouched = run.vouched;
                    self.runs.insert(run.id, record);
                }
                self.stations.insert(name.clone(), production);
            }
            return;
        }
        for station in self.stations.values_mut() {
            station.apply(stamped);
        }
    }

    fn note(&mut self, stamped: &Stamped, station: &str, change: Change) {
        let Stamped { seq, at, entry, .. } = stamped;
        let of = match &change {
            Change::Counted(run, _) => *run,
            Change::Sampled { run, .. } | Change::Settled(run, ..) | Change::Due(run) => Some(*run),
            Change::Held(_, hold) => Some(hold.run),
            Change::Closed(closed) => Some(closed.run),
            Change::Opened(_) => None,
        };
        if let Some(run) = of.and_then(|run| self.runs.get_mut(&run)) {
            run.last = *seq;
        }
        match change {
            Change::Opened(opened) => {
                let mut record = RunRecord::new(*seq, station, &opened.settings, *at);
                record.samples.push(SampleRecord {
                    series: opened.series,
                    at: *at,
                    role: SampleRole::FirstOff,
                    says: Says::Good,
                    crimps: 0,
                    vouched: None,
                });
                self.runs.insert(*seq, record);
            }
            Change::Counted(None, crimps) => {
                let count = self.without_run.entry(station.to_owned()).or_default();
                *count = count.saturating_add(crimps);
            }
            Change::Counted(Some(run), crimps) => {
                if let (Some(run), Entry::Production(ProductionEntry::Crimped(crimped))) =
                    (self.runs.get_mut(&run), entry)
                {
                    run.crimps = crimps;
                    run.counts.push((*at, crimps, crimped.clone()));
                }
            }
            Change::Sampled {
                run,
                series,
                role,
                says,
                crimps,
                vouched,
            } => {
                if let Some(run) = self.runs.get_mut(&run) {
                    if let Some((first, last)) = vouched {
                        run.vouched = run.vouched.saturating_add(super::fold::size(first, last));
                    }
                    run.samples.push(SampleRecord {
                        series,
                        at: *at,
                        role,
                        says,
                        crimps,
                        vouched,
                    });
                }
            }
            Change::Held(by, hold) => {
                if let Some(run) = self.runs.get_mut(&hold.run) {
                    run.holds.push((by, *at, hold));
                }
            }
            Change::Settled(run, by, crimps, _) => {
                let Some(run) = self.runs.get_mut(&run) else {
                    return;
                };
                let mut holds = run.holds.iter_mut();
                if let Some((_, _, hold)) = holds.find(|(entry, ..)| *entry == by) {
                    hold.settled = hold.settled.saturating_add(crimps);
                }
                if let Entry::Production(ProductionEntry::Settled(settled)) = entry {
                    run.settlements.push((*seq, *at, settled.clone()));
                }
            }
            Change::Due(run) => {
                if let Some(run) = self.runs.get_mut(&run) {
                    run.due.push(*at);
                }
            }
            Change::Closed(closed) => {
                if let Some(run) = self.runs.get_mut(&closed.run) {
                    run.closed = Some(RunOver {
                        at: *at,
                        end: closed.end,
                        series: closed.series,
                    });
                }
            }
        }
    }

    /// The runs in the order in which they were opened.
    pub fn runs(&self) -> impl Iterator<Item = &RunRecord> {
        self.runs.values()
    }

    /// The run of this number.
    pub fn run(&self, id: Seq) -> Option<&RunRecord> {
        self.runs.get(&id)
    }

    /// By station: the crimps counted while no run was open.
    pub const fn without_run(&self) -> &BTreeMap<String, u64> {
        &self.without_run
    }
}

impl RunRecord {
    fn new(id: Seq, station: &str, settings: &ProductionRun, opened: WallMicros) -> Self {
        Self {
            id,
            station: station.to_owned(),
            settings: settings.clone(),
            opened,
            closed: None,
            crimps: 0,
            vouched: 0,
            samples: Vec::new(),
            holds: Vec::new(),
            settlements: Vec::new(),
            counts: Vec::new(),
            due: Vec::new(),
            last: id,
        }
    }

    /// The crimps that are held and not settled.
    pub fn held(&self) -> u64 {
        let left = self.holds.iter().map(|(_, _, hold)| hold.left());
        left.fold(0, u64::saturating_add)
    }

    /// The crimps that a person settled in this way.
    pub fn settled(&self, how: Settlement) -> u64 {
        let settled = self.settlements.iter();
        let settled = settled.filter(|(_, _, settled)| settled.settlement == how);
        settled.fold(0, |sum, (_, _, settled)| sum.saturating_add(settled.crimps))
    }

    /// Number of crimps about which no sample has decided.
    pub fn open(&self) -> u64 {
        let held = self.holds.iter().map(|(_, _, hold)| hold.size());
        let held = held.fold(0, u64::saturating_add);
        self.crimps
            .saturating_sub(self.vouched)
            .saturating_sub(held)
    }

    /// All its crimps in order of their numbers, grouped by disposition.
    pub fn spans(&self) -> Vec<Span> {
        let vouched = self.samples.iter().filter_map(|sample| sample.vouched);
        let vouched = vouched.map(|(first, last)| Span {
            first,
            last,
            fate: Fate::Vouched,
        });
        let held = self.holds.iter().map(|(by, _, hold)| Span {
            first: hold.first,
            last: hold.last,
            fate: if hold.left() == 0 {
                Fate::Settled(*by)
            } else {
                Fate::Held(*by)
            },
        });
        let mut spans: Vec<Span> = vouched.chain(held).collect();
        spans.sort_by_key(|span| span.first);
        let after = spans.last().map_or(1, |span| span.last.saturating_add(1));
        if after <= self.crimps {
            spans.push(Span {
                first: after,
                last: self.crimps,
                fate: Fate::Open,
            });
        }
        spans
    }
}
