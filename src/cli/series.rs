//! `tallyjaw series`: exit 0, 1 if the series asked for was rejected or is not there, 4 if the journal
//! cannot be read.

use super::columns::Columns;
use super::query::lines;
use super::{Context, Exit, Failure, card, client};
use crate::config::DaemonConfig;
use crate::entry::history::{Fate, History, fate};
use crate::entry::words::{self, safe};
use crate::entry::{Entry, Outcome, Seq, Stamped};
use crate::message::series::SeriesMessage;
use std::io::Write;
use std::ops::ControlFlow;

/// List the series of the journal, or show one with all its readings
///
/// Reads the journal's files; no daemon is needed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw series                     a line a series
  tallyjaw series 37                  one, with doubted and retracted readings too
  tallyjaw series --station bench-1 --json")]
pub(super) struct Series {
    /// Show this one; a series has the number of its `armed` entry
    series: Option<u64>,
    /// Only of this station
    #[arg(long)]
    station: Option<String>,
}

impl Series {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = client::daemon_of(context)?;
        let history = read(&daemon, self.series.map(Seq))?;
        match self.series {
            Some(series) => one(&history, series, context.json, out),
            None => list(&history, self.station.as_deref(), context.json, out),
        }
    }
}

/// Everything in the journal that is durable.
fn read(daemon: &DaemonConfig, wanted: Option<Seq>) -> Result<History, Failure> {
    let mut history = History::new(wanted);
    lines::each(daemon, Seq(0), |line| {
        history.apply(&lines::decoded(daemon, line)?);
        Ok(ControlFlow::Continue(()))
    })?;
    Ok(history)
}

/// Closed and open ones, in the order in which they were opened.
fn all(history: &History) -> Vec<SeriesMessage> {
    let closed = history.closed().iter().map(SeriesMessage::closed);
    let mut all: Vec<_> = closed
        .chain(history.open().map(SeriesMessage::open))
        .collect();
    all.sort_by_key(|series| series.series);
    all
}

fn list(
    history: &History,
    station: Option<&str>,
    json: bool,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let mut shown = all(history);
    shown.retain(|series| station.is_none_or(|only| only == series.station));
    if json {
        for series in &shown {
            out.write_all(&crate::message::line(series))?;
        }
        return Ok(Exit::Yes);
    }
    if shown.is_empty() {
        writeln!(out, "no series yet; `tallyjaw arm PLAN` opens one")?;
        return Ok(Exit::Yes);
    }
    let mut table = Columns::new(&[
        "series", "opened", "station", "plan", "terminal", "wire", "purpose", "outcome", "readings",
    ]);
    for series in &shown {
        table.row(row(series));
    }
    table.write(out)?;
    Ok(Exit::Yes)
}

fn row(series: &SeriesMessage) -> Vec<String> {
    let armed = &series.armed;
    let opened = series.opened.get(..16).unwrap_or(&series.opened);
    vec![
        series.series.to_string(),
        opened.replace('T', " "),
        safe(&series.station),
        armed.plan.as_deref().map(safe).unwrap_or_default(),
        armed
            .terminal
            .as_deref()
            .map_or("gauge blocks".to_owned(), safe),
        armed
            .wire_mm2
            .as_ref()
            .map(|mm2| format!("{mm2} mm²"))
            .unwrap_or_default(),
        armed.purpose.replace('_', " "),
        series
            .outcome
            .map_or("open".to_owned(), |outcome| outcome.replace('_', " ")),
        card::tally(&series.tally),
    ]
}

fn one(history: &History, wanted: u64, json: bool, out: &mut dyn Write) -> Result<Exit, Failure> {
    let Some(series) = all(history)
        .into_iter()
        .find(|known| known.series == wanted)
    else {
        return Err(
            Failure::usage(format!("no series {wanted} in this journal"))
                .with_remedy("list them: tallyjaw series"),
        );
    };
    let rejected = series.outcome == Some(Outcome::Rejected.name());
    if json {
        let whole = series.with_readings(history.entries());
        out.write_all(&crate::message::line(&whole))?;
    } else {
        text(&series, history.entries(), out)?;
    }
    Ok(if rejected { Exit::No } else { Exit::Yes })
}

fn text(series: &SeriesMessage, entries: &[Stamped], out: &mut dyn Write) -> Result<(), Failure> {
    let outcome = series.outcome.unwrap_or("open").replace('_', " ");
    writeln!(
        out,
        "series {} at {}: {outcome}{}",
        series.series,
        safe(&series.station),
        card::after(&series.tally)
    )?;
    card::armed(out, &series.armed)?;
    if let Some(lowest) = &series.lowest {
        writeln!(out, "  lowest     {}", safe(&lowest.says))?;
    }
    for error in &series.block_errors {
        writeln!(out, "  error      {}", safe(&error.says))?;
    }
    for stamped in entries {
        let mark = match &stamped.entry {
            Entry::Reading(_) => match fate(entries, stamped.seq) {
                Fate::Stands => "",
                Fate::Doubted => "  [doubted later]",
                Fate::Retracted => "  [taken back later]",
            },
            Entry::Armed(_)
            | Entry::Begun { .. }
            | Entry::Segment { .. }
            | Entry::Started { .. }
            | Entry::Stopped { .. }
            | Entry::Attached(_)
            | Entry::Detached { .. }
            | Entry::Disarmed { .. }
            | Entry::Completed(_)
            | Entry::Zeroed(_)
            | Entry::ZeroSaid { .. }
            | Entry::ZeroDue { .. }
            | Entry::OperatorSaid { .. }
            | Entry::ToolSaid(_)
            | Entry::Unread(_)
            | Entry::Refused { .. }
            | Entry::Doubted { .. }
            | Entry::Retracted { .. }
            | Entry::Noted { .. }
            | Entry::Alerted { .. }
            | Entry::ClockStepped { .. }
            | Entry::Gap { .. }
            | Entry::DamageAccepted { .. } => "",
        };
        writeln!(out, "  {}{mark}", words::line(stamped))?;
    }
    Ok(())
}
