//! What stands in the place of `bench` on any other system: its subcommands are known by name, and each says where it runs.

#![cfg_attr(
    target_os = "linux",
    expect(
        dead_code,
        reason = "on Linux it is compiled for its tests, which need less"
    )
)]
#![expect(
    clippy::unused_self,
    clippy::unnecessary_wraps,
    reason = "the signatures are those of `bench`"
)]

use super::{Context, Exit, Failure};
use crate::config::{Config, DaemonConfig};
use crate::entry::Seq;
use clap::error::ErrorKind;
use clap::{Arg, ArgMatches, FromArgMatches, Subcommand};
use std::io::Write;
use std::path::Path;

/// The subcommands that run on the bench only.
const ON_THE_BENCH: &[&str] = &[
    "demo",
    "serve",
    "reload",
    "arm",
    "disarm",
    "operator",
    "tool",
    "job",
    "lot",
    "retract",
    "restore",
    "resume",
    "look",
    "pulled",
    "picture",
    "crimps",
    "settle",
    "note",
    "zero",
    "ask",
    "adapter",
    "status",
    "watch",
    "page",
    "token",
    "key",
    "timestamp",
    "init",
    "doctor",
    "ports",
    "listen",
    "tape",
    "replay",
];

/// Examples at the end of the help.
pub(super) const EXAMPLES: &str =
    "  tallyjaw verify D:\\bench-1           is this copy whole and unchanged?
  tallyjaw archive D:\\bench-1 --restore state
                                     make a state folder out of an archive, to read it
  tallyjaw series                    what was measured
  tallyjaw study capability 37       capability of a series, with its confidence
  tallyjaw report 37                 the series as a page for the customer
  tallyjaw export csv -o readings.csv
                                     readings for a spreadsheet

This program reads what a bench has written. Ports, the daemon and the bench page run on Linux.
";

/// A subcommand of the bench.
#[derive(Debug)]
pub(super) struct Command(String);

impl Command {
    pub(super) fn run(self, _: &Context, _: &mut dyn Write) -> Result<Exit, Failure> {
        let Self(name) = self;
        Err(Failure::usage(format!(
            "{name} is not in this program: it needs the bench, which runs on Linux"
        ))
        .with_remedy(
            "run it there; here a copied journal is read: tallyjaw --help lists what can be done with it",
        ))
    }

    pub(super) const fn writes_data(&self) -> bool {
        false
    }
}

impl FromArgMatches for Command {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let name = matches.subcommand_name();
        let name = name.ok_or_else(|| clap::Error::new(ErrorKind::MissingSubcommand))?;
        Ok(Self(name.to_owned()))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl Subcommand for Command {
    /// They take any arguments, `--help` too, and stand in no list.
    fn augment_subcommands(command: clap::Command) -> clap::Command {
        ON_THE_BENCH.iter().fold(command, |command, name| {
            let any = Arg::new("arguments")
                .num_args(0..)
                .trailing_var_arg(true)
                .allow_hyphen_values(true);
            let on_the_bench = clap::Command::new(*name).hide(true).arg(any);
            command.subcommand(on_the_bench.disable_help_flag(true))
        })
    }

    fn augment_subcommands_for_update(command: clap::Command) -> clap::Command {
        Self::augment_subcommands(command)
    }

    fn has_subcommand(name: &str) -> bool {
        ON_THE_BENCH.contains(&name)
    }
}

/// No daemon runs on this system.
pub(super) fn durable_end(_: &DaemonConfig) -> Option<Seq> {
    None
}

/// Nothing is fetched from the network on this system.
pub(super) fn fetched(address: &str, _: Option<&Path>) -> Result<Vec<u8>, Failure> {
    Err(
        Failure::usage(format!("{address} is not fetched by this program"))
            .with_remedy("save it as a file first, with a browser, then name the file"),
    )
}

/// The programs and files of the bench are not here.
pub(super) fn surroundings(config: &Config) -> Vec<String> {
    let relies = !config.daemon.announce.is_empty() || !config.sinks.is_empty();
    let said = "programs, passwords and certificates that the configuration names were not looked at, since this is not the bench";
    relies.then(|| said.to_owned()).into_iter().collect()
}

/// Nothing that a configuration names is started on this system, and its owners are not known.
pub(super) fn trusted(_: &Path, _: bool) -> Result<(), Failure> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The help, completions and this refusal know the same subcommands.
    #[test]
    #[cfg(target_os = "linux")]
    fn it_knows_every_subcommand_of_the_bench_and_no_other() {
        let names = |command: clap::Command| {
            let mut names: Vec<String> = command
                .get_subcommands()
                .map(|sub| sub.get_name().to_owned())
                .collect();
            names.sort();
            names
        };
        let bench = crate::cli::bench::Command::augment_subcommands(clap::Command::new("x"));
        let here = Command::augment_subcommands(clap::Command::new("x"));
        assert_eq!(names(here), names(bench));
    }

    #[test]
    fn a_subcommand_of_the_bench_says_where_it_runs_whatever_its_arguments_are() {
        for arguments in [
            &["x", "arm", "pump-own", "--cut"][..],
            &["x", "serve", "--help"],
        ] {
            let command = Command::augment_subcommands(clap::Command::new("x"));
            let matches = command.try_get_matches_from(arguments).unwrap();
            let command = Command::from_arg_matches(&matches).unwrap();
            let failure = command
                .run(&Context::default(), &mut Vec::new())
                .unwrap_err();
            assert_eq!(failure.kind().exit_code(), 2);
            assert!(failure.to_string().starts_with(arguments[1]), "{failure}");
        }
    }
}
