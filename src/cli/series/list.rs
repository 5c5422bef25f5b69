//! Lists the series of a journal, one on each line: filtered, sorted, limited.

use super::Series;
use crate::cli::columns::Columns;
use crate::cli::query::{Filter, indexed, lines};
use crate::cli::{Context, Exit, Failure, card, configured, pager};
use crate::clock;
use crate::config::DaemonConfig;
use crate::entry::glance::kind;
use crate::entry::history::{History, Listed};
use crate::entry::line::decode;
use crate::entry::words::{self, safe};
use crate::entry::{Outcome, Reservation, Seq, Tally};
use crate::index::{Closing, Facts, Index, Plan, Row};
use crate::message::series::SeriesMessage;
use crate::quantity::{Area, WallMicros, Zone};
use anstyle::Style;
use std::cmp::Reverse;
use std::collections::{BTreeSet, HashMap, HashSet};
use std::io::Write;
use std::ops::ControlFlow;
use std::rc::Rc;

/// The order of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Sort {
    /// When it started
    Opened,
    Station,
    Plan,
    Terminal,
    Tool,
    Operator,
    Outcome,
    /// By the number of failed readings, largest first
    Failed,
}

/// A line of the list.
struct Line {
    series: u64,
    /// Sort key, before the number of the series.
    key: String,
    failed: u32,
    shown: Shown,
}

/// The data with which a series is shown.
enum Shown {
    /// Known from the index alone.
    Known(Closing, WallMicros, Rc<Named>),
    Cells(Box<Cells>),
    Json(Vec<u8>),
}

/// Data that many series have in common.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Named {
    station: String,
    plan: Option<String>,
    terminal: Option<String>,
    wire: Option<Area>,
    tool: Option<String>,
    purpose: String,
}

/// The cells of the table for a series.
struct Cells {
    named: Rc<Named>,
    opened: WallMicros,
    /// `None` while it is open.
    outcome: Option<Outcome>,
    reservations: Vec<Reservation>,
    tally: Tally,
}

const HEADINGS: [&str; 10] = [
    "series", "opened", "station", "plan", "terminal", "wire", "tool", "purpose", "outcome",
    "readings",
];

struct Listing<'l> {
    asked: &'l Series,
    filter: Filter<'l>,
    json: bool,
    zone: Zone,
    lines: Vec<Line>,
    /// The names seen so far, each once.
    named: HashSet<Rc<Named>>,
}

/// Prints the series that match.
pub(super) fn print(
    asked: &Series,
    context: &Context,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let daemon = configured::daemon_of(context)?;
    let mut listing = Listing {
        asked,
        filter: asked.query.filter()?,
        json: context.json,
        zone: clock::zone(),
        lines: Vec::new(),
        named: HashSet::new(),
    };
    let mut all = listing.collect(&daemon, &mut indexed::index(&daemon))?;
    if all.is_none() {
        listing.lines.clear(); // The index is wrong.
        all = listing.collect(&daemon, &mut Index::none(&daemon.state_dir))?;
    }
    listing.print(all.unwrap_or_default(), out)
}

impl Listing<'_> {
    /// Collects the lines to show, and returns their number without the limit; `None` if the index turns out to be
    /// wrong.
    fn collect(
        &mut self,
        daemon: &DaemonConfig,
        index: &mut Index,
    ) -> Result<Option<usize>, Failure> {
        index.each_row(|row| self.take_row(&row));
        let mut unknown = index.unknown();
        unknown.retain(|id| self.is_asked(*id));
        let up_to = index.up_to();
        let plan = index.plan(&unknown);
        if plan.rest() != up_to {
            return Ok(None);
        }
        self.read(daemon, &plan)?;
        self.missing()?;
        self.sort();
        let all = self.lines.len();
        self.lines.truncate(self.asked.limit.unwrap_or(usize::MAX));
        let is_sound = if self.json {
            let unread = self.lines.iter().filter(|line| line.is_unread());
            let unread: BTreeSet<Seq> = unread.map(|line| Seq(line.series)).collect();
            unread.is_empty() || self.fill(daemon, &index.plan(&unread))?
        } else {
            self.fill_cells(index)
        };
        Ok(is_sound.then_some(all))
    }

    /// Takes the series that can only be known by reading them.
    fn read(&mut self, daemon: &DaemonConfig, plan: &Plan) -> Result<(), Failure> {
        let after = self
            .filter
            .after()
            .max(Seq(self.asked.after.unwrap_or_default()));
        if self.json {
            return self.read_whole(daemon, plan, after, |_| true);
        }
        let mut history = History::default();
        // A closed series shows of its readings what the line says that closed it.
        let work = |line: &[u8]| (!is_frame(line)).then(|| decode(line));
        indexed::each_with(daemon, plan, after, work, |line, decoded| {
            let is_needed = decoded.is_some() || history.needs_frames();
            if is_needed {
                let decoded = decoded.unwrap_or_else(|| decode(line.bytes));
                let (stamped, _) = lines::understood(daemon, decoded)?;
                let listed = history.take(&stamped);
                self.take(plan, listed);
            }
            Ok(ControlFlow::Continue(()))
        })?;
        let (closed, open): (Vec<Listed>, Vec<Listed>) = history
            .finish()
            .into_iter()
            .partition(|listed| listed.series.closed.is_some());
        self.take(plan, closed);
        let open: BTreeSet<Seq> = open.iter().map(|listed| listed.series.id).collect();
        match open.first() {
            Some(first) => {
                let after = after.max(Seq(first.0.saturating_sub(1)));
                self.read_whole(daemon, plan, after, |id| open.contains(&id))
            }
            None => Ok(()),
        }
    }

    /// Takes the series that `wanted` says by all their entries.
    fn read_whole(
        &mut self,
        daemon: &DaemonConfig,
        plan: &Plan,
        after: Seq,
        wanted: impl Fn(Seq) -> bool,
    ) -> Result<(), Failure> {
        let mut history = History::default();
        let is_wanted = |listed: &Listed| wanted(listed.series.id);
        indexed::each_after(daemon, plan, after, |stamped, _| {
            let listed = history.take(stamped).filter(is_wanted);
            self.take(plan, listed);
        })?;
        let left = history.finish().into_iter().filter(is_wanted);
        self.take(plan, left);
        Ok(())
    }

    /// Takes series all lines of which were read.
    fn take(&mut self, plan: &Plan, all: impl IntoIterator<Item = Listed>) {
        for listed in all {
            if plan.has(listed.series.id) {
                let line = self.line(&listed);
                self.lines.extend(line);
            }
        }
    }

    /// Reads the verdicts for lines that are known from the index alone; `false` if the index turns out to be wrong.
    fn fill_cells(&mut self, index: &Index) -> bool {
        let unread = self.lines.iter().filter_map(|line| match &line.shown {
            Shown::Known(closing, ..) => Some(*closing),
            Shown::Cells(_) | Shown::Json(_) => None,
        });
        let closings: Vec<Closing> = unread.collect();
        let sort = self.asked.sort;
        let mut lines = self.lines.iter_mut().filter(|line| line.is_unread());
        let mut is_sound = true;
        let are_there = index.each_closing(&closings, |completed| {
            let Some(line) = lines.next() else { return };
            let Shown::Known(_, opened, named) = &line.shown else {
                return;
            };
            is_sound &= completed.station == named.station
                && completed.tally.failed == line.failed
                && (sort != Sort::Outcome || completed.outcome.name() == line.key);
            line.shown = Shown::Cells(Box::new(Cells {
                named: Rc::clone(named),
                opened: *opened,
                outcome: Some(completed.outcome),
                reservations: completed.reservations().to_vec(),
                tally: completed.tally,
            }));
        });
        are_there && is_sound
    }

    /// Reads the whole series for lines that are known from the index alone; `false` if the index turns out to be
    /// wrong.
    fn fill(&mut self, daemon: &DaemonConfig, plan: &Plan) -> Result<bool, Failure> {
        let at = self.lines.iter().enumerate();
        let mut unread: HashMap<u64, usize> = at
            .filter(|(_, line)| line.is_unread())
            .map(|(at, line)| (line.series, at))
            .collect();
        let mut is_sound = true;
        let mut history = History::default();
        indexed::each_before_the_rest(daemon, plan, |stamped, _| {
            let listed = history.take(stamped);
            if let Some(listed) = listed
                && let Some(at) = unread.remove(&listed.series.id.0)
            {
                let read = self.line(&listed);
                match (self.lines.get_mut(at), read) {
                    (Some(known), Some(read))
                        if known.key == read.key && known.failed == read.failed =>
                    {
                        *known = read;
                    }
                    (_, _) => is_sound = false,
                }
            }
        })?;
        Ok(is_sound && unread.is_empty())
    }

    /// Whether a series of this number can be requested.
    fn is_asked(&self, id: Seq) -> bool {
        let ids = self.filter.ids();
        id.0 > self.asked.after.unwrap_or_default() && (ids.is_empty() || ids.contains(&id.0))
    }

    fn take_row(&mut self, row: &Row<'_>) {
        let outcome = row.outcome.name();
        let is_it = self
            .asked
            .outcome
            .as_ref()
            .is_none_or(|only| only == outcome);
        if !self.is_asked(row.id) || !is_it || !self.filter.lists(row) {
            return;
        }
        let facts = row.facts;
        let key = match self.asked.sort {
            Sort::Opened | Sort::Failed => None,
            Sort::Station => Some(&facts.station),
            Sort::Plan => facts.plan.as_ref(),
            Sort::Terminal => facts.terminal.as_ref(),
            Sort::Tool => facts.tool.as_ref(),
            Sort::Operator => facts.operator.as_ref(),
            Sort::Outcome => Some(&outcome.to_owned()),
        };
        let named = self.named(Named::from(facts));
        self.lines.push(Line {
            series: row.id.0,
            key: key.cloned().unwrap_or_default(),
            failed: row.failed,
            shown: Shown::Known(row.closing, row.times.opened, named),
        });
    }

    /// The line of a series; `None` if it does not match.
    fn line(&self, listed: &Listed) -> Option<Line> {
        let message = &SeriesMessage::new(listed);
        let outcome = message.outcome.unwrap_or("open");
        let is_it = self
            .asked
            .outcome
            .as_ref()
            .is_none_or(|only| only == outcome);
        if !self.is_asked(listed.series.id) || !is_it || !self.filter.could_match(listed) {
            return None;
        }
        let shown = if self.json {
            Shown::Json(crate::message::line(message))
        } else {
            Shown::Cells(Box::new(Cells::of(listed)))
        };
        Some(Line {
            series: message.series,
            key: self.key(message, outcome),
            failed: message.tally.failed,
            shown,
        })
    }

    /// The same names, shared if they were seen before.
    fn named(&mut self, named: Named) -> Rc<Named> {
        if let Some(known) = self.named.get(&named) {
            return Rc::clone(known);
        }
        let named = Rc::new(named);
        self.named.insert(Rc::clone(&named));
        named
    }

    fn key(&self, message: &SeriesMessage, outcome: &str) -> String {
        let armed = &message.armed;
        let key = match self.asked.sort {
            Sort::Opened | Sort::Failed => None,
            Sort::Station => Some(message.station.as_str()),
            Sort::Plan => armed.plan.as_deref(),
            Sort::Terminal => armed.terminal.as_deref(),
            Sort::Tool => armed.tool.as_ref().map(|tool| tool.id.as_str()),
            Sort::Operator => message.operator.as_deref(),
            Sort::Outcome => Some(outcome),
        };
        key.unwrap_or_default().to_owned()
    }

    /// Fails for requested numbers that are not series of this journal.
    fn missing(&self) -> Result<(), Failure> {
        let shown = |id: &&u64| self.lines.iter().all(|line| line.series != **id);
        match self.asked.query.series.iter().find(shown) {
            None => Ok(()),
            Some(id) => Err(Failure::usage(format!(
                "no series {id} in this journal that matches the options"
            ))
            .with_remedy("list them: tallyjaw series")),
        }
    }

    fn sort(&mut self) {
        if self.asked.sort == Sort::Failed {
            self.lines
                .sort_by_key(|line| (Reverse(line.failed), line.series));
        } else {
            self.lines
                .sort_by(|a, b| (&a.key, a.series).cmp(&(&b.key, b.series)));
        }
        if self.asked.reverse {
            self.lines.reverse();
        }
    }

    fn print(self, all: usize, out: &mut dyn Write) -> Result<Exit, Failure> {
        let left_out = all - self.lines.len();
        if self.json {
            for line in &self.lines {
                if let Shown::Json(json) = &line.shown {
                    out.write_all(json)?;
                }
            }
            return Ok(Exit::Yes);
        }
        if all == 0 {
            let none = if self.filter.is_empty() && self.asked.outcome.is_none() {
                "no series yet; start one: tallyjaw arm PLAN"
            } else {
                "no series matches these options; `tallyjaw series` lists all"
            };
            writeln!(out, "{none}")?;
            return Ok(Exit::Yes);
        }
        let row = |at: usize| {
            let line = self.lines.get(at);
            line.map_or_else(Vec::new, |line| line.cells(&self.zone))
        };
        let mut text = Vec::new();
        Columns::write_made(&HEADINGS, self.lines.len(), row, &mut text)?;
        if left_out > 0 {
            writeln!(text, "and {left_out} more")?;
        }
        pager::show(&text, out)?;
        Ok(Exit::Yes)
    }
}

/// Whether a line is a reading or a zero.
fn is_frame(line: &[u8]) -> bool {
    matches!(kind(line), Some("reading" | "zeroed"))
}

impl From<&Facts> for Named {
    fn from(facts: &Facts) -> Self {
        Self {
            station: facts.station.clone(),
            plan: facts.plan.clone(),
            terminal: facts.terminal.clone(),
            wire: facts.wire(),
            tool: facts.tool.clone(),
            purpose: facts.purpose.clone(),
        }
    }
}

impl Cells {
    fn of(Listed { series, state }: &Listed) -> Self {
        let spec = &state.spec;
        let crimp = spec.subject.crimp();
        let completed = series.closed.as_ref().map(|closed| &closed.completed);
        Self {
            named: Rc::new(Named {
                station: spec.station.clone(),
                plan: spec.plan.clone(),
                terminal: crimp.map(|crimp| crimp.terminal.clone()),
                wire: crimp.map(|crimp| crimp.wire.area),
                tool: spec.tool.as_ref().map(|tool| tool.id.clone()),
                purpose: spec.purpose.name().to_owned(),
            }),
            opened: state.since,
            outcome: completed.map(|completed| completed.outcome),
            reservations: completed.map_or_else(Vec::new, |one| one.reservations().to_vec()),
            tally: completed.map_or(state.tally, |completed| completed.tally),
        }
    }
}

impl Line {
    const fn is_unread(&self) -> bool {
        matches!(self.shown, Shown::Known(..))
    }

    fn cells(&self, zone: &Zone) -> Vec<(String, Style)> {
        let Shown::Cells(cells) = &self.shown else {
            return Vec::new();
        };
        let Cells { named, .. } = &**cells;
        let outcome = cells.outcome.map_or("open", Outcome::name);
        let plain = [
            self.series.to_string(),
            cells.opened.local_minute(zone),
            safe(&named.station),
            named.plan.as_deref().map(safe).unwrap_or_default(),
            named
                .terminal
                .as_deref()
                .map_or("gauge blocks".to_owned(), safe),
            named.wire.map(|wire| wire.to_string()).unwrap_or_default(),
            named.tool.as_deref().map(safe).unwrap_or_default(),
            named.purpose.replace('_', " "),
        ];
        let mut plain: Vec<_> = plain.map(|text| (text, Style::new())).into();
        let mut all = Vec::from(Reservation::ALL);
        all.retain(|one| cells.reservations.contains(one));
        let beside = words::beside(&all);
        let words = format!("{}{beside}", card::outcome_words(outcome));
        plain.push((words, card::outcome_style(outcome)));
        plain.push((words::tally(cells.tally), Style::new()));
        plain
    }
}
