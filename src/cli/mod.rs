//! The command line: subcommands, exit codes, and output.
//!
//! In: arguments. Out: text on standard output, an [`Exit`] or a [`Failure`]. A subcommand is a file
//! with its arguments and `run(self, context, out)`; to add one: the file, a variant of `Command`
//! and its name in `help::GROUPS`. What needs ports, the daemon or the system of the bench is in
//! `bench`, and runs on Linux only; everything else runs on an office computer too.

mod archive;
#[cfg(target_os = "linux")]
mod bench;
mod card;
mod cards;
mod check;
mod columns;
mod completions;
mod configured;
mod context;
#[cfg(any(test, not(target_os = "linux")))]
mod elsewhere;
mod entries;
mod export;
mod failure;
mod help;
mod html_file;
mod jobs;
mod journal_state;
mod label;
mod man;
mod nests;
mod pager;
mod pdf;
mod pieces;
mod plain;
mod plans;
mod progress;
mod qr;
mod qualified;
mod query;
mod report;
#[cfg(test)]
mod rules;
mod runs;
mod schema;
mod series;
mod sheet;
mod signed;
mod study;
mod tools;
mod verify;
mod wire;
mod wrap;

pub use context::Context;
pub use failure::{Failure, FailureKind};

use crate::files;
use clap::{FromArgMatches, Parser, Subcommand};
#[cfg(not(target_os = "linux"))]
use elsewhere as bench;
use plain::Plain;
use std::ffi::OsString;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;
use std::process::ExitCode;

/// The result of a command, apart from failures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done, or the answer is yes: exit code 0.
    Yes,
    /// The answer is no (`check` found errors, `verify` found damage): exit code 1.
    No,
}

/// Reads a caliper over a serial line and keeps a durable verdict for every crimp.
#[derive(Debug, Parser)]
#[command(
    name = "tallyjaw",
    bin_name = "tallyjaw",
    version,
    arg_required_else_help = true
)]
#[command(disable_help_subcommand = true, infer_subcommands = false)]
struct Cli {
    #[command(flatten)]
    context: Context,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// What needs ports, the daemon or the system of the bench.
    #[command(flatten)]
    Bench(bench::Command),

    // Look and prove.
    Series(Box<series::Series>),
    Jobs(jobs::Jobs),
    Runs(runs::Runs),
    Qualified(qualified::Qualified),
    Verify(verify::Verify),
    Study(study::Study),
    Report(Box<report::ReportCommand>),
    Label(label::Label),
    Export(Box<export::Export>),
    Archive(archive::Archive),

    // Set it up.
    Check(check::Check),
    Sheet(sheet::Sheet),
    Wire(wire::Wire),
    Plans(plans::Plans),
    Tools(tools::Tools),
    Nests(nests::Nests),
    Cards(cards::Cards),

    // For programs and the shell.
    Schema(schema::SchemaCommand),
    Completions(completions::Completions),
    Man(man::Man),
}

impl Command {
    fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        match self {
            Self::Bench(command) => command.run(context, out),
            Self::Series(command) => command.run(context, out),
            Self::Jobs(command) => command.run(context, out),
            Self::Runs(command) => command.run(context, out),
            Self::Qualified(command) => command.run(context, out),
            Self::Verify(command) => command.run(context, out),
            Self::Study(command) => command.run(context, out),
            Self::Report(command) => command.run(context, out),
            Self::Label(command) => command.run(context, out),
            Self::Export(command) => command.run(context, out),
            Self::Archive(command) => command.run(context, out),
            Self::Check(command) => command.run(context, out),
            Self::Sheet(command) => command.run(context, out),
            Self::Wire(command) => command.run(context, out),
            Self::Plans(command) => command.run(context, out),
            Self::Tools(command) => command.run(context, out),
            Self::Nests(command) => command.run(context, out),
            Self::Cards(command) => command.run(context, out),
            Self::Schema(command) => command.run(context, out),
            Self::Completions(command) => command.run(context, out),
            Self::Man(command) => command.run(context, out),
        }
    }

    /// Whether the subcommand may write a file for programs to standard output.
    fn writes_data(&self) -> bool {
        match self {
            Self::Bench(command) => command.writes_data(),
            Self::Report(_)
            | Self::Label(_)
            | Self::Export(_)
            | Self::Schema(_)
            | Self::Completions(_)
            | Self::Man(_)
            | Self::Sheet(_)
            | Self::Cards(_) => true,
            Self::Series(_)
            | Self::Jobs(_)
            | Self::Runs(_)
            | Self::Qualified(_)
            | Self::Verify(_)
            | Self::Study(_)
            | Self::Archive(_)
            | Self::Check(_)
            | Self::Wire(_)
            | Self::Plans(_)
            | Self::Tools(_)
            | Self::Nests(_) => false,
        }
    }
}

/// Takes the time zone of the configuration that this command uses: a day in the options is a day in that zone.
fn take_zone(arguments: &[OsString]) {
    let matches = help::command().ignore_errors(true);
    let matches = matches.try_get_matches_from(arguments);
    let named = matches.ok().and_then(|matches| deepest(&matches));
    let context = Context {
        config: named,
        ..Context::default()
    };
    if let Some(path) = context.config_that_is_there() {
        files::take_zone_of(&path);
    }
}

/// The named configuration file, whether the option is before or after the subcommand.
fn deepest(matches: &clap::ArgMatches) -> Option<PathBuf> {
    let behind = matches
        .subcommand()
        .and_then(|(_, matches)| deepest(matches));
    let here = matches.try_get_one::<PathBuf>("config").ok().flatten();
    behind.or_else(|| here.cloned())
}

/// Runs the command line of `tallyjaw-opcua`, as [`main`] does that of `tallyjaw`.
#[cfg(all(feature = "opcua", target_os = "linux"))]
pub fn opcua(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let parsed = match bench::opcua::Opcua::try_parse_from(arguments) {
        Ok(parsed) => parsed,
        Err(error) => return misused(&error),
    };
    ended(parsed.run(&mut stdout(&Context::default(), false)))
}

/// Runs one command line. `arguments` begins with the name of the program. A failure is written to standard error.
pub fn main(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    take_zone(&arguments);
    let parsed = help::command()
        .try_get_matches_from(arguments)
        .and_then(|matches| Cli::from_arg_matches(&matches));
    let cli = match parsed {
        Ok(cli) => cli,
        Err(error) => return misused(&error),
    };
    let mut out = stdout(&cli.context, cli.command.writes_data());
    let answer = cli.command.run(&cli.context, &mut out);
    let flushed = out.flush().map_err(Failure::from);
    ended(answer.and_then(|exit| flushed.map(|()| exit)))
}

/// Prints the help, or what is wrong with the arguments.
fn misused(error: &clap::Error) -> ExitCode {
    // If the reader is gone, nobody needs the help text.
    let _ = error.print();
    ExitCode::from(if error.use_stderr() { 2 } else { 0 })
}

fn ended(answer: Result<Exit, Failure>) -> ExitCode {
    match answer {
        Ok(Exit::Yes) => ExitCode::SUCCESS,
        Ok(Exit::No) => ExitCode::from(1),
        Err(failure) => {
            failure.tell();
            ExitCode::from(failure.kind().exit_code())
        }
    }
}

/// Standard output. Data is written as it is. Text for people has colours only on a terminal, and no characters that
/// change the direction of reading.
fn stdout(context: &Context, writes_data: bool) -> Box<dyn Write> {
    if context.json {
        Box::new(BufWriter::new(io::stdout()))
    } else if writes_data {
        Box::new(BufWriter::new(anstream::stdout()))
    } else {
        Box::new(Plain(BufWriter::new(anstream::stdout())))
    }
}
