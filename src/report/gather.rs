//! What a report is made of, gathered from the journal in one pass.
//!
//! In: every entry with the digest of its line, in order, and which series are wanted. Out: of those series
//! everything that was said, with what was known of their instruments when they were armed.
//!
//! Kept are the entries of the wanted series and of what happened at their stations meanwhile; of all
//! others a line an instrument.

use crate::entry::line::Digest;
use crate::entry::{
    Attached, Completed, Doubted, Entry, FrameEntry, JournalId, Outcome, PortEntry, Restored,
    Resumed, Retracted, SaidEntry, Seq, SeriesEntry, Stamped, Zeroed,
};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedSpec, ArmedSubject};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Everything about one series.
#[derive(Debug, Clone)]
pub struct Record {
    /// Its id: the seq of its `armed` entry.
    pub id: Seq,
    /// When it was opened.
    pub opened: WallMicros,
    /// What it judges by.
    pub spec: Box<ArmedSpec>,
    /// Every entry about it, what happened at its station while it was open, and notes on it since, in order.
    pub entries: Vec<Stamped>,
    /// How it was closed, and when.
    pub closed: Option<(WallMicros, Completed)>,
    /// The ports of its instruments when it was armed.
    pub ports: Vec<Attached>,
    /// The closing zeros of the series before that opened this one.
    pub opening: Vec<(Seq, WallMicros, Zeroed)>,
    /// What the last verifications of its instruments showed.
    pub verified: Vec<Verification>,
}

/// What a verification of an instrument against gauge blocks showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verification {
    /// The instrument.
    pub instrument: String,
    /// The series.
    pub series: Seq,
    /// When it was closed.
    pub at: WallMicros,
    /// What came out.
    pub outcome: Outcome,
    /// The error furthest from zero, and the block at which it was shown.
    pub worst: Option<(Quantity, Measured)>,
}

/// Everything that was wanted, up to the last entry.
#[derive(Debug, Clone)]
pub struct Gathered {
    /// The journal.
    pub journal: JournalId,
    /// Its first entry.
    pub first: Seq,
    /// The last entry that was read.
    pub last: Seq,
    /// When that was.
    pub last_at: WallMicros,
    /// The digest of its line.
    pub digest: Digest,
    /// The wanted series, in the order in which they were opened.
    pub series: Vec<Record>,
    /// Every series that there is: its id.
    pub known: Vec<Seq>,
}

/// Which series are wanted: of each that is opened, its id, when, and what it judges by.
pub type Wants<'w> = dyn FnMut(Seq, WallMicros, &ArmedSpec) -> bool + 'w;

/// Gathers.
pub struct Gathering<'w> {
    wants: Box<Wants<'w>>,
    journal: Option<JournalId>,
    first: Option<Seq>,
    last: Option<(Seq, WallMicros, Digest)>,
    known: Vec<Seq>,
    open: BTreeMap<String, (bool, Record)>,
    done: Vec<Record>,
    /// Closed, and can be open again.
    stopped: BTreeMap<String, (bool, Record)>,
    ports: HashMap<String, Attached>,
    zeros: HashMap<String, (Seq, WallMicros, Zeroed)>,
    verified: HashMap<String, Verification>,
}

impl<'w> Gathering<'w> {
    /// Of the series that `wants` says yes to.
    pub fn new(wants: impl FnMut(Seq, WallMicros, &ArmedSpec) -> bool + 'w) -> Self {
        Self {
            wants: Box::new(wants),
            journal: None,
            first: None,
            last: None,
            known: Vec::new(),
            open: BTreeMap::new(),
            done: Vec::new(),
            stopped: BTreeMap::new(),
            ports: HashMap::new(),
            zeros: HashMap::new(),
            verified: HashMap::new(),
        }
    }

    /// Takes the next entry, with the digest of its line.
    pub fn take(&mut self, stamped: &Stamped, digest: Digest) {
        self.first = self.first.or(Some(stamped.seq));
        self.last = Some((stamped.seq, stamped.at, digest));
        if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry {
            self.arm(stamped, spec);
            return;
        }
        if let Entry::Series(SeriesEntry::Resumed(Resumed {
            station, series, ..
        })) = &stamped.entry
        {
            self.resume(station, *series);
        }
        self.keep(stamped);
        if let Some(journal) = stamped.entry.opens() {
            self.journal = Some(journal.clone());
        } else if let Entry::Port(PortEntry::Attached(attached)) = &stamped.entry {
            self.ports
                .insert(attached.instrument.clone(), attached.clone());
        } else if let Entry::Frame(FrameEntry::Zeroed(zeroed)) = &stamped.entry {
            let zero = (stamped.seq, stamped.at, zeroed.clone());
            self.zeros.insert(zeroed.instrument.clone(), zero);
        } else if let Entry::Series(SeriesEntry::Completed(completed)) = &stamped.entry {
            self.close(stamped.at, completed);
        }
    }

    fn arm(&mut self, stamped: &Stamped, spec: &ArmedSpec) {
        self.known.push(stamped.seq);
        let is_wanted = (self.wants)(stamped.seq, stamped.at, spec);
        if !is_wanted && matches!(spec.subject, ArmedSubject::Crimps { .. }) {
            return;
        }
        let names = || spec.instruments.iter().map(|known| &known.name);
        let opening = spec.opening_zeros.iter().filter_map(|opening| {
            let zero = self.zeros.get(&opening.instrument)?;
            (zero.0.0 == opening.zeroed).then(|| zero.clone())
        });
        let record = Record {
            id: stamped.seq,
            opened: stamped.at,
            spec: Box::new(spec.clone()),
            entries: vec![stamped.clone()],
            closed: None,
            ports: names()
                .filter_map(|name| self.ports.get(name).cloned())
                .collect(),
            opening: opening.collect(),
            verified: names()
                .filter_map(|name| self.verified.get(name).cloned())
                .collect(),
        };
        self.open.insert(spec.station.clone(), (is_wanted, record));
    }

    fn keep(&mut self, stamped: &Stamped) {
        let (series, at) = (stamped.series(), stamped.entry.station());
        for (name, (_, record)) in &mut self.open {
            let is_about = match (series, at) {
                (Some(series), _) => series == record.id,
                (None, Some(at)) => at == name,
                (None, None) => true,
            };
            if is_about {
                record.entries.push(stamped.clone());
            }
        }
        // A note shortly after the outcome is about the series that was closed.
        if matches!(stamped.entry, Entry::Said(SaidEntry::Noted(_))) {
            let mut closed = self.done.iter_mut().rev();
            if let Some(record) = closed.find(|record| Some(record.id) == series) {
                record.entries.push(stamped.clone());
            }
        }
    }

    fn close(&mut self, at: WallMicros, completed: &Completed) {
        let is_it = |(_, record): &(bool, Record)| record.id == completed.series;
        if !self.open.get(&completed.station).is_some_and(is_it) {
            return;
        }
        let Some((is_wanted, mut record)) = self.open.remove(&completed.station) else {
            return;
        };
        record.closed = Some((at, completed.clone()));
        for found in verifications(&record, at, completed) {
            self.verified.insert(found.instrument.clone(), found);
        }
        if completed.resumable {
            let stopped = (is_wanted, record);
            let before = self.stopped.insert(completed.station.clone(), stopped);
            self.done.extend(wanted(before));
        } else if is_wanted {
            self.done.push(record);
        }
    }

    fn resume(&mut self, station: &str, series: Seq) {
        let Some((is_wanted, mut record)) = self.stopped.remove(station) else {
            return;
        };
        if record.id == series {
            record.closed = None;
            self.open.insert(station.to_owned(), (is_wanted, record));
        } else {
            self.done.extend(is_wanted.then_some(record));
        }
    }

    /// All that was gathered; `None` of a journal without an entry or a name.
    pub fn finish(self) -> Option<Gathered> {
        let (last, last_at, digest) = self.last?;
        let open = self.open.into_values().chain(self.stopped.into_values());
        let open = open.filter_map(|one| wanted(Some(one)));
        let mut series: Vec<_> = self.done.into_iter().chain(open).collect();
        series.sort_by_key(|record| record.id);
        Some(Gathered {
            journal: self.journal?,
            first: self.first?,
            last,
            last_at,
            digest,
            series,
            known: self.known,
        })
    }
}

fn wanted(record: Option<(bool, Record)>) -> Option<Record> {
    record.and_then(|(is_wanted, record)| is_wanted.then_some(record))
}

/// What a series that verified instruments showed of each.
fn verifications(record: &Record, at: WallMicros, completed: &Completed) -> Vec<Verification> {
    let blocks = record.spec.subject.blocks();
    if blocks.is_empty() {
        return Vec::new();
    }
    // a slip that was retracted, or that a zero made doubtful, is no error of the instrument
    let mut fallen: BTreeSet<Seq> = BTreeSet::new();
    for stamped in &record.entries {
        if let Entry::Series(SeriesEntry::Retracted(Retracted { reading, .. })) = &stamped.entry {
            fallen.insert(*reading);
        } else if let Entry::Series(SeriesEntry::Restored(Restored { reading, .. })) =
            &stamped.entry
        {
            fallen.remove(reading);
        } else if let Entry::Series(SeriesEntry::Doubted(Doubted { readings, .. })) = &stamped.entry
        {
            fallen.extend(readings);
        }
    }
    let mut worst: Option<(Quantity, Measured)> = None;
    for stamped in &record.entries {
        let Some(reading) = stamped.entry.reading() else {
            continue;
        };
        if fallen.contains(&stamped.seq) {
            continue;
        }
        let Some(slot) = reading.slot.as_ref().filter(|slot| slot.verdict.is_some()) else {
            continue;
        };
        let block = blocks.iter().find(|block| block.axis() == slot.axis);
        let Some((error, block)) = slot.deviation.zip(block) else {
            continue;
        };
        let is_worse = worst.is_none_or(|(known, _)| error.base().abs() > known.base().abs());
        if is_worse {
            worst = Some((error, block.size));
        }
    }
    let names = record.spec.instruments.iter();
    names
        .map(|known| Verification {
            instrument: known.name.clone(),
            series: record.id,
            at,
            outcome: completed.outcome,
            worst,
        })
        .collect()
}
