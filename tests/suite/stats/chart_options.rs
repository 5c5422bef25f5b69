//! `study chart` with given limits, subgroups of different sizes, limits on the specification, run lengths and nominals.

use super::study::{Folder, RUN, error, with};
use serde_json::Value;
use std::fmt::Write as _;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[test]
fn given_limits_are_no_estimates_and_judge_any_number_of_points() {
    let folder = Folder::new();
    let given = ["--center", "1.62 mm", "--sigma", "0.01 mm"];
    let chart = folder.json(&with("chart", &RUN, &given));
    assert_eq!(chart["judged"], true);
    assert_eq!(chart["chart"]["given"], true);
    assert!(
        (number(&chart["chart"]["upper"]) - 1.65).abs() < 1e-12,
        "{chart}"
    );
    folder.write("three.csv", "height\n1.62\n1.63\n1.70\n");
    let three = ["--from", "three.csv", "--column", "height", "--unit", "mm"];
    let chart = folder.json(&with("chart", &three, &given));
    assert_eq!(chart["judged"], true);
    assert_eq!(chart["signals"][0]["at"], 3);
    let alone = folder.run(&with("chart", &RUN, &["--center", "1.62 mm"]));
    assert_eq!(alone.status.code(), Some(2));
    folder.refuses(
        &with("chart", &RUN, &["--center", "1.62 N", "--sigma", "1 N"]),
        "another dimension",
    );
}

#[test]
fn subgroups_of_different_sizes_are_charted_by_means_and_standard_deviations_alone() {
    let folder = Folder::new();
    let tools = ["--subgroup", "tool"];
    let chart = folder.json(&with("chart", &RUN, &tools));
    // 13 and 12 readings
    assert_eq!(chart["chart"]["size"], 0);
    let upper = &chart["chart"]["panels"][0]["upper"];
    assert!(number(&upper[0]) < number(&upper[1]), "{chart}");
    let text = folder.text(&with("chart", &RUN, &tools));
    assert!(text.contains("stability cannot be judged"), "{text}");
    folder.refuses(
        &with(
            "chart",
            &RUN,
            &["--subgroup", "tool", "--kind", "mean_range"],
        ),
        "groups of 12 to 13 readings",
    );
}

#[test]
fn limits_on_the_specification_replace_those_of_the_process() {
    let folder = Folder::new();
    let given = ["--center", "1.62 mm", "--sigma", "0.01 mm", "--size", "5"];
    let on = ["--spec", "1.62 ±0.05 mm", "--tolerated", "0.1"];
    let chart = folder.json(&with("chart", &RUN, &[&given[..], &on].concat()));
    // 1.67 - (3.0902 - 3/√5) · 0.01
    let upper = number(&chart["chart"]["upper"]);
    assert!((upper - 1.652_514).abs() < 1e-6, "{upper}");
    assert!(chart["false_alarms"].is_null());
    // Of one limit there is one line.
    let one = [
        "--spec",
        ">= 1.57 mm",
        "--tolerated",
        "0.1",
        "--svg",
        "one.svg",
    ];
    let chart = folder.json(&with("chart", &RUN, &[&given[..], &one].concat()));
    let lower = number(&chart["chart"]["lower"]);
    assert!((lower - 1.587_486).abs() < 1e-6, "{lower}");
    assert!(chart["chart"]["upper"].is_null(), "{chart}");
    assert!(chart["chart"]["panels"][0]["upper"].is_null(), "{chart}");
    let text = folder.text(&with("chart", &RUN, &[&given[..], &one[..4]].concat()));
    let panel = text.split("\n\n").nth(1).unwrap();
    assert!(panel.contains("lower control limit 1.587"), "{text}");
    assert!(!panel.contains("upper control limit"), "{text}");
    let without = folder.run(&with("chart", &RUN, &[&given[..], &on[2..]].concat()));
    assert_eq!(without.status.code(), Some(2));
    let single = ["--center", "1.62 mm", "--sigma", "0.02 mm"];
    folder.refuses(
        &with("chart", &RUN, &[&single[..], &on].concat()),
        "the spread is too wide",
    );
}

#[test]
fn run_lengths_are_given_without_a_change_and_after_one() {
    let folder = Folder::new();
    // a decision interval as short as this signals soon, so that the simulation is short
    let given = [
        "--center",
        "1.62 mm",
        "--sigma",
        "0.01 mm",
        "--kind",
        "cusum",
        "--decision",
        "1",
    ];
    let rule = ["--rule", "beyond_limit", "--run-length"];
    let chart = folder.json(&with("chart", &RUN, &[&given[..], &rule].concat()));
    let lengths = chart["run_lengths"].as_array().unwrap();
    assert_eq!(lengths.len(), 6);
    let points: Vec<f64> = lengths
        .iter()
        .map(|length| number(&length["points"]))
        .collect();
    assert!(
        points.windows(2).all(|pair| pair[1] < pair[0]),
        "{points:?}"
    );
    assert!(points[5] < 1.2, "{points:?}");
    // Of each panel alone, where there are several: the panel of sums above signals after a shift up, that below does not.
    let panels = chart["run_lengths_of_panels"].as_array().unwrap();
    let of = |at: usize, shift: usize| number(&panels[at]["run_lengths"][shift]["points"]);
    assert_eq!(panels.len(), 2, "{chart}");
    assert!(of(0, 5) < 1.2 && of(0, 0) > points[0], "{panels:?}");
    assert!(of(1, 1) > of(1, 0), "{panels:?}");
}

#[test]
fn many_signals_are_summarised_by_rule() {
    let folder = Folder::new();
    let mut text = "height\n".to_owned();
    for at in 0..60 {
        let _ = writeln!(text, "{}", if at < 30 { "1.62" } else { "1.70" });
    }
    folder.write("step.csv", &text);
    let step = ["--from", "step.csv", "--column", "height", "--unit", "mm"];
    let given = [
        "--center",
        "1.62 mm",
        "--sigma",
        "0.01 mm",
        "--rule",
        "beyond_limit",
    ];
    let shown = folder.text(&with("chart", &step, &given));
    assert!(
        shown.contains("✕ 30 signals: a point beyond a control limit\n    at 31–60\n"),
        "{shown}"
    );
    let chart = folder.json(&with("chart", &step, &given));
    let alarm = &chart["alarms"][0];
    assert_eq!(alarm["signals"], 30);
    assert_eq!(alarm["first"][0]["from"], 31);
    assert_eq!(
        chart["signals"].as_array().unwrap().len(),
        31,
        "with a moving range"
    );
}

#[test]
fn short_runs_of_different_nominals_are_charted_as_deviations() {
    let folder = Folder::new();
    folder.write(
        "runs.csv",
        "height,nominal\n1.63,1.62\n2.31,2.30\n1.61,1.62\n2.30,2.3\n",
    );
    let runs = [
        "--from",
        "runs.csv",
        "--column",
        "height",
        "--unit",
        "mm",
        "--nominal",
        "nominal",
    ];
    let chart = folder.json(&with("chart", &runs, &[]));
    let points = &chart["chart"]["panels"][0]["points"];
    let points: Vec<f64> = points.as_array().unwrap().iter().map(number).collect();
    assert_eq!(points, [0.01, 0.01, -0.01, 0.0]);
    assert!(
        chart["of"]
            .as_str()
            .unwrap()
            .starts_with("deviation of height from nominal")
    );
    folder.write("fine.csv", "height,nominal\n1.63,1.625\n");
    let fine = [
        "--from",
        "fine.csv",
        "--column",
        "height",
        "--unit",
        "mm",
        "--nominal",
        "nominal",
    ];
    let digits = folder.run(&with("describe", &fine, &[]));
    assert_eq!(
        digits.status.code(),
        Some(0),
        "a nanometre is finer than both: {}",
        error(&digits)
    );
}
