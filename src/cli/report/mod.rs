//! `tallyjaw report`: exit 0 when it is made, 2 if there is no such series or none matches, 4 if the journal
//! cannot be read or the file not written.

mod file;
mod read;

pub(super) use read::{Again, again};

use super::query::{Query, lines};
use super::{Context, Exit, Failure, client};
use crate::entry::words;
use crate::quantity::WallMicros;
use crate::report::{Asked, Report};
use serde_json::json;
use std::io::{self, IsTerminal as _, Write};
use std::path::{Path, PathBuf};

/// Make a report of series: one HTML file to read, to print and to hand on
///
/// What was asked, every reading with its verdict, those that do not count with the reason, what it was
/// measured with, figures and pictures, and how to check all of it: `tallyjaw verify FILE`. Needs no daemon,
/// and the file needs nothing else. Series are named, or chosen by the options; a series is in the report
/// as a whole if any reading of it matches.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw report 37                                  series-37.html
  tallyjaw report 37 52 -o first-off.html             two series in one file
  tallyjaw report --terminal QF-250-F --since 2026-11-01
  tallyjaw report 37 > evidence.html                  to a pipe or a file it goes as it is
  tallyjaw verify series-37.html                      is every word of it still as the journal has it?

Exit codes: 0 made, 2 no such series, 4 the journal cannot be read or the file not be written.")]
pub(super) struct ReportCommand {
    #[command(flatten)]
    query: Query,
    /// The file; `-` is standard output [default: a name that says which series; standard output if that is
    /// no terminal]
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
}

impl ReportCommand {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = client::daemon_of(context)?;
        let gathered = read::chosen(&daemon, &self.query)?;
        let asked = Asked {
            query: read::told(&self.query),
            made: now(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        };
        let report = Report::new(gathered, asked);
        let page = report.html();
        let Some(file) = self.file(context, &report) else {
            out.write_all(page.as_bytes())?;
            return Ok(Exit::Yes);
        };
        file::put(&file, &page)?;
        tell(context, out, &report, &file, page.len())?;
        Ok(Exit::Yes)
    }

    /// Where the page goes; `None` is standard output.
    fn file(&self, context: &Context, report: &Report) -> Option<PathBuf> {
        match &self.out {
            Some(file) if file.as_os_str() == "-" => None,
            Some(file) => Some(file.clone()),
            None if context.json || io::stdout().is_terminal() => Some(file::name(report).into()),
            None => None,
        }
    }
}

fn tell(
    context: &Context,
    out: &mut dyn Write,
    report: &Report,
    file: &Path,
    bytes: usize,
) -> Result<(), Failure> {
    let whole = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    if context.json {
        let series: Vec<u64> = report
            .series
            .iter()
            .map(|facts| facts.record.id.0)
            .collect();
        let line = json!({
            "kind": "report", "file": whole, "bytes": bytes, "series": series,
            "journal": report.journal.0, "last": report.last.0, "digest": report.digest.to_string(),
        });
        writeln!(out, "{line}")?;
        return Ok(());
    }
    for facts in &report.series {
        let outcome = facts.outcome().map_or("open", words::outcome);
        writeln!(
            out,
            "series {}: {outcome}, {}",
            facts.record.id,
            words::tally(facts.tally)
        )?;
    }
    writeln!(
        out,
        "{} ({} kB)\nIs it still true? tallyjaw verify {}",
        whole.display(),
        bytes.div_ceil(1000),
        file.display()
    )?;
    Ok(())
}

#[expect(
    clippy::disallowed_methods,
    reason = "edge: when a report is made is asked here"
)]
fn now() -> WallMicros {
    WallMicros(jiff::Timestamp::now().as_microsecond())
}
