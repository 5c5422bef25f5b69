//! Makes an export from the lines of a journal, to write it or to compare it with a file.
//!
//! Rows are the readings that match, each once its series is final. Lines are:
//!
//! - without options, all of them;
//! - with a time only, those of that time;
//! - with other options, those about the series that match; of their readings those that match.

use crate::cli::Failure;
use crate::cli::query::{Filter, Look, Looker, Query, ReadingKeys, Rest, Search, Take, lines};
use crate::config::DaemonConfig;
use crate::entry::glance::Glance;
use crate::entry::ledger::{Disposition, Series, Whole};
use crate::entry::line::Digest;
use crate::entry::{Entry, JournalId, Resumed, SaidEntry, Seq, SeriesEntry, Stamped};
use crate::export::{Given, Question};
use crate::journal::StoredLine;
use crate::row::Row;
use crate::spec::{ArmedSpec, Lots};
use std::collections::BTreeMap;
use std::ops::ControlFlow;

#[derive(Debug, Clone, Default)]
pub(in crate::cli) struct ExportRequest {
    /// Export lines of the journal instead of rows.
    pub(in crate::cli) lines: bool,
    pub(in crate::cli) query: Query,
    /// Only readings that count.
    pub(in crate::cli) counted: bool,
    /// Only series that became final after this entry; series that may still change are left out. Of lines, those after
    /// it.
    pub(in crate::cli) settled_after: Option<Seq>,
}

/// Takes the next line of the journal, with what the looker saw in it.
type TakeLine<'t> = dyn FnMut(StoredLine<'_>, Look) -> Result<ControlFlow<()>, Failure> + 't;

impl ExportRequest {
    /// The request that a question describes; `None` if this release does not know all of its options.
    pub(in crate::cli) fn of(question: &Question) -> Option<Self> {
        let is_known = !(question.of_lines && question.counted);
        let query = Query::of_json(&question.query)?;
        is_known.then_some(Self {
            lines: question.of_lines,
            query,
            counted: question.counted,
            settled_after: question.settled_after.map(Seq),
        })
    }

    /// The request in words: `readings that count, axis=strip_length`.
    pub(in crate::cli) fn words(&self) -> String {
        let what = match (self.lines, self.counted) {
            (true, _) => "entries",
            (false, true) => "readings that count",
            (false, false) => "readings",
        };
        let series = match self.query.series.as_slice() {
            [] => String::new(),
            ids => {
                let ids: Vec<String> = ids.iter().map(u64::to_string).collect();
                format!(" of series {}", ids.join(", "))
            }
        };
        let options = self.query.words();
        let all = if series.is_empty() && options.is_empty() {
            "all "
        } else {
            ""
        };
        format!("{all}{what}{series}{options}")
    }

    /// Makes the export. `walk` provides the lines of the journal, each looked at by the looker that it is given, and `tell`
    /// gets each row or line. Returns the result of `walk`, and the first matching series that is still open.
    pub(in crate::cli) fn make<R>(
        &self,
        daemon: &DaemonConfig,
        journal: &JournalId,
        mut tell: impl FnMut(Given<'_>) -> Result<(), Failure>,
        walk: impl FnOnce(&Looker, &mut TakeLine<'_>) -> Result<R, Failure>,
    ) -> Result<(R, Option<Seq>), Failure> {
        let filter = self.query.filter()?;
        if self.lines {
            let mut chosen = Chosen {
                filter,
                latest: BTreeMap::new(),
            };
            let looker = Looker::of_lines(!filter.is_empty());
            let walked = walk(&looker, &mut |line, look| {
                let wanted = match look {
                    Look::Entry(_, decoded) => {
                        chosen.takes(&lines::understood(daemon, *decoded)?.0)
                    }
                    Look::Reading(..) | Look::Nothing => true,
                };
                if wanted && self.settled_after.is_none_or(|after| line.seq > after) {
                    tell(Given::Line(line.seq, line.bytes))?;
                }
                Ok(ControlFlow::Continue(()))
            })?;
            let open = chosen.matching().map(|series| series.id).min();
            return Ok((walked, open));
        }
        let mut rows = Rows {
            asked: self,
            daemon,
            journal,
            tell,
        };
        let looker = Looker::of_readings(true);
        let mut search = Search::new(daemon, filter, &looker, &mut rows);
        let walked = walk(&looker, &mut |line, look| search.line(line, look))?;
        let open = search.finish()?;
        Ok((walked, open))
    }
}

/// The range of entries that was read.
#[derive(Debug, Default)]
pub(super) struct Range {
    first: Option<Seq>,
    last: Option<Seq>,
    /// The last line.
    bytes: Vec<u8>,
}

impl Range {
    pub(super) fn take(&mut self, line: StoredLine<'_>) {
        self.first.get_or_insert(line.seq);
        self.last = Some(line.seq);
        self.bytes.clear();
        self.bytes.extend_from_slice(line.bytes);
    }

    /// First and last entry, with the digest of the last line. If nothing was read, the entries around that place.
    pub(super) fn ends(&self, before: Seq) -> (Seq, Seq, Digest) {
        let first = self.first.unwrap_or(before.following());
        match self.last {
            Some(last) => (first, last, Digest::of(&self.bytes)),
            None => (first, before, Digest::NONE),
        }
    }
}

/// Collects rows.
struct Rows<'a, T> {
    asked: &'a ExportRequest,
    daemon: &'a DaemonConfig,
    journal: &'a JournalId,
    tell: T,
}

impl<T: FnMut(Given<'_>) -> Result<(), Failure>> Rows<'_, T> {
    fn row(&mut self, row: &Row<'_>, settled: Option<Seq>) -> Result<(), Failure> {
        let after = self.asked.settled_after;
        let is_new = after.is_none_or(|after| settled.is_some_and(|settled| settled > after));
        if !is_new || self.asked.counted && row.standing != Disposition::Counted {
            return Ok(());
        }
        (self.tell)(Given::Row(row))
    }
}

impl<T: FnMut(Given<'_>) -> Result<(), Failure>> Take for Rows<'_, T> {
    type Kept = Whole;

    const WHOLE: bool = true;

    const LOOSE: bool = true;

    fn keep(
        &mut self,
        _: &Series<Whole>,
        _: &Glance<'_>,
        rest: Rest<'_>,
    ) -> Result<Option<Whole>, Failure> {
        rest.whole(self.daemon)
    }

    fn tell(&mut self, series: Series<Whole>) -> Result<(), Failure> {
        let mut readings = series.readings.iter();
        readings.try_for_each(|entered| {
            let row = Row::of(self.journal, &series, entered);
            self.row(&row, series.settled)
        })
    }

    fn loose(&mut self, seq: Seq, reading: &Whole) -> Result<(), Failure> {
        self.row(&Row::loose(self.journal, seq, reading), Some(seq))
    }
}

/// Chooses lines.
struct Chosen<'q> {
    filter: Filter<'q>,
    /// By station: the last series that was armed or resumed, and the one before it, which may be resumed.
    latest: BTreeMap<String, [Option<Matching>; 2]>,
}

/// A series that matches, with who measures in it, and of which lots.
#[derive(Debug)]
struct Matching {
    id: Seq,
    operator: Option<String>,
    lots: Lots,
}

impl Chosen<'_> {
    fn takes(&mut self, stamped: &Stamped) -> bool {
        match &stamped.entry {
            Entry::Series(SeriesEntry::Armed(spec)) => self.armed(stamped.seq, spec),
            Entry::Series(SeriesEntry::Resumed(resumed)) => self.resumed(resumed),
            Entry::Said(SaidEntry::OperatorSaid(said)) => {
                let latest = self.latest.get_mut(&said.station);
                if let Some([Some(series), _]) = latest {
                    series.operator = Some(said.operator.clone());
                }
            }
            Entry::Said(SaidEntry::LotSaid(said)) => {
                let latest = self.latest.get_mut(&said.station);
                if let Some([Some(series), _]) = latest {
                    series.lots.change(said.material, said.lot.clone());
                }
            }
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_)
            | Entry::Production(_) => {}
        }
        (self.is_about_one(stamped) || self.filter.is_empty_but_for_time())
            && self.filter.time(stamped.at)
    }

    fn armed(&mut self, id: Seq, spec: &ArmedSpec) {
        let operator = spec.operator.clone();
        let matching = self.filter.series(id, spec);
        let lots = spec.lots.clone();
        let matching = matching.then_some(Matching { id, operator, lots });
        let [last, before] = self.latest.entry(spec.station.clone()).or_default();
        *before = std::mem::replace(last, matching);
    }

    fn resumed(&mut self, resumed: &Resumed) {
        let Some(latest) = self.latest.get_mut(&resumed.station) else {
            return;
        };
        latest.swap(0, 1);
        if let [Some(series), _] = latest {
            series.operator.clone_from(&resumed.operator);
            series.lots.clone_from(&resumed.lots);
        }
    }

    /// The matching series that later entries may still be about.
    fn matching(&self) -> impl Iterator<Item = &Matching> {
        self.latest.values().flatten().flatten()
    }

    /// Whether an entry is about a matching series; for a reading, whether it matches itself.
    fn is_about_one(&self, stamped: &Stamped) -> bool {
        let reading = stamped.entry.reading();
        let Some(id) = stamped.series() else {
            return reading.is_some_and(|reading| self.filter.loose(stamped.at, reading));
        };
        let Some(series) = self.matching().find(|series| series.id == id) else {
            return false;
        };
        let slot = reading.and_then(|reading| Some((reading, reading.slot.as_ref()?)));
        slot.is_none_or(|(reading, slot)| {
            self.filter.reading(&ReadingKeys {
                axis: slot.axis.as_str(),
                instrument: &reading.instrument,
                operator: series.operator.as_deref(),
                lots: Some(&series.lots),
            })
        })
    }
}
