//! Lists the series of a journal, one on each line: filtered, sorted, limited.

use super::Series;
use crate::cli::columns::Columns;
use crate::cli::query::{Filter, lines};
use crate::cli::{Context, Exit, Failure, card, client, pager};
use crate::daemon::clock;
use crate::entry::Seq;
use crate::entry::history::{History, Listed};
use crate::entry::words::{self, safe};
use crate::message::series::SeriesMessage;
use crate::quantity::Zone;
use anstyle::Style;
use std::cmp::Reverse;
use std::io::Write;
use std::ops::ControlFlow;

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
    let filter = asked.query.filter()?;
    let mut listing = Listing {
        asked,
        filter,
        json: context.json,
        zone: clock::zone(),
        lines: Vec::new(),
    };
    let after = filter.after().max(Seq(asked.after.unwrap_or_default()));
    let mut history = History::default();
    lines::each(&daemon, after, |line| {
        let settled = history.take(&lines::decoded(&daemon, line)?);
        if let Some(listed) = settled {
            listing.take(&listed);
        }
        Ok(ControlFlow::Continue(()))
    })?;
    for listed in &history.finish() {
        listing.take(listed);
    }
    listing.missing()?;
    listing.print(out)
}

impl Listing<'_> {
    fn take(&mut self, listed: &Listed) {
        let message = &SeriesMessage::new(listed);
        let outcome = message.outcome.unwrap_or("open");
        if !self.filter.could_match(listed)
            || self
                .asked
                .outcome
                .as_ref()
                .is_some_and(|only| only != outcome)
        {
            return;
        }
        let json = if self.json {
            crate::message::line(message)
        } else {
            Vec::new()
        };
        self.lines.push(Line {
            series: message.series,
            key: self.key(message, outcome),
            failed: message.tally.failed,
            cells: cells(listed, message, outcome, &self.zone),
            json,
        });
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

    fn print(mut self, out: &mut dyn Write) -> Result<Exit, Failure> {
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
        let all = self.lines.len();
        self.lines.truncate(self.asked.limit.unwrap_or(usize::MAX));
        if self.json {
            for line in &self.lines {
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
        let left_out = all - self.lines.len();
        for line in self.lines {
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
