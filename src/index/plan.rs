//! The ranges of entries that are read for some series.

use super::file::Within;
use super::{Index, Known};
use crate::entry::Seq;
use crate::journal::{Block, Cursor, JournalError, Line};
use crate::quantity::WallMicros;
use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};

/// Ranges that are this close are read as one, because seeking costs more.
pub(super) const NEAR: u64 = 64;

/// Room for a line of a range, most of which are readings.
const LINE_BYTES: usize = 1024;

/// The lines to read for some series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Plan {
    state_dir: PathBuf,
    /// First and last entry of each range, ascending and without overlap.
    ranges: Vec<(Seq, Seq)>,
    /// Everything after this entry is read too.
    rest: Seq,
    /// The series before that entry of which every line is read.
    whole: BTreeSet<Seq>,
}

impl Plan {
    /// Whether every line of this series is read. Other series may be incomplete.
    pub(crate) fn has(&self, series: Seq) -> bool {
        series > self.rest || self.whole.contains(&series)
    }

    /// The entry after which everything is read.
    pub(crate) const fn rest(&self) -> Seq {
        self.rest
    }

    /// A plan that reads everything.
    pub(crate) fn of_everything(state_dir: &Path) -> Self {
        Self {
            state_dir: state_dir.to_owned(),
            ranges: Vec::new(),
            rest: Seq(0),
            whole: BTreeSet::new(),
        }
    }

    /// To read the rest from this series on. For one series that is alone in the plan: nothing in the rest before it is about
    /// it.
    #[must_use]
    pub(crate) fn starting_at(self, series: Seq) -> Self {
        Self {
            rest: self.rest.max(Seq(series.0.saturating_sub(1))),
            ..self
        }
    }

    /// Number of entries before the rest.
    pub(crate) fn entries(&self) -> u64 {
        let ranges = self.ranges.iter();
        ranges
            .map(|(from, to)| to.0.saturating_sub(from.0).saturating_add(1))
            .sum()
    }
}

/// The lines of a plan in order, the rest included.
#[derive(Debug)]
pub(crate) struct Planned<'p> {
    left: &'p [(Seq, Seq)],
    /// Reads the ranges.
    before: Cursor,
    rest: Cursor,
    durable: Seq,
}

impl Planned<'_> {
    /// The next line up to the durable entry; `None` after the last one.
    pub(crate) fn next_line(&mut self) -> Result<Option<Line>, JournalError> {
        while let Some(((from, to), after)) = self.left.split_first() {
            self.before.skip_to(*from)?;
            if let Some(line) = self.before.next_line(*to)? {
                return Ok(Some(line));
            }
            self.left = after;
        }
        self.rest.next_line(self.durable)
    }

    /// The next lines, as [`Cursor::next_block`] gives them.
    pub(crate) fn next_block(&mut self, buffer: Vec<u8>) -> Result<Option<Block>, JournalError> {
        let mut buffer = Some(buffer);
        while let Some(((from, to), after)) = self.left.split_first() {
            self.before.skip_to(*from)?;
            let mut buffer = buffer.take().unwrap_or_default();
            let entries = usize::try_from(to.0.saturating_sub(from.0)).unwrap_or(usize::MAX);
            buffer.truncate(entries.saturating_add(1).saturating_mul(LINE_BYTES));
            let block = self.before.next_block(*to, buffer)?;
            let is_whole = |block: &Block| block.last().is_some_and(|last| last >= *to);
            if block.as_ref().is_none_or(is_whole) {
                self.left = after;
            }
            if block.is_some() {
                return Ok(block);
            }
        }
        self.rest
            .next_block(self.durable, buffer.unwrap_or_default())
    }

    /// Number of bytes after the ranges, at present.
    pub(crate) fn bytes_ahead(&mut self) -> Result<u64, JournalError> {
        self.rest.bytes_ahead()
    }
}

impl Plan {
    /// The lines of the plan after entry `after`, up to the `durable` one.
    pub(crate) fn lines(&self, after: Seq, durable: Seq) -> Result<Planned<'_>, JournalError> {
        let known = self.ranges.partition_point(|(_, to)| *to <= after);
        Ok(Planned {
            left: self.ranges.get(known..).unwrap_or_default(),
            before: Cursor::new(&self.state_dir, after)?,
            rest: Cursor::new(&self.state_dir, self.rest.max(after))?,
            durable,
        })
    }
}

impl Index {
    /// The plan for these series alone.
    pub(crate) fn plan(&mut self, series: &BTreeSet<Seq>) -> Plan {
        self.planned(series, false)
    }

    /// The plan for reports of these series, which also need earlier entries: the ports of the instruments, their last
    /// verification, and zeros that open the series too.
    pub(crate) fn plan_of_reports(&mut self, series: &BTreeSet<Seq>) -> Plan {
        self.planned(series, true)
    }

    /// The plan for the readings of these series, and for those that belong to no series. `loose` selects ranges of the
    /// latter by their earliest and latest time.
    pub(crate) fn plan_of_readings(
        &mut self,
        series: &BTreeSet<Seq>,
        loose: impl Fn(WallMicros, WallMicros) -> bool,
    ) -> Plan {
        let mut plan = self.plan(series);
        let all = self.known.iter().flat_map(|known| &known.across.loose);
        let chosen = all.filter(|one| loose(WallMicros(one.earliest), WallMicros(one.latest)));
        plan.ranges.extend(chosen.map(|one| (one.from, one.to)));
        plan.ranges = merged(plan.ranges);
        plan
    }

    fn planned(&mut self, series: &BTreeSet<Seq>, with_context: bool) -> Plan {
        let mut ranges = Vec::new();
        if let Some(known) = self.known.first() {
            ranges.push((known.of.first, known.of.first)); // The first line names the journal.
        }
        let mut wanted = series.clone();
        if with_context {
            self.add_context(&mut wanted, &mut ranges);
        }
        let loaded = self.load(&wanted);
        for (known, within) in self.known.iter().zip(&loaded) {
            let rows = within.iter().flat_map(|within| {
                let ids = wanted.range(known.of.first..=known.of.last);
                ids.filter_map(|id| within.row(*id))
            });
            ranges.extend(rows.map(|row| (row.id, row.to)));
            let across = &known.across;
            let spans = across.spans.iter().filter(|span| wanted.contains(&span.id));
            ranges.extend(spans.map(|span| (span.from, span.to)));
            let late = across.late.iter().filter(|(of, _)| series.contains(of));
            ranges.extend(late.map(|(_, at)| (*at, *at)));
        }
        let rest = self.up_to();
        ranges.retain(|(from, to)| from <= to && *to <= rest);
        Plan {
            state_dir: self.state_dir.clone(),
            ranges: merged(ranges),
            rest,
            whole: series.clone(),
        }
    }

    /// Loads the series of the segments in which requested ones begin. The index ends before a segment whose index has
    /// changed meanwhile.
    fn load(&mut self, wanted: &BTreeSet<Seq>) -> Vec<Option<Within>> {
        let mut loaded = Vec::new();
        for known in &self.known {
            let mut here = wanted.range(known.of.first..=known.of.last);
            if here.next().is_none() {
                loaded.push(None);
                continue;
            }
            match known.within(&self.state_dir) {
                Some(within) => loaded.push(Some(within)),
                None => break,
            }
        }
        self.known.truncate(loaded.len());
        loaded
    }

    /// Adds the earlier entries and series of gauge blocks that reports of these series need.
    fn add_context(&mut self, wanted: &mut BTreeSet<Seq>, ranges: &mut Vec<(Seq, Seq)>) {
        let loaded = self.load(wanted);
        let mut ports: HashMap<&str, Seq> = HashMap::new();
        let mut verified: HashMap<&str, Seq> = HashMap::new();
        let mut last_zeros: HashMap<&str, Seq> = HashMap::new();
        let mut blocks: BTreeSet<Seq> = BTreeSet::new();
        for (Known { of, across, .. }, within) in self.known.iter().zip(&loaded) {
            let mut attached = across.attached.iter().peekable();
            let mut checks = across.verified.iter().peekable();
            let mut pass = |id: Seq, ports: &mut HashMap<_, _>, verified: &mut HashMap<_, _>| {
                while let Some((name, at)) = attached.next_if(|(_, at)| *at < id) {
                    ports.insert(&**name, *at);
                }
                while let Some((series, _, names)) = checks.next_if(|(_, at, _)| *at < id) {
                    verified.extend(names.iter().map(|name| (&**name, *series)));
                }
            };
            for id in wanted.range(of.first..=of.last) {
                pass(*id, &mut ports, &mut verified);
                let row = within.as_ref().and_then(|within| {
                    let row = within.row(*id)?;
                    Some((&within.facts.get(row.facts)?.instruments, row.zeros))
                });
                let spans = across.spans.iter();
                let span = || {
                    let mut begun = spans.filter(|span| span.id == *id);
                    begun.next().map(|span| (&span.instruments, span.zeros))
                };
                let Some((instruments, zeros)) = row.or_else(span) else {
                    continue;
                };
                ranges.extend(zeros.map(|zero| (zero, *id)));
                for name in instruments {
                    ranges.extend(ports.get(&**name).map(|at| (*at, *at)));
                    blocks.extend(verified.get(&**name));
                }
            }
            pass(of.last.following(), &mut ports, &mut verified);
            let zeros = across.zeros.iter();
            last_zeros.extend(zeros.map(|(name, at)| (&**name, *at)));
        }
        // Series after the index may need them too.
        let entries = ports.values().chain(last_zeros.values());
        ranges.extend(entries.map(|at| (*at, *at)));
        blocks.extend(verified.values());
        wanted.extend(blocks);
    }
}

/// The same entries as ranges that are ascending and do not overlap.
fn merged(mut ranges: Vec<(Seq, Seq)>) -> Vec<(Seq, Seq)> {
    ranges.sort_unstable();
    let mut apart: Vec<(Seq, Seq)> = Vec::new();
    for (from, to) in ranges {
        match apart.last_mut() {
            Some((_, last)) if from.0 <= last.0.saturating_add(NEAR) => *last = (*last).max(to),
            Some(_) | None => apart.push((from, to)),
        }
    }
    apart
}
