//! The commands that look things up: check, wire, sheet, plans, tools. Exit codes and output.

use crate::golden;
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn tallyjaw(folder: &Path, arguments: &str) -> Output {
    Command::new(crate::harness::program())
        .args(arguments.split_whitespace())
        .current_dir(folder)
        .env_remove("TALLYJAW_CONFIG")
        .env_remove("XDG_CONFIG_HOME")
        .env("HOME", folder)
        .output()
        .unwrap()
}

fn example() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("config")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Exit code, standard output, standard error.
fn run(folder: &Path, arguments: &str) -> (Option<i32>, String, String) {
    let output = tallyjaw(folder, arguments);
    (
        output.status.code(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

#[test]
fn a_configuration_with_ten_mistakes_gives_ten_located_errors_in_one_run() {
    let folder = golden::folder().join("check/ten_mistakes");
    let (code, out, err) = run(&folder, "check");
    assert_eq!((code, err.as_str()), (Some(1), ""));
    golden::assert_same("check/ten_mistakes.txt", &out);
    assert_eq!(out.lines().last(), Some("10 errors in 4 files"));
    assert_eq!(out.matches("error: ").count(), 10);

    let (code, out, _) = run(&folder, "check --json");
    assert_eq!(code, Some(1));
    let lines: Vec<Value> = out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let places: Vec<String> = lines
        .iter()
        .filter(|line| line["kind"] == "error")
        .map(|line| {
            format!(
                "{}:{}:{}",
                line["file"].as_str().unwrap(),
                line["line"],
                line["column"]
            )
        })
        .collect();
    assert_eq!(
        places,
        [
            "tallyjaw.toml:11:1",
            "tallyjaw.toml:12:11",
            "tallyjaw.toml:14:8",
            "tallyjaw.toml:15:8",
            "tallyjaw.toml:17:14",
            "sheets/pump.toml:6:21",
            "sheets/pump.toml:10:8",
            "tools.toml:3:9",
            "plans.toml:3:12",
            "plans.toml:6:10",
        ]
    );
    assert_eq!(lines.last().unwrap()["errors"], 10);
}

#[test]
fn a_clean_configuration_says_what_is_in_it() {
    let folder = dated("2000-01-01", "2999-12-31");
    let (code, out, err) = run(folder.path(), "check");
    assert_eq!((code, err.as_str()), (Some(0), ""));
    assert_eq!(
        out,
        "tallyjaw.toml: no errors\n\
         2 stations, 5 instruments, 3 terminals with 7 rows, 5 plans, 2 tools\n"
    );
    let (code, out, _) = run(folder.path(), "check --json");
    let line: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &line["errors"]), (Some(0), &Value::from(0)));
    assert_eq!(line["digest"].as_str().unwrap().len(), 64);
}

/// The example, its instrument and its tool last looked after on one day and due on another.
fn dated(done: &str, due: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let copied = Command::new("cp")
        .args(["-r", "."])
        .arg(folder.path())
        .current_dir(example())
        .status();
    assert!(copied.unwrap().success());
    for file in ["tallyjaw.toml", "tools.toml"] {
        let path = folder.path().join(file);
        let mut text = String::new();
        for line in fs::read_to_string(&path).unwrap().lines() {
            let day = match line.split(" = ").next().unwrap() {
                "calibrated" | "last_check" => done,
                "calibration_due" | "check_due" => due,
                "announce" => continue, // the program is not on every machine
                _ => {
                    let _ = writeln!(text, "{line}");
                    continue;
                }
            };
            let key = line.split(" = ").next().unwrap();
            let _ = writeln!(text, "{key} = \"{day}\"");
        }
        fs::write(path, text).unwrap();
    }
    folder
}

#[test]
fn what_is_overdue_or_dated_ahead_is_warned_of_by_check_and_by_tools() {
    let overdue = dated("2000-01-01", "2001-01-01");
    let (code, out, _) = run(overdue.path(), "check");
    assert_eq!(code, Some(0), "a warning is no mistake");
    assert_eq!(
        out,
        "warning: the calibration of caliper-1 was due on 2001-01-01: have it calibrated\n\n\
         warning: the check of T-07 was due on 2001-01-01: have it checked\n\n\
         tallyjaw.toml: no errors, 2 warnings\n\
         2 stations, 5 instruments, 3 terminals with 7 rows, 5 plans, 2 tools\n"
    );
    let (_, out, _) = run(overdue.path(), "check --json");
    assert_eq!(
        out.lines().filter(|line| line.contains("overdue")).count(),
        2
    );
    let (code, out, _) = run(overdue.path(), "tools");
    assert_eq!(code, Some(0));
    assert!(
        out.ends_with("warning: the check of T-07 was due on 2001-01-01: have it checked\n"),
        "{out}"
    );
    let ahead = dated("2999-01-01", "2999-12-31");
    let (_, out, _) = run(ahead.path(), "check");
    assert_eq!(out.matches("is in the future").count(), 2, "{out}");
}

#[test]
fn no_configuration_and_an_unreadable_one_are_told_apart_by_the_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let (code, _, err) = run(folder.path(), "check");
    assert_eq!(code, Some(2));
    assert!(
        err.contains("no configuration") && err.contains("help: "),
        "{err}"
    );
    let (code, _, err) = run(folder.path(), "check --config none.toml");
    assert_eq!(code, Some(2));
    assert!(
        err.contains("cannot read none.toml") && err.contains("help: "),
        "{err}"
    );
    let (code, _, err) = run(folder.path(), "check --config .");
    assert_eq!(code, Some(4), "{err}");
}

#[test]
fn a_command_that_needs_a_faulty_configuration_tells_every_mistake_on_standard_error() {
    let folder = golden::folder().join("check/ten_mistakes");
    for command in ["sheet", "plans", "tools"] {
        let (code, out, err) = run(&folder, command);
        assert_eq!((code, out.as_str()), (Some(2), ""));
        assert!(err.contains("10 errors in the configuration"), "{err}");
        assert_eq!(err.matches("error: ").count(), 11, "{err}");
        assert!(
            err.contains("help: correct the marked places, then check again: tallyjaw check"),
            "{err}"
        );
    }
}

#[test]
fn a_gauge_is_shown_in_both_systems_and_a_table_lists_all() {
    let (code, out, _) = run(&example(), "wire 12 ga");
    assert_eq!(code, Some(0));
    assert_eq!(
        out,
        "12 ga = 3.0 mm² (SAE metric size; the AWG area is 3.31 mm²), sizing = \"sae_metric\"\n\
         12 ga = 3.31 mm² (AWG area; the SAE metric size is 3.0 mm²), sizing = \"awg_area\"\n\
         12 ga of ISO-size cable is listed as 2.5 mm²; if that is meant, write wire = \"2.5 mm²\"\n\
         \n\
         pull force          at least  in N       source\n\
         ul_486a, AWG 12     70 lbf    311.376 N  UL 486A: seen second-hand in a terminal maker's product \
         specification; that it is UL 486A, from memory\n\
         mil_t_7928, AWG 12  110 lbf   489.304 N  MIL-T-7928: seen second-hand in a terminal maker's product \
         specification; that it is MIL-T-7928, from memory\n\
         If the maker's sheet has no pull force, a plan can name a table: pull_force_table. A value of the \
         sheet is always preferred.\n"
    );
    let (_, out, _) = run(&example(), "wire 2/0 AWG --sizing awg_area --json");
    let line: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(line["mm2"].to_string(), "67.430882");
    let (code, out, err) = run(&example(), "wire 13 ga --sizing sae_metric");
    assert_eq!((code, out.as_str()), (Some(2), ""));
    assert!(
        err.contains("nearest are 12 ga = 3.0 mm² and 14 ga = 2.0 mm²"),
        "{err}"
    );
    let (_, out, _) = run(&example(), "wire");
    golden::assert_same("wire/table.txt", &out);
    let (_, out, _) = run(&example(), "wire --json");
    assert_eq!(out.lines().count(), 44);
}

#[test]
fn sheets_plans_and_tools_are_listed_for_people_and_for_programs() {
    // Dates that no test will live to see pass.
    let folder = dated("2026-09-01", "2999-12-31");
    let mut shown = String::new();
    for command in [
        "sheet",
        "sheet QF-250-F",
        "sheet QF-250-F 2.0mm²",
        "sheet QF-250-F 10 ga --sizing sae_metric",
        "plans",
        "tools",
    ] {
        let (code, out, err) = run(folder.path(), command);
        assert_eq!((code, err.as_str()), (Some(0), ""), "{command}");
        let _ = writeln!(shown, "$ tallyjaw {command}\n{out}");
        let (_, json, _) = run(folder.path(), &format!("{command} --json"));
        assert!(!json.is_empty());
        for line in json.lines() {
            let line: Value = serde_json::from_str(line).unwrap();
            assert!(line["kind"].is_string(), "{line}");
        }
    }
    golden::assert_same("lookup/example.txt", &shown);
}

#[test]
fn what_is_in_no_sheet_is_refused_with_what_there_is() {
    for (command, got, help) in [
        (
            "sheet QF-25-F",
            "no terminal \"QF-25-F\"",
            "did you mean \"QF-250-F\"?",
        ),
        (
            "sheet QF-250-F 0.5mm²",
            "QF-250-F has no row for 0.5 mm²",
            "its rows are for 1.0 mm², 2.0 mm², 5.0 mm²",
        ),
        (
            "sheet QF-250-F 14 ga",
            "14 ga is not one size",
            "for 14 ga the sheet has 2.0 mm² with --sizing sae_metric",
        ),
        (
            "sheet QF-250-F 14 ga --sizing awg_area",
            "has no row for 14 ga = 2.08 mm²",
            "its rows are for 1.0 mm², 2.0 mm², 5.0 mm²; for 14 ga the sheet has 2.0 mm² with --sizing sae_metric\n",
        ),
        (
            "sheet QF-250-F 16 ga",
            "16 ga is not one size",
            "for 16 ga the sheet has 1.0 mm² with --sizing sae_metric\n",
        ),
    ] {
        let (code, out, err) = run(&example(), command);
        assert_eq!((code, out.as_str()), (Some(2), ""), "{command}");
        assert!(err.contains(got) && err.contains(help), "{command}: {err}");
    }
}

#[test]
fn a_make_up_is_checked_against_the_size_that_is_printed_on_the_wire() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, _) = run(folder.path(), "wire 19x0.36");
    assert_eq!(code, Some(0));
    assert!(
        out.contains("listed as 2.0 mm²: thin-wall automotive cable"),
        "{out}"
    );
    assert!(
        out.contains("listed as 14 AWG: automotive low-voltage cable"),
        "{out}"
    );
    for (arguments, want, says) in [
        (
            "30x0.25 --printed 1.5mm²",
            0,
            "no size is nearer to 30 × 0.25 mm than the printed 1.5 mm²",
        ),
        (
            "19x0.40 --printed 2.0mm²",
            1,
            "this is nearer to 2.5 mm² (−4.5 %) than to 2.0 mm² (+19.4 %)",
        ),
        (
            "19x0.37 --printed 14ga --sizing awg_area",
            1,
            "measure a strand to 0.001 mm to decide",
        ),
        (
            "19x0.370 --printed 14ga --sizing awg_area",
            0,
            "no size is nearer",
        ),
    ] {
        let (code, out, err) = run(folder.path(), &format!("wire {arguments}"));
        assert_eq!((code, err.as_str()), (Some(want), ""), "{arguments}");
        assert!(out.contains(says), "{arguments}: {out}");
        let (code, out, _) = run(folder.path(), &format!("wire --json {arguments}"));
        let line: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(
            (code, &line["is_printed_size"]),
            (Some(want), &Value::from(want == 0))
        );
    }
    for (arguments, says) in [
        ("30x0.25 --printed 16ga", "16 ga is not one size"),
        (
            "2.0mm² --printed 14ga",
            "--printed is checked against a make-up",
        ),
        ("--printed 14ga", "no wire was named"),
    ] {
        let (code, _, err) = run(folder.path(), &format!("wire {arguments}"));
        assert_eq!(code, Some(2), "{arguments}");
        assert!(err.contains(says), "{arguments}: {err}");
    }
}

#[test]
fn how_much_of_the_conductor_is_left_in_a_crimp_is_a_figure_with_its_caution() {
    let folder = tempfile::tempdir().unwrap();
    // 0.85 · 1.62 · 2.40 = 3.3048; 3.3048 - 1.6 = 1.7048 of 19 · π/4 · 0.37² = 2.0429; 3.3048 of 1.6 + 2.0429
    let crimp = "wire 19x0.37 --crimp 1.62x2.40 --form-factor 0.85 --barrel 1.6mm²";
    let (code, out, err) = run(folder.path(), crimp);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    for line in [
        "cross-section of the crimp: 3.30 mm² (form factor 0.85 · height · width)",
        "strands in the crimp: 1.70 mm² (cross-section less a barrel of 1.60 mm²), 83.5 % of the conductor's 2.04 mm²",
        "cross-section of the crimp: 90.7 % of barrel and conductor before it",
        "These figures are common practice, no source",
        "The crimp height of the maker's sheet decides, not these figures.",
    ] {
        assert!(out.contains(line), "{line}: {out}");
    }
    let (_, out, _) = run(folder.path(), &format!("--json {crimp}"));
    let line: Value = serde_json::from_str(out.lines().last().unwrap()).unwrap();
    assert_eq!(
        [
            &line["kind"],
            &line["strands_of_conductor_permille"],
            &line["section_of_metal_permille"]
        ],
        [
            &Value::from("crimp_section"),
            &Value::from(835),
            &Value::from(907)
        ]
    );
    let measured = "wire 2.0mm² --crimp 1.62x2.40 --section 3.3mm²";
    let (_, out, _) = run(folder.path(), measured);
    assert!(out.contains("3.30 mm², a form factor of 0.849"), "{out}");
    let (_, out, _) = run(folder.path(), "wire 2.0mm² --strands 1.72mm²");
    assert!(
        out.contains("1.72 mm², 86.0 % of the conductor's 2.00 mm²"),
        "{out}"
    );
    assert!(out.contains("The size of a wire is nominal"), "{out}");
    for (arguments, says) in [
        (
            "19x0.37 --crimp 1.62x2.40",
            "the area of the cross-section is not known",
        ),
        (
            "19x0.37 --barrel 1.6mm²",
            "the area of the cross-section is not known",
        ),
        (
            "19x0.37 --crimp 1.62 --form-factor 0.85",
            "want height and width of the crimp",
        ),
        (
            "19x0.37 --crimp 1.62x-2 --form-factor 0.85",
            "want height and width of the crimp",
        ),
        (
            "19x0.37 --crimp 1.62x2.40 --form-factor 1.2",
            "want above 0 and at most 1",
        ),
        ("19x0.37 --form-factor 0.8", "--crimp"),
        (
            "19x0.37 --crimp 1x1 --section 3mm²",
            "is larger than height × width",
        ),
        (
            "19x0.37 --section 3mm² --barrel 4mm²",
            "nothing is left for the strands",
        ),
        ("14ga --strands 1.7mm²", "14 ga is not one size"),
        ("--strands 1.7mm²", "no wire was named"),
    ] {
        let (code, _, err) = run(folder.path(), &format!("wire {arguments}"));
        assert_eq!(code, Some(2), "{arguments}");
        assert!(err.contains(says), "{arguments}: {err}");
    }
}
