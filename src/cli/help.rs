//! `tallyjaw --help`: the subcommands in groups, in the order of a day at the bench.

use super::Cli;
use super::bench::EXAMPLES;
use anstyle::{AnsiColor, Style};
use clap::CommandFactory;
use std::fmt::Write as _;

/// Groups of the help with their subcommands. A subcommand without a group comes last.
pub(super) const GROUPS: &[(&str, &[&str])] = &[
    ("Run the daemon", &["demo", "serve", "reload"]),
    (
        "Measure",
        &[
            "arm", "disarm", "operator", "tool", "job", "lot", "retract", "restore", "resume",
            "look", "pulled", "picture", "crimps", "settle", "note", "zero", "ask", "adapter",
        ],
    ),
    (
        "Look and prove",
        &[
            "status",
            "watch",
            "page",
            "token",
            "series",
            "jobs",
            "runs",
            "qualified",
            "study",
            "report",
            "label",
            "verify",
            "key",
            "export",
            "archive",
            "timestamp",
        ],
    ),
    (
        "Set up",
        &[
            "init", "doctor", "check", "ports", "listen", "sheet", "wire", "plans", "tools",
            "nests", "cards",
        ],
    ),
    ("Record a port", &["tape", "replay"]),
    (
        "For programs and the shell",
        &["schema", "completions", "man"],
    ),
];

const EXIT_CODES: &str = "Exit codes: 0 done or yes, 1 no, 2 wrong use or configuration, 3 no daemon answers, 4 reading or writing failed.\n";

const HEADING: Style = Style::new().bold().underline();
const NAME: Style = AnsiColor::Cyan.on_default();

/// The definition of the command line with the grouped help. Completions and the manual page use it too.
pub(super) fn command() -> clap::Command {
    let command = Cli::command();
    let template = format!(
        "{{about}}\n\n{HEADING}Usage:{HEADING:#} {{usage}}\n\n{}{HEADING}Options:{HEADING:#}\n{{options}}\n\n{HEADING}Examples:{HEADING:#}\n{EXAMPLES}\n{EXIT_CODES}",
        groups(&command)
    );
    command.help_template(template)
}

fn groups(command: &clap::Command) -> String {
    let listed = |name: &str| GROUPS.iter().any(|(_, names)| names.contains(&name));
    let rest: Vec<&str> = command
        .get_subcommands()
        .map(clap::Command::get_name)
        .filter(|name| !listed(name))
        .collect();
    let mut text = String::new();
    for (heading, names) in GROUPS
        .iter()
        .map(|(heading, names)| (*heading, *names))
        .chain([("More", rest.as_slice())])
    {
        let lines: Vec<String> = names
            .iter()
            .filter_map(|name| command.find_subcommand(name))
            .filter(|sub| !sub.is_hide_set())
            .map(|sub| {
                let about = sub.get_about().map(ToString::to_string).unwrap_or_default();
                format!("  {NAME}{:<12}{NAME:#} {about}\n", sub.get_name())
            })
            .collect();
        if !lines.is_empty() {
            let _ = write!(text, "{HEADING}{heading}:{HEADING:#}\n{}\n", lines.concat());
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_definition_holds_together() {
        command().debug_assert();
    }

    #[test]
    fn every_subcommand_stands_in_a_group_of_the_help_and_says_what_it_does() {
        for sub in command().get_subcommands() {
            let name = sub.get_name();
            assert!(
                GROUPS.iter().any(|(_, names)| names.contains(&name)),
                "{name} stands in no group"
            );
            assert!(sub.get_about().is_some(), "{name} says nothing of itself");
        }
    }
}
