//! Lists the series of a journal, one on each line: filtered, sorted, limited.

use super::Series;
use crate::cli::columns::Columns;
use crate::cli::query::{Filter, indexed};
use crate::cli::{Context, Exit, Failure, card, client, pager};
use crate::config::DaemonConfig;
use crate::daemon::clock;
use crate::entry::Seq;
use crate::entry::history::{History, Listed};
use crate::entry::words::{self, safe};
use crate::index::{Index, Plan, Row};
use crate::message::series::SeriesMessage;
use crate::quantity::Zone;
use anstyle::Style;
use std::cmp::Reverse;
use std::collections::{BTreeSet, HashMap};
use std::io::Write;

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
    /// How it is shown; `None` as long as only the index was read.
    shown: Option<Shown>,
}

struct Shown {
    cells: Vec<(String, Style)>,
    json: Vec<u8>,
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
}

/// Prints the series that match.
pub(super) fn print(
    asked: &Series,
    context: &Context,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let daemon = client::daemon_of(context)?;
    let mut listing = Listing {
        asked,
        filter: asked.query.filter()?,
        json: context.json,
        zone: clock::zone(),
        lines: Vec::new(),
    };
    let mut all = listing.collect(&daemon, &mut indexed::index(&daemon))?;
    if all.is_none() {
        listing.lines.clear(); // The index is wrong.
        all = listing.collect(&daemon, &mut Index::none(&daemon.state_dir))?;
    }
    listing.print(all.unwrap_or_default(), out)
}

impl Listing<'_> {
    /// Collects the lines to show, and returns how many there are without the limit; `None` if the journal is not as
    /// the index says.
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
        let unread = self.lines.iter().filter(|line| line.shown.is_none());
        let unread: BTreeSet<Seq> = unread.map(|line| Seq(line.series)).collect();
        let is_sound = unread.is_empty() || self.fill(daemon, &index.plan(&unread))?;
        Ok(is_sound.then_some(all))
    }

    /// Takes what can only be known by reading it.
    fn read(&mut self, daemon: &DaemonConfig, plan: &Plan) -> Result<(), Failure> {
        let mut history = History::default();
        let take = |this: &mut Self, listed: &Listed| {
            if plan.has(listed.series.id) {
                let line = this.line(listed);
                this.lines.extend(line);
            }
        };
        let after = self
            .filter
            .after()
            .max(Seq(self.asked.after.unwrap_or_default()));
        indexed::each_after(daemon, plan, after, |stamped, _| {
            if let Some(listed) = history.take(stamped) {
                take(self, &listed);
            }
        })?;
        for listed in &history.finish() {
            take(self, listed);
        }
        Ok(())
    }

    /// Reads what is shown of lines that are known by the index alone; `false` if the journal is not as the index says.
    fn fill(&mut self, daemon: &DaemonConfig, plan: &Plan) -> Result<bool, Failure> {
        let at = self.lines.iter().enumerate();
        let mut unread: HashMap<u64, usize> = at
            .filter(|(_, line)| line.shown.is_none())
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
        self.lines.push(Line {
            series: row.id.0,
            key: key.cloned().unwrap_or_default(),
            failed: row.failed,
            shown: None,
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
        let json = if self.json {
            crate::message::line(message)
        } else {
            Vec::new()
        };
        Some(Line {
            series: message.series,
            key: self.key(message, outcome),
            failed: message.tally.failed,
            shown: Some(Shown {
                cells: cells(listed, message, outcome, &self.zone),
                json,
            }),
        })
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
        let shown = self.lines.into_iter().filter_map(|line| line.shown);
        if self.json {
            for line in shown {
                out.write_all(&line.json)?;
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
        let mut table = Columns::new(&HEADINGS);
        for line in shown {
            table.styled(line.cells);
        }
        let mut text = Vec::new();
        table.write(&mut text)?;
        if left_out > 0 {
            writeln!(text, "and {left_out} more")?;
        }
        pager::show(&text, out)?;
        Ok(Exit::Yes)
    }
}

fn cells(
    listed: &Listed,
    series: &SeriesMessage,
    outcome: &str,
    zone: &Zone,
) -> Vec<(String, Style)> {
    let (armed, spec) = (&series.armed, &listed.series.spec);
    let terminal = armed.terminal.as_deref();
    let wire = armed.wire_mm2.as_ref().map(|mm2| format!("{mm2} mm²"));
    let tool = spec.tool.as_ref().map(|tool| safe(&tool.id));
    let plain = [
        series.series.to_string(),
        listed.state.since.local_minute(zone),
        safe(&series.station),
        armed.plan.as_deref().map(safe).unwrap_or_default(),
        terminal.map_or("gauge blocks".to_owned(), safe),
        wire.unwrap_or_default(),
        tool.unwrap_or_default(),
        armed.purpose.replace('_', " "),
    ];
    let mut cells: Vec<_> = plain.map(|text| (text, Style::new())).into();
    let outcome_words = format!("{}{}", card::outcome_words(outcome), series.beside());
    cells.push((outcome_words, card::outcome_style(outcome)));
    cells.push((words::tally(series.tally), Style::new()));
    cells
}
