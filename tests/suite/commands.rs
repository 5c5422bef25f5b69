//! The commands that speak to a daemon or read its journal: what they print and how they end.

use crate::golden;
use crate::harness::{Shop, TZ};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Output, Stdio};

fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn the_help_reads_as_it_was_written() {
    let help = Command::new(crate::harness::program())
        .arg("--help")
        .env("COLUMNS", "100")
        .env("TZ", TZ)
        .env_remove("TALLYJAW_CONFIG")
        .output()
        .unwrap();
    assert_eq!(code(&help), 0);
    golden::assert_same("help/tallyjaw.txt", &out(&help));
}

#[test]
fn wrong_arguments_end_with_2_and_the_nearest_right_one() {
    let shop = Shop::new();
    for (arguments, said) in [
        (&["stauts"][..], "status"),
        (&["arm", "--wier", "2.0 mm²"], "--wire"),
        (&["arm", "pump-own", "--pieces", "3"], "cannot be used with"),
        (&["arm", "--purpose", "firstoff"], "first_off"),
        (&["note"], "<TEXT>..."),
    ] {
        let output = shop.run(arguments);
        assert_eq!(code(&output), 2, "{arguments:?}");
        assert!(
            err(&output).contains(said),
            "{arguments:?}: {}",
            err(&output)
        );
    }
}

#[test]
fn a_typo_in_the_configuration_keeps_nobody_from_the_daemon_that_runs() {
    let shop = Shop::new();
    let daemon = shop.start();
    for typo in ["[daemon]\nshetes = 1", "[daemon\n"] {
        shop.write(
            "tallyjaw.toml",
            &shop.configuration().replacen("[daemon]", typo, 1),
        );
        let output = shop.run(&["status"]);
        assert_eq!(code(&output), 0, "{typo:?}: {}", err(&output));
        assert!(out(&output).contains("start a plan"), "{}", out(&output));
        assert!(
            err(&output).contains("(tallyjaw check shows them)"),
            "{}",
            err(&output)
        );
        assert_eq!(code(&shop.run(&["check"])), 1);
    }
    daemon.stop();
    assert_eq!(
        code(&shop.run(&["status"])),
        2,
        "without one the mistake is told"
    );
}

#[test]
fn without_a_daemon_every_command_that_needs_one_ends_with_3_and_says_how_to_start_it() {
    let shop = Shop::new();
    for arguments in [
        &["status"][..],
        &["watch"],
        &["arm", "pump-own"],
        &["disarm"],
        &["retract"],
        &["note", "x"],
        &["zero"],
        &["operator", "mara"],
        &["tool", "T-07"],
        &["reload"],
    ] {
        let output = shop.run(arguments);
        assert_eq!(code(&output), 3, "{arguments:?}: {}", err(&output));
        let said = err(&output);
        assert!(said.starts_with("error: no daemon answers at "), "{said}");
        assert!(
            said.contains("\nhelp: start it in another terminal: tallyjaw serve"),
            "{said}"
        );
        assert!(output.stdout.is_empty());
    }
}

#[test]
fn without_a_configuration_it_says_where_it_looked() {
    let nowhere = tempfile::tempdir().unwrap();
    let output = Command::new(crate::harness::program())
        .arg("status")
        .current_dir(&nowhere)
        .env("XDG_CONFIG_HOME", nowhere.path())
        .env_remove("TALLYJAW_CONFIG")
        .output()
        .unwrap();
    assert_eq!(code(&output), 2);
    assert!(
        err(&output).contains("looked for tallyjaw.toml, "),
        "{}",
        err(&output)
    );
}

#[test]
fn a_job_can_be_done_from_the_command_line_alone() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let armed = shop.run(&["arm", "pump-own", "--operator", "mara"]);
    assert_eq!(code(&armed), 0, "{}", err(&armed));
    for part in [
        "QF-250-F (made up)",
        "core crimp height 1.62 ±0.05 mm",
        "is 49 % of the core crimp height tolerance",
        "bench-1: close the jaws of caliper-1",
    ] {
        assert!(out(&armed).contains(part), "{part} not in {}", out(&armed));
    }
    let series = feed.wait_for("armed")["seq"].to_string();
    shop.press(0);
    feed.wait_for("zeroed");
    for hundredths in [162, 175] {
        shop.press(hundredths);
        feed.wait_for("reading");
    }
    let wrong = shop.run(&["tool", "R-02"]);
    assert_eq!(code(&wrong), 2);
    assert!(err(&wrong).contains("no tool \"R-02\""), "{}", err(&wrong));
    assert!(out(&shop.run(&["operator", "jo"])).starts_with("operator set"));
    assert!(out(&shop.run(&["retract"])).starts_with("retracted"));
    assert!(out(&shop.run(&["note", "a", "slip"])).starts_with("noted"));
    let status = out(&shop.run(&["status"]));
    assert!(
        status.contains("measure piece 2 of 5: core crimp height"),
        "{status}"
    );
    assert!(status.contains("  station    jo\n"), "{status}");
    assert!(
        status.contains("✗ FAIL 1.75 mm, above the upper limit, piece 2"),
        "{status}"
    );
    assert!(status.contains("1 passed, 1 retracted"), "{status}");
    assert!(status.contains("connected, "), "{status}");
    assert_eq!(code(&shop.run(&["status", "--station", "bench-2"])), 2);
    assert!(out(&shop.run(&["disarm"])).starts_with("stopped early"));
    assert_eq!(code(&shop.run(&["disarm"])), 2);

    let list = out(&shop.run(&["series"]));
    assert!(list.contains("stopped early"), "{list}");
    let one = out(&shop.run(&["series", &series]));
    assert!(one.contains("1.75 mm"), "{one}");
    assert!(one.contains("(retracted later)"), "{one}");
    assert!(one.contains("  note        a slip"), "{one}");
    assert_eq!(code(&shop.run(&["series", "9999"])), 2);
    drop(daemon);
    assert_eq!(out(&shop.run(&["series"])), list, "no daemon is needed");
}

#[test]
fn a_rejected_series_answers_no() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let arm = [
        "arm",
        "--terminal",
        "QF-250-F",
        "--wire",
        "2.0 mm²",
        "--axis",
        "core_crimp_height",
        "--no-first-zero",
        "--no-closing-zero",
    ];
    for (hundredths, exit, outcome) in [(162, 0, "accepted"), (180, 1, "rejected")] {
        let armed = shop.run(&arm);
        assert_eq!(code(&armed), 0, "{}", err(&armed));
        shop.press(hundredths);
        let completed = feed.wait_for("completed");
        assert_eq!(completed["outcome"], outcome);
        let series = completed["series"].to_string();
        let shown = shop.run(&["series", &series, "--json"]);
        assert_eq!(code(&shown), exit);
        let shown: Value = serde_json::from_str(&out(&shown)).unwrap();
        assert_eq!(shown["outcome"], outcome);
        assert_eq!(shown["readings"][0]["fate"], "stands");
        assert_eq!(
            shown["readings"][0]["reading"]["value_nm"],
            hundredths * 10_000
        );
    }
}

#[test]
fn watch_shows_the_feed_as_it_is_or_in_words() {
    let shop = Shop::new();
    let daemon = shop.start();
    daemon.call("note", &json!({"text": "forged\n#99 \u{1b}[2Jpass"}));
    let start = |arguments: &[&str]| {
        let mut child = shop
            .tallyjaw(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let text = BufReader::new(child.stdout.take().unwrap());
        (child, text)
    };
    let (mut watch, mut raw_lines) = start(&["watch", "--json", "--after", "0"]);
    let (mut words, mut text_lines) = start(&["watch", "--after", "0"]);
    daemon.call("note", &json!({"text": "the end"}));
    let (mut raw, mut text) = (String::new(), String::new());
    while !raw.contains("the end") {
        assert_ne!(raw_lines.read_line(&mut raw).unwrap(), 0, "{raw}");
    }
    // The next action is requested from the daemon, which must still run.
    while !text.contains("the end") || !text.contains("→ next") {
        assert_ne!(text_lines.read_line(&mut text).unwrap(), 0, "{text}");
    }
    daemon.stop();
    raw_lines.read_to_string(&mut raw).unwrap();
    text_lines.read_to_string(&mut text).unwrap();
    let stored = shop.journal_lines();
    let entries: Vec<&str> = raw
        .split_inclusive('\n')
        .filter(|line| line.starts_with("{\"v\""))
        .collect();
    assert_eq!(
        entries,
        stored.iter().map(String::as_str).collect::<Vec<_>>()
    );
    let (prompts, lines): (Vec<&str>, Vec<&str>) =
        text.lines().partition(|line| line.starts_with("→ next"));
    assert!(
        !prompts.is_empty()
            && prompts
                .iter()
                .all(|line| line.ends_with(" bench-1: start a plan")),
        "{prompts:?}"
    );
    assert_eq!(
        lines.len(),
        stored.len() + 1,
        "a line an entry and one for hello: {text}"
    );
    assert!(text.contains("  note        the end"));
    assert!(!text.contains('\u{1b}'), "{text:?}");
    assert_eq!(watch.wait().unwrap().code(), Some(3), "the daemon has gone");
    assert_eq!(words.wait().unwrap().code(), Some(3));
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let shop = Shop::new();
    let mut child = shop
        .tallyjaw(&["completions", "bash"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take()); // as `| head -0` would
    let output = child.wait_with_output().unwrap();
    assert_eq!(code(&output), 0, "{}", err(&output));
    assert_eq!(err(&output), "");
}

#[test]
fn completions_and_manual_know_every_subcommand() {
    let shop = Shop::new();
    for shell in ["bash", "zsh", "fish"] {
        let script = out(&shop.run(&["completions", shell]));
        for name in ["serve", "arm", "retract", "series", "verify"] {
            assert!(script.contains(name), "{shell}: {name}");
        }
    }
    let page = out(&shop.run(&["man"]));
    assert!(page.contains(".TH tallyjaw 1"), "{page}");
    assert!(out(&shop.run(&["man", "arm"])).contains("QF\\-250\\-F"));
}
