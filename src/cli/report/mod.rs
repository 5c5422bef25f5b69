//! `tallyjaw report`: exit 0 once it is made; 2 if there is no such series or none matches; 4 if the journal cannot be
//! read or the file cannot be written.

mod read;

pub(super) use read::{Again, again, lines_of};

use super::html_file::HtmlFile;
use super::pdf::Files;
use super::query::{Query, lines};
use super::{Context, Exit, Failure, configured, signed};
use crate::album::Album;
use crate::clock;
use crate::entry::qualifying::Qualifying;
use crate::entry::words::{self, safe};
use crate::letterhead::PageSize;
use crate::qualification::{Frame, Standing};
use crate::quantity::did_you_mean;
use crate::quantity::{Measured, WallMicros};
use crate::report::comparison::{Compare, Group};
use crate::report::{Gathered, HEAD, Lines, Report, ReportRequest};
use anstyle::{AnsiColor, Style};
use serde_json::json;
use std::io::{self, IsTerminal as _, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

const WARNING: Style = AnsiColor::Yellow.on_default().bold();
const HELP: Style = AnsiColor::Cyan.on_default();
const PAGE: HtmlFile = HtmlFile {
    head: HEAD,
    other: "is no report of tallyjaw",
    example: "report.html",
};

/// Make a report of series: one HTML file to read, to print and to hand on
///
/// A series is one page: the requirements, every reading with its verdict, those that do not count with the reason,
/// what it was measured with, how to check all of it (`tallyjaw verify FILE`), and a line for a signature. Several
/// series have a cover. No daemon is needed, and the file refers to nothing outside. Series are named, or chosen by the
/// options; a series is in the report as a whole if any reading of it matches.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw report 37                                  series-37.html
  tallyjaw report 37 52 -o first-off.html             two series in one file
  tallyjaw report 37 --full                           with figures, pictures and times
  tallyjaw report 37 --checkable                      recomputes itself in the reader's browser
  tallyjaw report --job 4711 --pdf                    a cover and a page for each series
  tallyjaw report --run 812                           a production run, with its samples
  tallyjaw report --qualified                         what this shop can make: qualified.html
  tallyjaw report --terminal QF-250-F --since 2026-11-01
  tallyjaw report 37 > evidence.html                  to a pipe or a file it goes as it is
  tallyjaw report --terminal QF-250-F --compare tool --margin '0.02 mm'
  tallyjaw verify series-37.html                      is it still what the journal has?

Exit codes: 0 made, 2 no such series, 4 the journal cannot be read or the file not be written.")]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is an option of its own on the command line"
)]
pub(super) struct ReportCommand {
    #[command(flatten)]
    query: Query,
    /// Set groups of readings side by side, the sentence of the comparison on top: by tool, nest, operator,
    /// instrument, station, series or day
    #[arg(long, value_name = "GROUP", value_parser = group, help_heading = "Side by side")]
    compare: Option<Group>,
    /// Test whether the means of the groups are equivalent within this margin: "0.02 mm"
    #[arg(long, value_parser = margin, requires = "compare", help_heading = "Side by side")]
    margin: Option<Measured>,
    /// The group that the others are compared with [default: the one that came first]
    #[arg(
        long,
        value_name = "NAME",
        requires = "compare",
        help_heading = "Side by side"
    )]
    reference: Option<String>,
    /// Of a production run: what became of its crimps, its time line, and a page for each sample
    #[arg(long, value_name = "RUN", conflicts_with_all = Query::arguments(), conflicts_with = "compare")]
    run: Option<u64>,
    /// Of the qualifications of this shop: every combination of terminal, wire, tool and nest with its standing, by the
    /// rule, sheets and tools of the configuration
    #[arg(long, conflicts_with_all = Query::arguments(), conflicts_with_all = ["compare", "run", "full"])]
    qualified: bool,
    /// With an appendix: figures, histogram and control chart, and each reading with its time and entry
    #[arg(long)]
    full: bool,
    /// With the journal's lines of its series, and a script that recomputes the page from them in the reader's browser
    #[arg(long, conflicts_with = "qualified")]
    checkable: bool,
    /// Also print it as PDF, beside the HTML file, with an installed Chromium
    #[arg(long)]
    pdf: bool,
    /// The file; `-` is standard output [default: a name with the series; standard output if that is no terminal]
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
}

impl ReportCommand {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.pdf && self.out.as_ref().is_some_and(|out| out.as_os_str() == "-") {
            return Err(Failure::usage("--pdf needs a file, not standard output")
                .with_remedy("name one: --out report.html; the PDF is written beside it"));
        }
        let (daemon, letterhead) = configured::configured(context)?;
        let made = now(); // Taken before reading, so that nothing that existed at that time is left out.
        let (gathered, qualified) = match self.run {
            _ if self.qualified => {
                let gathered = read::of_all(&daemon)?;
                let frame = frame(context, &gathered)?;
                (gathered, Some(frame))
            }
            Some(run) => (read::of_run(&daemon, run)?, None),
            None => (read::chosen(&daemon, &self.query)?, None),
        };
        let (copies, missing) = Album::new(&daemon.state_dir).copies(&gathered, self.full);
        for picture in &missing {
            anstream::eprintln!("{WARNING}warning{WARNING:#}: {}", safe(picture));
        }
        if !missing.is_empty() {
            anstream::eprintln!(
                "{HELP}help{HELP:#}: the report says that they are missing; put the folder pictures back from a backup of {}, then make the report again",
                safe(&daemon.state_dir.display().to_string())
            );
        }
        let lines = if self.checkable {
            let lines = read::lines_of(&daemon, &gathered)?;
            tell_others(lines.as_deref());
            lines
        } else {
            None
        };
        let asked = ReportRequest {
            lines,
            copies: Arc::new(copies),
            query: if self.query.series.is_empty() {
                self.query.options()
            } else {
                Vec::new() // they were named
            },
            compare: self.compare.map(|by| Compare {
                by,
                margin: self.margin,
                reference: self.reference.clone(),
            }),
            full: self.full,
            qualified,
            made,
            zone: clock::zone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            letterhead,
        };
        let report = Report::new(gathered, asked);
        refuse_what_compares_nothing(&report)?;
        let page = report.html();
        let Some(file) = self.file(context, &report) else {
            out.write_all(page.as_bytes())?;
            return Ok(Exit::Yes);
        };
        let files = Files::named(file, self.pdf)?;
        let size = report.asked.letterhead.page_size;
        let on_paper = with_paper(&page, size.unwrap_or(PageSize::A4));
        let signature = files.put(&PAGE, (&page, &on_paper), &daemon.state_dir)?;
        tell(context, out, &report, &files, page.len())?;
        signed::tell(context, out, files.first(), signature.as_deref())?;
        Ok(Exit::Yes)
    }

    /// The file to write; `None` is standard output.
    fn file(&self, context: &Context, report: &Report) -> Option<PathBuf> {
        match &self.out {
            Some(file) if file.as_os_str() == "-" => None,
            Some(file) => Some(file.clone()),
            None if self.pdf || context.json || io::stdout().is_terminal() => {
                Some(name(report).into())
            }
            None => None,
        }
    }
}

/// Says which lines of other series and stations go into a page that is handed on.
fn tell_others(lines: Option<&Lines>) {
    let others = lines.map(Lines::others).filter(|others| !others.is_empty());
    let Some(others) = others else { return };
    anstream::eprintln!(
        "{WARNING}warning{WARNING:#}: the page holds lines of others too, since a chain has no gaps: {}\n{HELP}help{HELP:#}: hand it on only if its reader may see them; without --checkable the page has no lines",
        safe(&others)
    );
}

/// Rows and columns of the matrix of qualifications.
fn frame(context: &Context, gathered: &Gathered) -> Result<Frame, Failure> {
    let catalog = context.load()?.1.catalog;
    let known = gathered.state.as_ref().map(|state| &state.qualifying);
    let rule = catalog.qualification.unwrap_or_default();
    let none = Qualifying::default();
    Ok(Frame::of(&catalog, known.unwrap_or(&none), rule))
}

/// The page with its paper named. Without that, the browser chooses the paper by its country.
fn with_paper(page: &str, size: PageSize) -> String {
    let paper = format!("@page {{ size: {} }}\n</style>", size.name());
    page.replacen("</style>", &paper, 1)
}

/// Refuses a comparison without groups to compare.
fn refuse_what_compares_nothing(report: &Report) -> Result<(), Failure> {
    let Some(compare) = &report.asked.compare else {
        return Ok(());
    };
    let by = compare.by.name();
    let Some(first) = report.compared.first() else {
        let failure = Failure::usage(match compare.margin {
            Some(margin) => {
                format!("no two groups by {by} have readings that a margin of {margin} is for")
            }
            None => format!("all these readings are of one {by}"),
        });
        return Err(failure.with_remedy("choose more series, or another group: --compare GROUP"));
    };
    let names: Vec<&str> = first.groups.iter().map(|(name, _)| name.as_str()).collect();
    match &compare.reference {
        Some(wanted) if !names.contains(&wanted.as_str()) => {
            Err(Failure::usage(format!("there is no group {wanted:?}"))
                .with_remedy(did_you_mean(wanted, &names)))
        }
        Some(_) | None => Ok(()),
    }
}

fn group(name: &str) -> Result<Group, String> {
    Group::from_name(name).ok_or_else(|| format!("want {}", Group::ALL.map(Group::name).join(", ")))
}

fn margin(text: &str) -> Result<Measured, String> {
    let margin: Measured = text.parse().map_err(|error| format!("{error}"))?;
    if margin.quantity().base() <= 0 {
        return Err("want more than 0".to_owned());
    }
    Ok(margin)
}

fn tell(
    context: &Context,
    out: &mut dyn Write,
    report: &Report,
    files: &Files,
    bytes: usize,
) -> Result<(), Failure> {
    let file = files.first();
    let whole = |file: &Path| std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    if context.json {
        let series: Vec<u64> = report
            .series
            .iter()
            .map(|facts| facts.record.series.id.0)
            .collect();
        let line = json!({
            "kind": "report", "file": whole(file), "bytes": bytes, "series": series,
            "journal": report.journal.0, "last": report.last.0, "digest": report.digest.to_string(),
        });
        writeln!(out, "{line}")?;
        return Ok(());
    }
    if let Some(qualified) = &report.qualified {
        for standing in Standing::ALL {
            let count = qualified.count(standing);
            writeln!(out, "{count} {}", standing.words())?;
        }
    }
    for facts in &report.series {
        let outcome = facts.outcome().map_or("open", words::outcome);
        writeln!(
            out,
            "series {}: {outcome}{}, {}",
            facts.record.series.id,
            words::beside(facts.reservations()),
            words::tally(facts.tally)
        )?;
    }
    for comparison in report
        .compared
        .iter()
        .flat_map(|compared| &compared.comparisons)
    {
        writeln!(out, "{}", words::safe(&comparison.sentence()))?;
    }
    if let Some(pdf) = files.beside() {
        writeln!(out, "{}", whole(pdf).display())?;
    }
    if files.page().is_none() {
        writeln!(out, "{}", whole(file).display())?;
        return Ok(());
    }
    writeln!(
        out,
        "{} ({} kB)\nIs it still true? tallyjaw verify {}",
        whole(file).display(),
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

/// Name of the file: `series-37.html`, `series-37-52.html`, `6-series.html`.
fn name(report: &Report) -> String {
    const NAMED: usize = 3;
    let ids = report
        .series
        .iter()
        .map(|facts| facts.record.series.id.to_string());
    if report.qualified.is_some() {
        return "qualified.html".to_owned();
    }
    if let Some(run) = &report.run {
        return format!("run-{}.html", run.id);
    }
    match report.series.len() {
        ..=NAMED => format!("series-{}.html", ids.collect::<Vec<_>>().join("-")),
        several => format!("{several}-series.html"),
    }
}
