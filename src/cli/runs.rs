//! `tallyjaw runs`: exit 0; 1 if the run has held crimps; 2 if the journal has no such run; 4 if it cannot be read.

use super::columns::Columns;
use super::entries::EntryStyle;
use super::query::{self, lines};
use super::{Context, Exit, Failure, card, configured, pager};
use crate::clock;
use crate::config::DaemonConfig;
use crate::entry::production::fold::Says;
use crate::entry::production::history::{Fate, RunHistory, RunRecord, SampleRecord, Span};
use crate::entry::words::{cause, crimps, every, safe, settlement};
use crate::entry::{RunEnd, Seq, line};
use crate::message::production::RunMessage;
use crate::quantity::{WallMicros, Zone};
use crate::spec::Settlement;
use anstyle::Style;
use std::io::Write;
use std::ops::ControlFlow;

/// List the production runs of the journal, or show one with its samples and what became of its crimps
///
/// A run is the crimps between samples: a good first-off opens it, a good last-off closes it. It reads the journal's
/// files, so no daemon is needed.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw runs                       one line per run\n  tallyjaw runs 812                   one run with its time line\n  tallyjaw runs --open --json\n  tallyjaw runs --station bench-1 --since 2026-11-01"
)]
pub(super) struct Runs {
    /// The number of the run: that of its `run_opened` entry [default: all runs]
    #[arg(value_name = "RUN")]
    run: Option<u64>,
    /// Only runs of this station
    #[arg(long)]
    station: Option<String>,
    /// Only runs of this id in the configuration
    #[arg(long, value_name = "RUN ID")]
    id: Option<String>,
    /// Only runs that are open
    #[arg(long)]
    open: bool,
    /// Only runs with held crimps that are not settled
    #[arg(long)]
    held: bool,
    /// Only runs that were open at or after this time
    #[arg(long, value_name = "TIME", value_parser = query::time)]
    since: Option<WallMicros>,
    /// Only runs that were opened before this time
    #[arg(long, value_name = "TIME", value_parser = query::time)]
    until: Option<WallMicros>,
}

const HEADINGS: [&str; 10] = [
    "run", "id", "station", "opened", "closed", "crimps", "vouched", "held", "settled", "open",
];
const SAMPLES: [&str; 6] = [
    "sample",
    "series",
    "closed",
    "crimps by then",
    "says",
    "vouches for",
];

/// The production runs of the journal.
pub(super) fn read(daemon: &DaemonConfig) -> Result<RunHistory, Failure> {
    let mut history = RunHistory::default();
    lines::each_with(daemon, Seq(0), line::decode, |_, decoded| {
        history.take(&lines::understood(daemon, decoded)?.0);
        Ok(ControlFlow::Continue(()))
    })?;
    Ok(history)
}

/// The failure for a run that the journal does not have.
pub(super) fn unknown(run: u64) -> Failure {
    Failure::usage(format!("no run {run} in this journal")).with_remedy("list them: tallyjaw runs")
}

impl Runs {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = configured::daemon_of(context)?;
        let history = read(&daemon)?;
        let Some(wanted) = self.run else {
            return self.list(&history, context, out);
        };
        let run = history.run(Seq(wanted)).ok_or_else(|| unknown(wanted))?;
        if context.json {
            out.write_all(&crate::message::line(&RunMessage::new(run)))?;
        } else {
            one(run, out)?;
        }
        Ok(if run.held() > 0 { Exit::No } else { Exit::Yes })
    }

    fn takes(&self, run: &RunRecord) -> bool {
        let closed = run.closed.as_ref().map(|closed| closed.at);
        let since = self.since;
        self.station
            .as_ref()
            .is_none_or(|only| *only == run.station)
            && self.id.as_ref().is_none_or(|only| *only == run.settings.id)
            && (!self.open || closed.is_none())
            && (!self.held || run.held() > 0)
            && since.is_none_or(|since| closed.is_none_or(|closed| closed >= since))
            && self.until.is_none_or(|until| run.opened < until)
    }

    fn list(
        &self,
        history: &RunHistory,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<Exit, Failure> {
        let runs: Vec<&RunRecord> = history.runs().filter(|run| self.takes(run)).collect();
        if context.json {
            for run in runs {
                out.write_all(&crate::message::line(&RunMessage::new(run)))?;
            }
            return Ok(Exit::Yes);
        }
        let mut text = Vec::new();
        if runs.is_empty() {
            writeln!(
                text,
                "no run; a good sample of a run's first-off plan opens one ([[run]] in the configuration)"
            )?;
        } else {
            let zone = clock::zone();
            let mut table = Columns::new(&HEADINGS);
            for run in runs {
                table.styled(cells(run, &zone));
            }
            table.write(&mut text)?;
        }
        for (station, count) in history.without_run() {
            writeln!(
                text,
                "{} at {} counted while no run was open: no sample vouches for them",
                crimps(*count),
                safe(station)
            )?;
        }
        pager::show(&text, out)?;
        Ok(Exit::Yes)
    }
}

fn cells(run: &RunRecord, zone: &Zone) -> Vec<(String, Style)> {
    let settled = Settlement::ALL.map(|how| run.settled(how));
    let settled = settled.into_iter().fold(0, u64::saturating_add);
    let closed = run.closed.as_ref();
    let held = run.held();
    let plain = |text: String| (text, Style::new());
    vec![
        plain(run.id.to_string()),
        plain(safe(&run.settings.id)),
        plain(safe(&run.station)),
        plain(run.opened.local_minute(zone)),
        plain(closed.map_or_else(|| "open".to_owned(), |closed| closed.at.local_minute(zone))),
        plain(run.crimps.to_string()),
        plain(run.vouched.to_string()),
        (
            held.to_string(),
            if held > 0 { card::BAD } else { Style::new() },
        ),
        plain(settled.to_string()),
        plain(run.open().to_string()),
    ]
}

fn one(run: &RunRecord, out: &mut dyn Write) -> Result<(), Failure> {
    let form = EntryStyle::of_system();
    let zone = &form.zone;
    let end = match &run.closed {
        None => "open".to_owned(),
        Some(closed) => {
            let by = match closed.end {
                RunEnd::LastOff => "its last-off",
                RunEnd::AnotherRun => "the first-off of another run",
            };
            format!(
                "closed {} by {by}, series {}",
                closed.at.local(zone),
                closed.series
            )
        }
    };
    writeln!(
        out,
        "run {} ({}) at {}, opened {}; {end}",
        run.id,
        safe(&run.settings.id),
        safe(&run.station),
        run.opened.local(zone)
    )?;
    card::row(out, &form, "samples", &every(&run.settings))?;
    card::row(out, &form, "crimps", &counts(run))?;
    for span in run.spans() {
        card::row(out, &form, "", &self::span(&span))?;
    }
    let mut table = Columns::new(&SAMPLES);
    for sample in &run.samples {
        table.row(sample_cells(sample, zone));
    }
    table.write(out)?;
    for (by, at, hold) in &run.holds {
        writeln!(
            out,
            "{} #{by} held {}, {} to {}: {}; cause: series {}; {} left",
            at.local(zone),
            crimps(hold.size()),
            hold.first,
            hold.last,
            cause(hold.cause),
            hold.series,
            hold.left()
        )?;
    }
    for (seq, at, settled) in &run.settlements {
        let who = settled.operator.as_deref().map(safe);
        writeln!(
            out,
            "{} #{seq} {} of #{} {}{}: {}",
            at.local(zone),
            crimps(settled.crimps),
            settled.held,
            settlement(settled.settlement),
            who.map_or_else(String::new, |who| format!(" by {who}")),
            safe(&settled.reason)
        )?;
    }
    Ok(())
}

/// `1200: 1000 vouched for, 100 held, 97 released, 3 scrapped, 0 open`.
fn counts(run: &RunRecord) -> String {
    let mut parts = vec![
        format!("{} vouched for", run.vouched),
        format!("{} held", run.held()),
    ];
    let settled = Settlement::ALL.map(|how| (how, run.settled(how)));
    let settled = settled.into_iter().filter(|(_, count)| *count > 0);
    parts.extend(settled.map(|(how, count)| format!("{count} {}", settlement(how))));
    parts.push(format!("{} open", run.open()));
    format!("{}: {}", run.crimps, parts.join(", "))
}

fn span(span: &Span) -> String {
    let fate = match span.fate {
        Fate::Vouched => "vouched for by a good sample".to_owned(),
        Fate::Held(held) => format!("HELD by #{held}"),
        Fate::Settled(held) => format!("held by #{held}, settled"),
        Fate::Open => "open: no sample since".to_owned(),
    };
    format!("{} to {} {fate}", span.first, span.last)
}

fn sample_cells(sample: &SampleRecord, zone: &Zone) -> Vec<String> {
    let says = match sample.says {
        Says::Good => "good",
        Says::Bad => "BAD",
        Says::Nothing => "nothing",
    };
    let vouched = sample.vouched;
    vec![
        sample.role.name().replace('_', "-"),
        sample.series.to_string(),
        sample.at.local(zone),
        sample.crimps.to_string(),
        says.to_owned(),
        vouched.map_or_else(String::new, |(first, last)| format!("{first} to {last}")),
    ]
}
