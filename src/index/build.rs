//! Makes the index of one segment, from that segment alone: it begins with the whole state.
//!
//! A series is alive at its station from its `armed` entry until it can no longer be resumed. Only entries in between
//! can change it, and the lines from the first to the last of these form one span. Later entries about it (a picture, a
//! note, its production run) name it, and are stored one by one.
//!
//! A segment that contradicts the rules of the bench has no index, and is read as a whole.

use super::facts::{Facts, Row, Times};
use super::file::{Across, Span, Within};
use crate::entry::ledger::{Ledger, Series};
use crate::entry::line::decode;
use crate::entry::state::SeriesState;
use crate::entry::{
    Entry, FrameEntry, JournalEntry, PortEntry, ProductionEntry, SaidEntry, Seq, SeriesEntry,
    Stamped, State,
};
use crate::journal::{Dir, Identity, JournalError, SegmentNumber};
use crate::quantity::WallMicros;
use crate::spec::ArmedSpec;
use std::collections::{BTreeMap, HashMap};

/// The index of a segment.
pub(super) struct Built {
    pub(super) of: Identity,
    /// `None` if the segment cannot have an index.
    pub(super) made: Option<(Across, Within)>,
}

/// Reads a segment and makes its index; `None` if the segment is changed meanwhile, or if `go_on`, which is called for
/// each line, returns `false`.
pub(super) fn build(
    dir: &Dir,
    number: SegmentNumber,
    go_on: &(dyn Fn() -> bool + Sync),
) -> Result<Option<Built>, JournalError> {
    let Some(of) = dir.identity(number)? else {
        return Ok(None);
    };
    let mut reading = Reading::default();
    let (mut want, mut at) = (of.first, 0_u64);
    let is_whole = dir.each_line(number, |line| {
        let stamped = decode(line).map(|(stamped, _)| stamped);
        let is_next = |stamped: &Stamped| {
            stamped.seq == want && stamped.entry.opens().is_some() == (want == of.first)
        };
        let taken = stamped.ok().filter(is_next);
        let is_taken = taken.is_some_and(|stamped| reading.take(&stamped, at));
        want = want.following();
        at += u64::try_from(line.len()).unwrap_or(u64::MAX) + 1;
        is_taken && go_on()
    })?;
    if !go_on() || dir.identity(number)?.as_ref() != Some(&of) {
        return Ok(None);
    }
    let is_sound = is_whole && want == of.last.following();
    let made = is_sound.then(|| reading.finish());
    Ok(Some(Built { of, made }))
}

/// A series that was seen in the segment.
struct Seen {
    from: Seq,
    to: Seq,
    instruments: Vec<String>,
    zeros: Option<Seq>,
    /// The entry that last closed it, and the offset of its line.
    closed: Option<(Seq, u64)>,
    earliest: WallMicros,
    latest: WallMicros,
    /// The series from the ledger, once nothing can change it.
    settled: Option<Series<()>>,
    /// The clock was set while it was alive, so its times are not those of its entries.
    is_shifted: bool,
}

#[derive(Default)]
struct Reading {
    state: State,
    ledger: Ledger<()>,
    seen: BTreeMap<Seq, Seen>,
    across: Across,
}

/// The effect of an entry on the index, apart from the series that it names ([`Stamped::series`]).
enum Means<'e> {
    /// It affects only a series that is alive.
    Nothing,
    /// A series begins; no other may be open at the station.
    Begins,
    /// A series ends; it must be the one that is open at the station.
    Ends(Seq),
    /// A stopped series is resumed; it must be the one that the station can resume.
    GoesOn(Seq),
    /// A port was opened. Reports of later series with this instrument name it.
    Port(&'e str),
    /// A zero. It may also open the next series, whose `armed` entry names it.
    Zero(&'e str),
    /// The times of all open series change.
    Clock,
}

/// The effect of every kind of entry, apart from the series that is alive at its station.
///
/// A new kind that refers to earlier entries must name its series in [`Stamped::series`], or get a variant here. The
/// entries before a series that `report` needs (ports, opening zeros, verifications) are found by `plan`. Production
/// runs have no index.
fn means(entry: &Entry) -> Means<'_> {
    match entry {
        Entry::Journal(entry) => match entry {
            JournalEntry::ClockStepped(_) => Means::Clock,
            JournalEntry::Begun(_)
            | JournalEntry::Segment(_)
            | JournalEntry::Started(_)
            | JournalEntry::Stopped(_)
            | JournalEntry::Gap(_)
            | JournalEntry::DamageAccepted(_)
            | JournalEntry::RolledBack(_)
            | JournalEntry::Paired(_)
            | JournalEntry::Revoked(_)
            | JournalEntry::TabletSaid(_)
            | JournalEntry::ConfigurationEdited(_)
            | JournalEntry::KeyBegun(_)
            | JournalEntry::Sealed(_) => Means::Nothing,
        },
        Entry::Port(entry) => match entry {
            PortEntry::Attached(attached) => Means::Port(&attached.instrument),
            PortEntry::Detached(_) | PortEntry::AdapterChanged(_) | PortEntry::Disturbed(_) => {
                Means::Nothing
            }
        },
        // an operator, a tool, a job, a lot: they affect the open series of the station; a note may name an earlier one
        Entry::Said(entry) => match entry {
            SaidEntry::AdapterSaid(_)
            | SaidEntry::ZeroSaid(_)
            | SaidEntry::OperatorSaid(_)
            | SaidEntry::ToolSaid(_)
            | SaidEntry::JobSaid(_)
            | SaidEntry::LotSaid(_)
            | SaidEntry::Noted(_)
            | SaidEntry::Refused(_) => Means::Nothing,
        },
        Entry::Frame(entry) => match entry {
            FrameEntry::Zeroed(zeroed) => Means::Zero(&zeroed.instrument),
            FrameEntry::Reading(_) | FrameEntry::Unread(_) => Means::Nothing,
        },
        Entry::Series(entry) => match entry {
            SeriesEntry::Armed(_) => Means::Begins,
            SeriesEntry::Completed(completed) => Means::Ends(completed.series),
            SeriesEntry::Resumed(resumed) => Means::GoesOn(resumed.series),
            // these change readings of a series that is alive
            SeriesEntry::Doubted(_)
            | SeriesEntry::Retracted(_)
            | SeriesEntry::Restored(_)
            | SeriesEntry::Looked(_)
            | SeriesEntry::Pulled(_)
            | SeriesEntry::Pictured(_)
            | SeriesEntry::Disarmed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Alerted(_) => Means::Nothing,
        },
        // they name the series of their samples
        Entry::Production(entry) => match entry {
            ProductionEntry::RunOpened(_)
            | ProductionEntry::Crimped(_)
            | ProductionEntry::SampleDue(_)
            | ProductionEntry::Held(_)
            | ProductionEntry::Settled(_)
            | ProductionEntry::RunClosed(_) => Means::Nothing,
        },
    }
}

/// The series that are alive at a station: the open one and the one that can be resumed.
fn alive<'s>(state: &'s State, station: &str) -> impl Iterator<Item = &'s SeriesState> {
    let known = state.stations.get(station);
    let open = known.and_then(|known| known.series.as_ref());
    let stopped = known.and_then(|known| known.stopped.as_ref());
    open.into_iter()
        .chain(stopped.map(|stopped| &stopped.series))
}

impl Reading {
    /// Takes the next entry, whose line is at this offset; `false` if it contradicts the rules of the bench.
    fn take(&mut self, stamped: &Stamped, offset: u64) -> bool {
        let Stamped { seq, entry, .. } = stamped;
        let station = entry.station();
        let open = station.and_then(|name| self.state.stations.get(name)?.series.as_ref());
        let mut about: Vec<Seq> = station.map_or_else(Vec::new, |station| {
            alive(&self.state, station).map(|one| one.id).collect()
        });
        let is_sound = match means(entry) {
            Means::Nothing => true,
            Means::Begins => open.is_none(),
            Means::Ends(series) => {
                let it = open.filter(|open| open.id == series);
                if let Some(blocks) = it.filter(|it| !it.spec.subject.blocks().is_empty()) {
                    let names = instruments(&blocks.spec);
                    self.across.verified.push((series, *seq, names));
                }
                let is_it = it.is_some();
                if let Some(seen) = self.seen.get_mut(&series) {
                    seen.closed = Some((*seq, offset));
                }
                is_it
            }
            Means::GoesOn(series) => open.is_none() && about == [series],
            Means::Port(instrument) => {
                self.across.attached.push((instrument.to_owned(), *seq));
                true
            }
            Means::Zero(instrument) => {
                self.across.zeros.insert(instrument.to_owned(), *seq);
                true
            }
            Means::Clock => {
                for living in self.living() {
                    if let Some(seen) = self.seen.get_mut(&living) {
                        seen.is_shifted = true;
                    }
                }
                true
            }
        };
        if entry
            .reading()
            .is_some_and(|reading| reading.slot.is_none())
        {
            self.across.note_loose(*seq, stamped.at);
        }
        self.state.apply(stamped);
        if entry.opens().is_some() {
            about.extend(self.living());
        }
        if let Some(station) = station {
            about.extend(alive(&self.state, station).map(|one| one.id));
        }
        for id in &about {
            self.see(*id, stamped);
        }
        let late = stamped.series().filter(|series| !about.contains(series));
        self.across.late.extend(late.map(|series| (series, *seq)));
        let settled = self.ledger.take(stamped, None);
        if let Some(settled) = settled
            && let Some(seen) = self.seen.get_mut(&settled.id)
        {
            seen.settled = Some(settled);
        }
        is_sound
    }

    /// The series that are alive at any station.
    fn living(&self) -> Vec<Seq> {
        let stations = self.state.stations.keys();
        stations
            .flat_map(|station| alive(&self.state, station).map(|one| one.id))
            .collect()
    }

    /// Notes an entry of a series.
    fn see(&mut self, id: Seq, stamped: &Stamped) {
        let Stamped { seq, at, .. } = stamped;
        if let Some(seen) = self.seen.get_mut(&id) {
            seen.to = *seq;
            seen.earliest = seen.earliest.min(*at);
            seen.latest = seen.latest.max(*at);
            return;
        }
        let stations = self.state.stations.keys();
        let mut all = stations.flat_map(|station| alive(&self.state, station));
        let Some(found) = all.find(|found| found.id == id) else {
            return;
        };
        let zeros = found.spec.opening_zeros.iter();
        let seen = Seen {
            from: *seq,
            to: *seq,
            instruments: instruments(&found.spec),
            zeros: zeros.map(|zero| Seq(zero.zeroed)).min(),
            closed: None,
            earliest: *at,
            latest: *at,
            settled: None,
            is_shifted: false,
        };
        self.seen.insert(id, seen);
    }

    fn finish(mut self) -> (Across, Within) {
        for id in self.living() {
            if let (Some(seen), Some(last)) = (self.seen.get_mut(&id), self.state.last) {
                seen.to = last;
                seen.settled = None;
            }
        }
        let mut places = HashMap::new();
        let mut rows = Vec::new();
        for (id, seen) in self.seen {
            match seen.row(id, &mut places) {
                Some(row) => rows.push(row),
                None => self.across.spans.push(Span {
                    id,
                    from: seen.from,
                    to: seen.to,
                    instruments: seen.instruments,
                    zeros: seen.zeros,
                }),
            }
        }
        let mut facts: Vec<(Facts, usize)> = places.into_iter().collect();
        facts.sort_by_key(|(_, place)| *place);
        let facts = facts.into_iter().map(|(facts, _)| facts).collect();
        (self.across, Within { facts, rows })
    }
}

impl Seen {
    /// The row of a series within the segment; `None` if it is not within it, or if its times were changed.
    fn row(&self, id: Seq, places: &mut HashMap<Facts, usize>) -> Option<Row> {
        let settled = self.settled.as_ref()?;
        let closed = settled.closed.as_ref()?;
        if self.from != id || self.is_shifted || settled.settled != Some(self.to) {
            return None;
        }
        let next = places.len();
        Some(Row {
            id,
            to: self.to,
            facts: *places.entry(Facts::of(settled)).or_insert(next),
            times: Times {
                opened: settled.opened,
                closed: closed.at,
                earliest: self.earliest,
                latest: self.latest,
            },
            outcome: closed.completed.outcome,
            failed: closed.completed.tally.failed,
            zeros: self.zeros,
            closed: self.closed?,
        })
    }
}

fn instruments(spec: &ArmedSpec) -> Vec<String> {
    let all = spec.instruments.iter();
    all.map(|one| one.name.clone()).collect()
}
