//! Collects the data of a report from the journal in one pass.
//!
//! In: every entry in order with the digest of its line, and the choice of series. Out: for each chosen series all
//! entries about it, and what was known of its instruments when it was armed.
//!
//! Memory holds the entries of chosen series and of events at their stations; of all other entries only one for each
//! instrument.

use crate::entry::ledger::{Disposition, Ledger, Series, Whole};
use crate::entry::line::Digest;
use crate::entry::production::history::{RunHistory, RunRecord};
use crate::entry::{
    Attached, Completed, Entry, FrameEntry, JournalEntry, JournalId, Outcome, PortEntry, SaidEntry,
    Seq, SeriesEntry, Stamped, State, Zeroed,
};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedSpec, ArmedSubject};
use std::collections::{BTreeMap, HashMap};

/// All data of one series.
#[derive(Debug, Clone)]
pub struct Record {
    /// The series from the ledger, with its readings.
    pub series: Series<Whole>,
    /// In order: every entry about it, events at its station while it was open, and later notes and pictures of it.
    pub entries: Vec<Stamped>,
    /// Ports of its instruments when it was armed.
    pub ports: Vec<Attached>,
    /// Closing zeros of the series before, if they opened this one.
    pub opening: Vec<(Seq, WallMicros, Zeroed)>,
    /// Results of the last verifications of its instruments.
    pub verified: Vec<Verification>,
}

/// Result of a verification against gauge blocks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verification {
    /// Its name in the configuration.
    pub instrument: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Wall time of its end.
    pub at: WallMicros,
    /// Outcome of the verification.
    pub outcome: Outcome,
    /// The error furthest from zero, and the block where it occurred.
    pub worst: Option<(Quantity, Measured)>,
}

/// The data of all chosen series, up to the last entry.
#[derive(Debug, Clone)]
pub struct Gathered {
    /// Identity of the journal.
    pub journal: JournalId,
    /// Number of its first entry.
    pub first: Seq,
    /// Number of the last entry that was read.
    pub last: Seq,
    /// Wall time of that entry.
    pub last_at: WallMicros,
    /// Digest of that entry's line.
    pub digest: Digest,
    /// The chosen series, in the order in which they were opened.
    pub series: Vec<Record>,
    /// The requested production run; `None` if none was requested, or if the journal has no such run.
    pub run: Option<RunRecord>,
    /// Fingerprint of the key of the bench at that entry; `None` if it has none.
    pub key: Option<String>,
    /// The state after all entries; `None` unless it was requested.
    pub state: Option<State>,
    /// The ids of all series.
    pub known: Vec<Seq>,
}

/// Chooses series. It is called for each that is opened, with its id, time and specification.
pub type Wants<'w> = dyn FnMut(Seq, WallMicros, &ArmedSpec) -> bool + 'w;

/// Collects the data of a report.
pub struct Gathering<'w> {
    wants: Box<Wants<'w>>,
    journal: Option<JournalId>,
    first: Option<Seq>,
    last: Option<(Seq, WallMicros, Digest)>,
    known: Vec<Seq>,
    /// The production runs, if one of them is requested.
    runs: Option<(Seq, RunHistory)>,
    key: Option<String>,
    state: Option<State>,
    /// The chosen series and the verifications that may still change.
    ledger: Ledger<Whole>,
    /// Data of the chosen series.
    records: BTreeMap<Seq, Record>,
    ports: HashMap<String, Attached>,
    zeros: HashMap<String, (Seq, WallMicros, Zeroed)>,
    verified: HashMap<String, Verification>,
}

impl<'w> Gathering<'w> {
    /// For the series that `wants` accepts.
    pub fn new(wants: impl FnMut(Seq, WallMicros, &ArmedSpec) -> bool + 'w) -> Self {
        Self {
            wants: Box::new(wants),
            journal: None,
            first: None,
            last: None,
            known: Vec::new(),
            runs: None,
            key: None,
            state: None,
            ledger: Ledger::default(),
            records: BTreeMap::new(),
            ports: HashMap::new(),
            zeros: HashMap::new(),
            verified: HashMap::new(),
        }
    }

    /// Collects a production run too, if one is given.
    #[must_use]
    pub fn with_run(self, run: Option<Seq>) -> Self {
        Self {
            runs: run.map(|run| (run, RunHistory::default())),
            ..self
        }
    }

    /// Collects the state after all entries, if `is_wanted`.
    #[must_use]
    pub fn with_state(self, is_wanted: bool) -> Self {
        Self {
            state: is_wanted.then(State::default),
            ..self
        }
    }

    /// Takes the next entry, with the digest of its line.
    pub fn take(&mut self, stamped: &Stamped, digest: Digest) {
        self.first = self.first.or(Some(stamped.seq));
        self.last = Some((stamped.seq, stamped.at, digest));
        self.keep(stamped);
        if let Some((_, runs)) = &mut self.runs {
            runs.take(stamped);
        }
        if let Some(state) = &mut self.state {
            state.apply(stamped);
        }
        if let Some(journal) = stamped.entry.opens() {
            self.journal = Some(journal.clone());
        }
        let armed = match &stamped.entry {
            Entry::Journal(entry) => {
                self.take_key(entry);
                None
            }
            Entry::Said(_) | Entry::Production(_) => None,
            Entry::Port(entry) => {
                self.take_port(entry);
                None
            }
            Entry::Frame(entry) => {
                self.take_frame(stamped, entry);
                None
            }
            Entry::Series(entry) => match entry {
                SeriesEntry::Armed(spec) => Some(spec),
                SeriesEntry::Completed(completed) => {
                    self.complete(stamped.at, completed);
                    None
                }
                SeriesEntry::Disarmed(_)
                | SeriesEntry::Resumed(_)
                | SeriesEntry::ZeroDue(_)
                | SeriesEntry::Doubted(_)
                | SeriesEntry::Retracted(_)
                | SeriesEntry::Restored(_)
                | SeriesEntry::Looked(_)
                | SeriesEntry::Pulled(_)
                | SeriesEntry::Pictured(_)
                | SeriesEntry::Alerted(_) => None,
            },
        };
        if let Some(series) = self.ledger.take(stamped, Whole::of(stamped))
            && let Some(record) = self.records.get_mut(&series.id)
        {
            record.series = series;
        }
        if let Some(spec) = armed {
            self.arm(stamped, spec);
        }
    }

    /// Notes the signing key, which may have begun before the first segment that still exists.
    fn take_key(&mut self, entry: &JournalEntry) {
        match entry {
            JournalEntry::KeyBegun(begun) => self.key = Some(begun.key.clone()),
            JournalEntry::Segment(segment) => {
                let in_use = segment.state.key.as_ref();
                self.key = in_use.map(|in_use| in_use.key.clone());
            }
            JournalEntry::Begun(_)
            | JournalEntry::Started(_)
            | JournalEntry::Stopped(_)
            | JournalEntry::ClockStepped(_)
            | JournalEntry::Gap(_)
            | JournalEntry::DamageAccepted(_)
            | JournalEntry::RolledBack(_)
            | JournalEntry::Paired(_)
            | JournalEntry::Revoked(_)
            | JournalEntry::TabletSaid(_)
            | JournalEntry::ConfigurationEdited(_)
            | JournalEntry::Sealed(_) => {}
        }
    }

    fn take_port(&mut self, entry: &PortEntry) {
        match entry {
            PortEntry::Attached(attached) => {
                let instrument = attached.instrument.clone();
                self.ports.insert(instrument, attached.clone());
            }
            PortEntry::Detached(_) | PortEntry::AdapterChanged(_) | PortEntry::Disturbed(_) => {}
        }
    }

    fn take_frame(&mut self, stamped: &Stamped, entry: &FrameEntry) {
        match entry {
            FrameEntry::Zeroed(zeroed) => {
                let zero = (stamped.seq, stamped.at, zeroed.clone());
                self.zeros.insert(zeroed.instrument.clone(), zero);
            }
            FrameEntry::Reading(_) | FrameEntry::Unread(_) => {}
        }
    }

    fn complete(&mut self, at: WallMicros, completed: &Completed) {
        if let Some(open) = self.ledger.get(completed.series) {
            for found in verifications(open, at, completed) {
                self.verified.insert(found.instrument.clone(), found);
            }
        }
    }

    fn arm(&mut self, stamped: &Stamped, spec: &ArmedSpec) {
        self.known.push(stamped.seq);
        if !(self.wants)(stamped.seq, stamped.at, spec) {
            if matches!(spec.subject, ArmedSubject::Crimps { .. }) {
                self.ledger.forget(stamped.seq);
            }
            return;
        }
        let Some(series) = self.ledger.get(stamped.seq) else {
            return;
        };
        let names = || spec.instruments.iter().map(|known| &known.name);
        let opening = spec.opening_zeros.iter().filter_map(|opening| {
            let zero = self.zeros.get(&opening.instrument)?;
            (zero.0.0 == opening.zeroed).then(|| zero.clone())
        });
        let record = Record {
            series: series.clone(),
            entries: vec![stamped.clone()],
            ports: names()
                .filter_map(|name| self.ports.get(name).cloned())
                .collect(),
            opening: opening.collect(),
            verified: names()
                .filter_map(|name| self.verified.get(name).cloned())
                .collect(),
        };
        self.records.insert(stamped.seq, record);
    }

    /// Keeps an entry about a series, or about a station with an open series. A note or a picture may be about a
    /// series that is final.
    fn keep(&mut self, stamped: &Stamped) {
        let (series, at) = (stamped.series(), stamped.entry.station());
        let may_be_late = matches!(
            stamped.entry,
            Entry::Said(SaidEntry::Noted(_)) | Entry::Series(SeriesEntry::Pictured(_))
        );
        let settled = series.filter(|_| may_be_late);
        let settled = settled.filter(|series| self.ledger.get(*series).is_none());
        let about = self.ledger.unsettled().filter(|known| match (series, at) {
            (Some(series), _) => series == known.id,
            (None, Some(at)) => known.closed.is_none() && at == known.spec.station,
            (None, None) => known.closed.is_none(),
        });
        for id in about.map(|known| known.id).chain(settled) {
            if let Some(record) = self.records.get_mut(&id) {
                record.entries.push(stamped.clone());
            }
        }
    }

    /// The collected data; `None` for a journal without an entry or identity.
    pub fn finish(self) -> Option<Gathered> {
        let (last, last_at, digest) = self.last?;
        let mut records = self.records;
        for series in self.ledger.finish() {
            if let Some(record) = records.get_mut(&series.id) {
                record.series = series;
            }
        }
        Some(Gathered {
            journal: self.journal?,
            first: self.first?,
            last,
            last_at,
            digest,
            series: records.into_values().collect(),
            key: self.key,
            run: self.runs.and_then(|(run, runs)| runs.run(run).cloned()),
            state: self.state,
            known: self.known,
        })
    }
}

/// The results for each instrument of a series of gauge blocks.
fn verifications(
    series: &Series<Whole>,
    at: WallMicros,
    completed: &Completed,
) -> Vec<Verification> {
    let blocks = series.spec.subject.blocks();
    if blocks.is_empty() {
        return Vec::new();
    }
    let mut worst: Option<(Quantity, Measured)> = None;
    // A reading that was retracted or doubted is no error of the instrument.
    let counted = series.readings.iter();
    for entered in counted.filter(|one| one.disposition == Disposition::Counted) {
        let slot = entered.kept.reading.slot.as_ref();
        let Some(slot) = slot.filter(|slot| slot.verdict.is_some()) else {
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
    let names = series.spec.instruments.iter();
    names
        .map(|known| Verification {
            instrument: known.name.clone(),
            series: series.id,
            at,
            outcome: completed.outcome,
            worst,
        })
        .collect()
}
