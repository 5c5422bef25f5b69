//! `tallyjaw --help`: the subcommands in groups, in the order of a day at the bench.

use super::Cli;
use anstyle::{AnsiColor, Style};
use clap::CommandFactory;
use std::fmt::Write as _;

/// The groups of the help and the subcommands in each; one that stands in none is put last.
pub(super) const GROUPS: &[(&str, &[&str])] = &[
    ("Run it", &["demo", "serve", "reload"]),
    (
        "Say what is measured",
        &[
            "arm", "disarm", "operator", "tool", "retract", "restore", "resume", "note", "zero",
            "ask", "adapter",
        ],
    ),
    (
        "See what is going on, and what was",
        &[
            "status", "watch", "page", "series", "study", "report", "verify", "export",
        ],
    ),
    (
        "Set it up",
        &[
            "init", "doctor", "check", "ports", "listen", "sheet", "wire", "plans", "tools",
            "cards",
        ],
    ),
    ("Keep what came over a line", &["tape", "replay"]),
    (
        "For programs and the shell",
        &["schema", "completions", "man"],
    ),
];

const EXAMPLES: &str =
    "  tallyjaw demo                      see a whole job with virtual calipers, no hardware needed
  tallyjaw init                      set a bench up: find the caliper, write the configuration
  tallyjaw doctor                    what is wrong here, and what to do about it
  tallyjaw check                     is the configuration right? every mistake, with its place
  tallyjaw serve                     the daemon, until it is stopped
  tallyjaw arm pump-own              tell it what the next crimps are, then just measure
  tallyjaw retract                   that last one was a slip
  tallyjaw study capability 37       do the crimps of a series keep their limits, how surely
  tallyjaw report 37                 the same as a page for the customer, to read and to print
  tallyjaw watch --json              every entry as it becomes durable, for programs

Exit codes: 0 done, 1 the answer is no, 2 wrong use or configuration, 3 no daemon answers,
4 reading or writing failed.
";

const HEADING: Style = Style::new().bold().underline();
const NAME: Style = AnsiColor::Cyan.on_default();

/// The command line's definition, with the grouped help; also what completions and the manual use.
pub(super) fn command() -> clap::Command {
    let command = Cli::command();
    let template = format!(
        "{{about}}\n\n{HEADING}Usage:{HEADING:#} {{usage}}\n\n{}{HEADING}Options:{HEADING:#}\n{{options}}\n\n{HEADING}Examples:{HEADING:#}\n{EXAMPLES}",
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
