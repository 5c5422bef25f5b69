//! `tallyjaw study` as an engineer uses it: on CSV files and on the journal.

use crate::golden;
use crate::harness::Shop;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Output};

/// Heights of 25 pieces in hundredths of a millimetre: made up.
const HEIGHTS: [u32; 25] = [
    162, 163, 161, 162, 162, 164, 162, 161, 163, 162, 162, 160, 162, 163, 162, 161, 162, 162, 163,
    162, 164, 163, 165, 164, 165,
];

pub(super) struct Folder(tempfile::TempDir);

impl Folder {
    pub(super) fn new() -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        let mut run = "height,tool,made\n".to_owned();
        for (at, height) in HEIGHTS.iter().enumerate() {
            let tool = if at < 13 { "T-07" } else { "R-02" };
            let _ = writeln!(
                run,
                "{}.{:02},{tool},{}",
                height / 100,
                height % 100,
                40 * at
            );
        }
        folder.write("run.csv", &run);
        folder.write("pull.csv", "force\n195\n188\n201\n182\n190\n");
        let modes = "force,how\n195,broke_in_wire\n188,pulled_out\n201,broke_in_wire\n179,pulled_out\n190,broke_at_crimp\n192,-\n";
        folder.write("modes.csv", modes);
        let grr = super::reference::text("grr.csv");
        folder.write("gauge.csv", &grr);
        folder
    }

    pub(super) fn write(&self, name: &str, text: &str) {
        std::fs::write(self.0.path().join(name), text).unwrap();
    }

    pub(super) fn run(&self, arguments: &[&str]) -> Output {
        Command::new(crate::harness::program())
            .arg("study")
            .args(arguments)
            .current_dir(self.0.path())
            .env_remove("TALLYJAW_CONFIG")
            .env("NO_COLOR", "1")
            .output()
            .unwrap()
    }

    pub(super) fn text(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", error(&output));
        String::from_utf8(output.stdout).unwrap()
    }

    pub(super) fn json(&self, arguments: &[&str]) -> Value {
        serde_json::from_str(&self.text(&[arguments, &["--json"]].concat())).unwrap()
    }

    /// The study is refused as wrong use, and its message has these words.
    pub(super) fn refuses(&self, arguments: &[&str], said: &str) {
        let output = self.run(arguments);
        let code = output.status.code();
        assert_eq!(code, Some(2), "{arguments:?}: {}", error(&output));
        let told = error(&output);
        assert!(told.contains(said), "{arguments:?}: {told}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }

    pub(super) fn path(&self) -> &Path {
        self.0.path()
    }
}

pub(super) fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

pub(super) const RUN: [&str; 6] = ["--from", "run.csv", "--column", "height", "--unit", "mm"];
const SPEC: [&str; 2] = ["--spec", "1.62 ±0.05 mm"];
const GAUGE: [&str; 6] = ["--from", "gauge.csv", "--column", "value", "--unit", "mm"];

pub(super) fn with<'a>(study: &'a str, source: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    [&[study][..], source, more].concat()
}

#[test]
fn every_study_of_a_file_reads_as_it_was_written() {
    let folder = Folder::new();
    let run_spec = [&RUN[..], &SPEC].concat();
    let pull = [
        "--from", "pull.csv", "--column", "force", "--unit", "N", "--spec", ">= 180 N",
    ];
    let modes = [&["--from", "modes.csv"], &pull[2..]].concat();
    for (name, arguments) in [
        ("describe", with("describe", &RUN, &[])),
        ("capability", with("capability", &run_spec, &[])),
        (
            "capability_of_subgroups",
            with("capability", &run_spec, &["--size", "5"]),
        ),
        ("chart", with("chart", &RUN, &["--baseline", "15"])),
        (
            "chart_of_subgroups",
            with("chart", &RUN, &["--size", "5", "--kind", "mean_range"]),
        ),
        (
            "chart_cusum",
            with("chart", &RUN, &["--kind", "cusum", "--baseline", "15"]),
        ),
        (
            "compare",
            with(
                "compare",
                &run_spec,
                &["--group", "tool", "--margin", "0.02 mm"],
            ),
        ),
        (
            "gauge",
            with(
                "gauge",
                &GAUGE,
                &["--part", "part", "--appraiser", "appraiser"],
            ),
        ),
        (
            "gauge_by_range",
            with(
                "gauge",
                &GAUGE,
                &[
                    "--part",
                    "part",
                    "--appraiser",
                    "appraiser",
                    "--method",
                    "range",
                ],
            ),
        ),
        ("drift", with("drift", &run_spec, &["--place", "made"])),
        ("pull", with("pull", &pull, &[])),
        ("pull_modes", with("pull", &modes, &["--pull-mode", "how"])),
    ] {
        golden::assert_same(&format!("study/{name}.txt"), &folder.text(&arguments));
        let told: Value = folder.json(&arguments);
        let pretty = serde_json::to_string_pretty(&told).unwrap();
        golden::assert_same(&format!("study/{name}.json"), &(pretty + "\n"));
    }
}

#[test]
fn the_names_of_the_contract_stand_in_the_objects() {
    let folder = Folder::new();
    let capability = folder.json(&with("capability", &RUN, &SPEC));
    for name in [
        "n",
        "mean",
        "sd",
        "cp",
        "cp_low",
        "cp_high",
        "cpk",
        "cpk_low",
        "cpk_high",
        "pp",
        "pp_low",
        "ppk",
        "ppk_high",
        "sigma_within",
        "ppm_below",
        "ppm_above",
        "tolerance_k",
        "tolerance_low",
        "tolerance_high",
    ] {
        assert!(capability[name].is_number(), "{name}: {capability}");
    }
    let describe = folder.json(&with("describe", &RUN, &[]));
    for name in [
        "n", "mean", "sd", "min", "max", "median", "q1", "q3", "lag1",
    ] {
        assert!(describe[name].is_number(), "{name}: {describe}");
    }
    let near = "two_of_three_near_limit";
    let chart = folder.json(&with("chart", &RUN, &["--baseline", "15", "--rule", near]));
    for name in ["center", "lower", "upper"] {
        assert!(chart["chart"][name].is_number(), "{name}: {chart}");
    }
    assert!(chart["signals"][0]["rule"].is_string() && chart["signals"][0]["at"].is_u64());
    let gauge = folder.json(&with(
        "gauge",
        &GAUGE,
        &["--part", "part", "--appraiser", "appraiser"],
    ));
    for name in ["ndc", "ev", "av", "grr", "pv", "tv"] {
        assert!(gauge[name].is_number(), "{name}: {gauge}");
    }
    let all: Vec<&str> = tallyjaw::stats::statistics()
        .iter()
        .map(|row| row.name)
        .collect();
    assert!(all.contains(&"cpk") && all.contains(&"ndc") && all.len() > 80);
}

#[test]
fn kept_limits_hold_for_later_readings_and_a_gate_ends_with_1_on_a_signal() {
    let folder = Folder::new();
    folder.write("later.csv", "height\n1.62\n1.63\n1.70\n");
    folder.text(&with(
        "chart",
        &RUN,
        &["--baseline", "20", "--save", "kept.json"],
    ));
    let later = [
        "--from",
        "later.csv",
        "--column",
        "height",
        "--unit",
        "mm",
        "--limits",
        "kept.json",
    ];
    let chart = folder.json(&with("chart", &later, &[]));
    assert_eq!(chart["chart"]["baseline_points"], 20);
    let signals = |rule: &str| {
        json!([
            {"panel": "individuals", "rule": rule, "at": 3},
            {"panel": "moving_range", "rule": rule, "at": 3},
        ])
    };
    assert_eq!(chart["signals"], signals("far_beyond_limit"));
    let asked = folder.json(&with("chart", &later, &["--rule", "beyond_limit"]));
    assert_eq!(asked["signals"], signals("beyond_limit"));
    let gated = folder.run(&with("chart", &later, &["--gate"]));
    assert_eq!(gated.status.code(), Some(1), "{}", error(&gated));
    let only = folder.run(&with(
        "chart",
        &later,
        &["--gate", "--rule", "nine_on_one_side"],
    ));
    assert_eq!(only.status.code(), Some(0), "{}", error(&only));
    let gated = folder.run(&with(
        "capability",
        &RUN,
        &["--spec", "1.62 ±0.05 mm", "--gate"],
    ));
    assert_eq!(gated.status.code(), Some(1), "{}", error(&gated));
}

#[test]
fn pictures_are_whole_documents_that_name_nothing_outside() {
    let folder = Folder::new();
    for (study, more) in [
        ("describe", &["--svg", "a.svg"][..]),
        ("chart", &["--svg", "b.svg"]),
    ] {
        folder.text(&with(study, &RUN, more));
        let svg = std::fs::read_to_string(folder.path().join(more[1])).unwrap();
        assert!(
            svg.starts_with("<svg xmlns=") && svg.ends_with("</svg>\n"),
            "{svg}"
        );
        assert_eq!(svg.matches("<g ").count(), svg.matches("</g>").count());
        assert!(
            !svg.contains("href") && !svg.contains("NaN") && !svg.contains("inf"),
            "{svg}"
        );
    }
}

#[test]
fn wrong_use_ends_with_2_and_says_what_to_do() {
    let folder = Folder::new();
    folder.write("bad.csv", "height\n1.62\n1,63 mm\n");
    folder.write("comma.csv", "height\n1.62\n\"1,63\"\n");
    folder.write("empty.csv", "height\n");
    let file = |name: &'static str| ["--from", name, "--column", "height", "--unit", "mm"];
    for (arguments, said) in [
        (
            with(
                "describe",
                &["--from", "run.csv", "--column", "hight", "--unit", "mm"],
                &[],
            ),
            "run.csv has no column \"hight\"",
        ),
        (with("describe", &["--from", "run.csv"], &[]), "--column"),
        (
            with(
                "describe",
                &["--from", "no.csv", "--column", "height", "--unit", "mm"],
                &[],
            ),
            "there is no file no.csv",
        ),
        (
            with("describe", &file("bad.csv"), &[]),
            "bad.csv is no CSV file",
        ),
        (
            with("describe", &file("comma.csv"), &[]),
            "comma.csv:3: not a number: \"1,63\"",
        ),
        (
            with("describe", &file("empty.csv"), &[]),
            "no readings in column",
        ),
        (with("capability", &RUN, &[]), "no limits to compare with"),
        (
            with("capability", &RUN, &["--spec", ">= 180 N"]),
            "of a force, the readings of a length",
        ),
        (with("compare", &RUN, &[]), "--group NAME"),
        (
            with("compare", &RUN, &["--group", "toll"]),
            "has no column \"toll\"",
        ),
        (
            with("chart", &RUN, &["--rule", "beyond_limits"]),
            "beyond_limit",
        ),
        (
            with("chart", &RUN, &["--kind", "mean_range"]),
            "out of range",
        ),
        (
            with("gauge", &RUN, &["--part", "tool", "--appraiser", "tool"]),
            "no gauge study",
        ),
        (
            with("drift", &RUN, &["--against", "time"]),
            "a file has no times",
        ),
        (with("describe", &[], &[]), "no configuration file"),
    ] {
        folder.refuses(&arguments, said);
    }
}

#[test]
fn what_was_retracted_does_not_enter_unless_asked_for_by_name() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let armed = shop.run(&["arm", "no-zero", "--operator", "mara"]);
    assert!(armed.status.success(), "{}", error(&armed));
    let series = feed.wait_for("armed")["seq"].to_string();
    for hundredths in [162, 163, 175] {
        shop.press(hundredths);
        feed.wait_for("reading");
    }
    let retracted = shop.run(&["retract"]);
    assert!(retracted.status.success(), "{}", error(&retracted));
    shop.press(161);
    feed.wait_for("reading");
    let study = |arguments: &[&str]| -> Value {
        let output = shop.run(&[&["study"], arguments, &["--json"]].concat());
        assert!(output.status.success(), "{arguments:?}: {}", error(&output));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let told = study(&["describe", &series]);
    assert_eq!(
        (&told["n"], &told["max"]),
        (&json!(3), &json!(1.63)),
        "{told}"
    );
    let left_out = json!({"doubted": 0, "retracted": 1, "not_counted": 0});
    assert_eq!(told["left_out"], left_out);
    let with = study(&["describe", &series, "--include", "retracted"]);
    assert_eq!(
        (&with["n"], &with["max"]),
        (&json!(4), &json!(1.75)),
        "{with}"
    );
    let queried = study(&[
        "capability",
        "--terminal",
        "QF-250-F",
        "--wire",
        "2.0 mm²",
        "--axis",
        "core_crimp_height",
        "--operator",
        "mara",
        "--purpose",
        "in_process",
        "--since",
        "2000-01-01",
    ]);
    assert_eq!(queried["n"], 3);
    assert_eq!(queried["limits"], "1.62 ±0.05 mm");
    for (arguments, said) in [
        (
            &["describe", "--operator", "nobody"][..],
            "no reading in the journal",
        ),
        (&["describe", "99999"], "no series 99999"),
        (&["describe", "--since", "yesterday"], "want a day such as"),
        (
            &["compare", "--group", "tol"],
            "the journal knows no \"tol\"",
        ),
        (&["compare"], "all these readings are of one tool"),
        (&["gauge"], "no gauge study of these readings"),
    ] {
        let output = shop.run(&[&["study"], arguments].concat());
        assert_eq!(
            output.status.code(),
            Some(2),
            "{arguments:?}: {}",
            error(&output)
        );
        assert!(
            error(&output).contains(said),
            "{arguments:?}: {}",
            error(&output)
        );
    }
    daemon.stop();
}
