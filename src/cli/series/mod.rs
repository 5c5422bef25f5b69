//! `tallyjaw series`: exit 0; 1 if the series was rejected; 4 if the journal cannot be read.

mod list;

use super::entries::EntryStyle;
use super::query::{Query, indexed};
use super::{Context, Exit, Failure, card, configured};
use crate::entry::history::{Listed, OneSeries};
use crate::entry::ledger::Disposition;
use crate::entry::words::{self, safe};
use crate::entry::{Entry, FrameEntry, Outcome, SaidEntry, Seq, SeriesEntry, Stamped};
use crate::message::series::SeriesMessage;
use list::Sort;
use std::io::Write;
use std::ops::ControlFlow;

/// List the series of the journal, or show one with all its entries
///
/// It reads the journal's files, so no daemon is needed. On a terminal a longer list is shown by `$PAGER`, else `less`;
/// an empty PAGER turns that off. --since and --until choose the series that were open in that time.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw series                     one line per series
  tallyjaw series 37                  one series with all its entries
  tallyjaw series --station bench-1 --json
  tallyjaw series --terminal QF-250-F --outcome rejected --since 2026-11-01
  tallyjaw series --sort failed --limit 10          the ten with the most failed readings
  tallyjaw series --after 37                        series that started after series 37")]
pub(super) struct Series {
    #[command(subcommand)]
    show: Option<Show>,
    #[command(flatten)]
    query: Query,
    /// Only series with this outcome: accepted, rejected, undecided, `cut_short` or open
    #[arg(long, value_parser = ["accepted", "rejected", "undecided", "cut_short", "open"], hide_possible_values = true)]
    outcome: Option<String>,
    /// Sort by this, then by start
    #[arg(long, value_enum, default_value = "opened")]
    sort: Sort,
    /// In reverse order
    #[arg(long)]
    reverse: bool,
    /// At most this number of series
    #[arg(long, value_name = "N")]
    limit: Option<usize>,
    /// Only series that started after this one
    #[arg(long, value_name = "SERIES")]
    after: Option<u64>,
}

#[derive(Debug, clap::Subcommand)]
enum Show {
    /// Show one series with all its entries
    #[command(after_help = "Example:\n  tallyjaw series show 37")]
    Show {
        /// Its number: that of its `armed` entry
        series: u64,
    },
}

impl Series {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let wanted = match (&self.show, &self.query.series[..]) {
            (Some(Show::Show { series }), _) | (None, [series]) => *series,
            (None, _) => return list::print(&self, context, out),
        };
        let daemon = configured::daemon_of(context)?;
        let mut one = OneSeries::new(Seq(wanted));
        indexed::each_of_series(&daemon, Seq(wanted), |stamped| {
            one.take(stamped);
            if one.is_settled() {
                ControlFlow::Break(())
            } else {
                ControlFlow::Continue(())
            }
        })?;
        let Some((listed, entries)) = one.finish() else {
            return Err(
                Failure::usage(format!("no series {wanted} in this journal"))
                    .with_remedy("list them: tallyjaw series"),
            );
        };
        if context.json {
            let whole = SeriesMessage::with_readings(&listed, &entries);
            out.write_all(&crate::message::line(&whole))?;
        } else {
            text(&listed, &entries, out)?;
        }
        let closed = listed.series.closed;
        let rejected = closed.is_some_and(|one| one.completed.outcome == Outcome::Rejected);
        Ok(if rejected { Exit::No } else { Exit::Yes })
    }
}

fn text(listed: &Listed, entries: &[Stamped], out: &mut dyn Write) -> Result<(), Failure> {
    let series = SeriesMessage::new(listed);
    let outcome = series.outcome.unwrap_or("open");
    let (style, outcome) = (card::outcome_style(outcome), card::outcome_words(outcome));
    let form = EntryStyle::of_system();
    writeln!(
        out,
        "{style}{outcome}{style:#}{}{}: series {} at {}, {}",
        series.beside(),
        words::after(series.tally),
        series.series,
        safe(&series.station),
        listed.state.since.local(&form.zone)
    )?;
    card::armed(out, &form, &series.armed)?;
    if let Some(others) = others(entries) {
        card::row(out, &form, "also", &others)?;
    }
    card::warnings(out, &form, &series.armed)?;
    if let Some(lowest) = &series.lowest {
        card::row(out, &form, "lowest", &safe(&lowest.says))?;
    }
    for error in &series.block_errors {
        card::row(out, &form, "error", &safe(&error.says))?;
    }
    for stamped in entries {
        let mark = match listed.series.disposition(stamped.seq) {
            None | Some(Disposition::Counted | Disposition::NotCounted(_)) => "",
            Some(Disposition::Doubted(_)) => " (doubted later)",
            Some(Disposition::Retracted(_)) => " (retracted later)",
        };
        form.write(out, stamped, mark)?;
    }
    Ok(())
}

/// Whether an entry is of a certain kind.
type IsOfKind = fn(&Entry) -> bool;

/// Counts of the entries beside readings: `3 zeros, 1 zero that was off, 1 unread`; `None` if there are none.
fn others(entries: &[Stamped]) -> Option<String> {
    let number = |is: IsOfKind| entries.iter().filter(|one| is(&one.entry)).count();
    let kinds: [(IsOfKind, &str, &str); 7] = [
        (|entry| zero(entry) == Some(true), "zero", "zeros"),
        (
            |entry| zero(entry) == Some(false),
            "zero that was off",
            "zeros that were off",
        ),
        (
            |entry| matches!(entry, Entry::Frame(FrameEntry::Unread(_))),
            "press that could not be read",
            "presses that could not be read",
        ),
        (
            |entry| matches!(entry, Entry::Said(SaidEntry::Refused(_))),
            "refusal",
            "refusals",
        ),
        (
            |entry| matches!(entry, Entry::Said(SaidEntry::Noted(_))),
            "note",
            "notes",
        ),
        (
            |entry| matches!(entry, Entry::Series(SeriesEntry::Pictured(_))),
            "picture",
            "pictures",
        ),
        (
            |entry| matches!(entry, Entry::Series(SeriesEntry::Alerted(_))),
            "alert",
            "alerts",
        ),
    ];
    let said: Vec<String> = kinds
        .into_iter()
        .filter_map(|(is, one, several)| match number(is) {
            0 => None,
            1 => Some(format!("1 {one}")),
            n => Some(format!("{n} {several}")),
        })
        .collect();
    (!said.is_empty()).then(|| said.join(", "))
}

/// For a zero check, whether it is good; `None` for other entries.
fn zero(entry: &Entry) -> Option<bool> {
    match entry {
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => Some(zeroed.ok),
        Entry::Frame(FrameEntry::Reading(_) | FrameEntry::Unread(_))
        | Entry::Journal(_)
        | Entry::Port(_)
        | Entry::Said(_)
        | Entry::Series(_)
        | Entry::Production(_) => None,
    }
}
