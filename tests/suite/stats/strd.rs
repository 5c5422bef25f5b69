//! The certified values of the NIST Statistical Reference Datasets.

use super::reference::{digits, json, sample, text};
use serde_json::Value;
use std::process::Command;
use tallyjaw::stats::describe;

#[test]
fn every_univariate_set_is_met_to_fourteen_digits() {
    let certified = json("strd_univariate/certified.json");
    let sets = certified["datasets"].as_object().unwrap();
    assert_eq!(sets.len(), 6);
    for (name, set) in sets {
        let text = text(&format!("strd_univariate/{name}.txt"));
        let sample = sample(text.lines().filter(|line| !line.starts_with('#')));
        assert_eq!(Some(sample.count()), set["n"].as_u64(), "{name}");
        let figures = [
            ("mean", describe::mean(sample.summary())),
            ("sd_n_minus_1", describe::sd(sample.summary())),
            ("lag1_autocorrelation", describe::lag1(sample.summary())),
        ];
        for (figure, got) in figures {
            let want: f64 = set["certified"][figure].as_str().unwrap().parse().unwrap();
            let agree = digits(got.unwrap(), want);
            assert!(agree >= 14.0, "{name} {figure}: {agree} digits agree");
        }
    }
}

/// The sets `SmLs07` to `SmLs09` are `SmLs01` to `SmLs03` with 1,000,000,000,000 before the point where these have 1, and
/// have the same certified values (both from memory; that nothing cancels follows from the definition).
#[test]
fn the_sets_of_thirteen_digits_before_the_point_are_met_as_well_as_their_small_twins() {
    let certified = json("strd_anova/certified.json");
    let folder = tempfile::tempdir().unwrap();
    for (name, twin) in [
        ("SmLs07", "SmLs01"),
        ("SmLs08", "SmLs02"),
        ("SmLs09", "SmLs03"),
    ] {
        let mut lines = text(&format!("strd_anova/{twin}.csv"));
        lines = lines
            .lines()
            .map(|line| match line.rsplit_once(',') {
                Some((group, value)) if value.starts_with("1.") => {
                    format!("{group},1000000000000{}\n", value.trim_start_matches('1'))
                }
                _ => format!("{line}\n"),
            })
            .collect();
        std::fs::write(folder.path().join("set.csv"), &lines).unwrap();
        let (group, value) = lines.lines().next().unwrap().split_once(',').unwrap();
        let output = Command::new(crate::harness::program())
            .args([
                "study", "compare", "--from", "set.csv", "--unit", "mm", "--json",
            ])
            .args(["--column", value, "--group", group])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let told = String::from_utf8(output.stdout).unwrap();
        let told: Value = serde_json::from_str(&told)
            .unwrap_or_else(|_| panic!("{name}: {}", String::from_utf8_lossy(&output.stderr)));
        let want = &certified["datasets"][twin]["certified"];
        for (figure, wanted) in [("anova_f", "F"), ("residual_sd", "residual_sd")] {
            let want: f64 = want[wanted].as_str().unwrap().parse().unwrap();
            let got = find(&told, figure).unwrap_or_else(|| panic!("no {figure} in {told}"));
            let agree = digits(got, want);
            println!("{name} {figure}: {agree:.1} digits");
            assert!(agree >= 15.0, "{name} {figure}: {agree} digits agree");
        }
        assert!(find(&told, "anova_p").unwrap() > 0.0, "{name}");
    }
}

/// A figure, wherever it stands.
fn find(told: &Value, figure: &str) -> Option<f64> {
    match told {
        Value::Object(parts) => parts
            .get(figure)
            .and_then(Value::as_f64)
            .or_else(|| parts.values().find_map(|part| find(part, figure))),
        Value::Array(parts) => parts.iter().find_map(|part| find(part, figure)),
        _ => None,
    }
}
