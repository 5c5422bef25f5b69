//! Tests that options have the same meaning and name in every subcommand.
//!
//! A new subcommand that breaks a rule fails here, with the name to use.

use super::help;
use super::query::Query;
use clap::{Arg, Command};
use std::collections::BTreeMap;

/// A command with the words that call it.
struct Called {
    words: String,
    command: Command,
}

/// Every command that can be run.
fn called() -> Vec<Called> {
    let mut command = help::command();
    command.build();
    let mut all = Vec::new();
    walk(&command, "", &mut all);
    assert!(all.len() > 40, "{}", all.len());
    all
}

fn walk(command: &Command, before: &str, all: &mut Vec<Called>) {
    for sub in command.get_subcommands() {
        let words = format!("{before} {}", sub.get_name());
        all.push(Called {
            words: words.trim().to_owned(),
            command: sub.clone(),
        });
        walk(sub, &words, all);
    }
}

fn option<'c>(command: &'c Command, long: &str) -> Option<&'c Arg> {
    command
        .get_arguments()
        .find(|arg| arg.get_long() == Some(long))
}

fn takes_file(arg: &Arg) -> bool {
    let names = arg.get_value_names().unwrap_or_default();
    names.iter().any(|name| name.as_str() == "FILE")
}

/// Options for files that are read, or that are written beside the one of `--out`.
const OTHER_FILES: [&str; 10] = [
    "answer",
    "authority",
    "ca-file",
    "config",
    "from",
    "key",
    "limits",
    "question",
    "save",
    "svg",
];

#[test]
fn a_file_is_made_by_out_and_o_means_nothing_else() {
    for Called { words, command } in called() {
        for arg in command.get_arguments() {
            let long = arg.get_long().unwrap_or_default();
            assert_eq!(
                long == "out",
                arg.get_short() == Some('o'),
                "{words}: -o and --out belong together"
            );
            if !arg.is_positional() && takes_file(arg) {
                assert!(
                    long == "out" || OTHER_FILES.contains(&long),
                    "{words}: --{long} takes a file, want -o/--out if it is made"
                );
            }
        }
    }
}

#[test]
fn what_is_meant_has_one_name() {
    /// Names that other programs use, with the name to use here.
    const NAMES: [(&str, &str); 10] = [
        ("output", "out"),
        ("overwrite", "force"),
        ("replace", "force"),
        ("no-act", "dry-run"),
        ("simulate", "dry-run"),
        ("assume-yes", "yes"),
        ("format", "an argument, or --json"),
        ("from-time", "since"),
        ("to", "until"),
        ("bench", "station"),
    ];
    for Called { words, command } in called() {
        for (wrong, want) in NAMES {
            assert!(
                option(&command, wrong).is_none(),
                "{words}: --{wrong}, want {want}"
            );
        }
        for arg in command.get_arguments() {
            let is_dry_run = arg.get_long() == Some("dry-run");
            assert_eq!(
                is_dry_run,
                arg.get_short() == Some('n'),
                "{words}: -n and --dry-run belong together"
            );
        }
    }
}

#[test]
fn every_command_takes_json_and_a_configuration() {
    for Called { words, command } in called() {
        for long in ["json", "config"] {
            let arg = option(&command, long);
            assert!(arg.is_some_and(Arg::is_global_set), "{words}: no --{long}");
        }
    }
}

/// Studies that are not of readings, or have their options in their command.
const WITHOUT_READINGS: [&str; 2] = ["study run", "study uncertainty"];

#[test]
fn the_same_options_choose_readings_everywhere() {
    let all = called();
    let of = |words: &str| &all.iter().find(|one| one.words == words).unwrap().command;
    let export = of("export");
    let studies = all.iter().map(|one| one.words.as_str());
    let studies: Vec<&str> = studies
        // A plan is made before there are readings.
        .filter(|words| words.starts_with("study ") && !words.starts_with("study plan"))
        .filter(|words| !WITHOUT_READINGS.contains(words))
        .collect();
    assert!(studies.len() > 5, "{studies:?}");
    for words in [&["series", "report", "verify"], &studies[..]].concat() {
        for name in Query::arguments().skip(1) {
            let wanted = option(export, name).unwrap();
            let got = option(of(words), name).unwrap_or_else(|| panic!("{words}: no --{name}"));
            let shown = |arg: &Arg| {
                let help = arg.get_help().map(ToString::to_string);
                (help, arg.get_value_names().map(<[_]>::to_vec))
            };
            assert_eq!(shown(got), shown(wanted), "{words} --{name}");
        }
    }
}

/// Options whose value differs from command to command.
const OTHER_VALUES: [&str; 9] = [
    "after",
    "answer",
    "column",
    "decision",
    "from",
    "reference",
    "size",
    "width",
    "wire",
];

#[test]
fn an_option_of_one_name_takes_one_kind_of_value() {
    let mut known: BTreeMap<String, (String, Vec<String>)> = BTreeMap::new();
    for Called { words, command } in called() {
        for arg in command.get_arguments() {
            let Some(long) = arg.get_long().filter(|long| !OTHER_VALUES.contains(long)) else {
                continue;
            };
            let values = arg.get_value_names().unwrap_or_default();
            let values: Vec<String> = values.iter().map(ToString::to_string).collect();
            let (first, want) = known
                .entry(long.to_owned())
                .or_insert_with(|| (words.clone(), values.clone()));
            assert_eq!(&values, want, "{words} --{long}, want that of {first}");
        }
    }
}

#[test]
fn what_removes_or_sets_up_can_be_tried_first() {
    let all = called();
    for words in ["archive", "init"] {
        let command = &all.iter().find(|one| one.words == words).unwrap().command;
        assert!(
            option(command, "dry-run").is_some(),
            "{words}: no --dry-run"
        );
    }
}

#[test]
fn every_command_has_an_example_in_its_help() {
    for Called { words, command } in called() {
        let is_part_of_another = words.contains(' ');
        let text = command.get_after_help().map(ToString::to_string);
        let text = text.unwrap_or_default();
        assert!(
            is_part_of_another || text.contains("tallyjaw "),
            "{words}: no example in its help"
        );
    }
}

/// The help is as wide as this and no wider (`term_width` in `mod.rs`).
const WIDEST: usize = 100;

#[test]
fn what_stands_under_the_options_breaks_only_where_the_help_breaks_it() {
    for Called { words, command } in called() {
        let text = command.get_after_help().map(ToString::to_string);
        let text = text.unwrap_or_default();
        let lines: Vec<&str> = text.lines().collect();
        for line in lines.iter().filter(|line| line.starts_with("  ")) {
            assert!(line.chars().count() <= WIDEST, "{words}: too wide: {line}");
        }
        // A paragraph is one line: the help breaks it at the width of the terminal.
        for pair in lines.windows(2) {
            let prose = |line: &str| !line.is_empty() && !line.starts_with("  ");
            let broken = prose(pair[0]) && prose(pair[1]);
            assert!(!broken, "{words}: a break in a paragraph: {pair:?}");
        }
    }
}
