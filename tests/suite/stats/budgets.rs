//! `tallyjaw study uncertainty` on the budgets of a configuration.

use crate::golden;
use crate::harness::Shop;
use serde_json::Value;
use std::process::Output;

const BUDGET: &str = r#"
[[uncertainty]]
name = "caliper-1/2026-11"
instrument = "caliper-1"
[[uncertainty.contribution]]
source = "calibration"
expanded = "0.012 mm"
coverage = 2
degrees_of_freedom = 50
[[uncertainty.contribution]]
source = "resolution"
half_width = "0.005 mm"
[[uncertainty.contribution]]
source = "zero"
half_width = "0.005 mm"
[[uncertainty.contribution]]
source = "repeatability"
standard = "0.004 mm"
degrees_of_freedom = 29
[[uncertainty.contribution]]
source = "reproducibility"
standard = "0.003 mm"
degrees_of_freedom = 2
[[uncertainty.contribution]]
source = "temperature"
expansion = 11.5
length = "1.62 mm"
kelvin = 5
"#;

fn shop() -> Shop {
    let shop = Shop::new();
    shop.write(
        "tallyjaw.toml",
        &format!("{}{BUDGET}", shop.configuration()),
    );
    shop
}

fn text(output: &Output) -> String {
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// Fewer simulated errors than the usual million, which take a debug build seconds.
const FEW: [&str; 2] = ["--trials", "20000"];

#[test]
fn a_budget_is_shown_with_its_contributions_and_what_follows_from_them() {
    let shop = shop();
    let svg = shop.path("budget.svg");
    let picture = ["--svg", svg.to_str().unwrap()];
    let name = ["study", "uncertainty", "caliper-1/2026-11"];
    let shown = text(&shop.run(&[&name[..], &FEW, &picture].concat()));
    golden::assert_same("study/uncertainty.txt", &shown);
    let drawn = std::fs::read_to_string(svg).unwrap();
    assert!(
        drawn.starts_with("<svg") && drawn.contains("reproducibility"),
        "{drawn}"
    );
    let json = text(&shop.run(&[&name[..], &FEW, &["--json"]].concat()));
    golden::assert_same("study/uncertainty.json", &json);
    let json: Value = serde_json::from_str(&json).unwrap();
    let number = |name: &str| json[name].as_f64().unwrap();
    // u⁴ / (6⁴/50 + 4⁴/29 + 3⁴/2) of u = 8.8130 µm, from an independent computation
    assert!((number("u") - 0.008_813_0).abs() < 1e-7, "{json}");
    assert!(
        (number("degrees_of_freedom") - 80.169).abs() < 0.01,
        "{json}"
    );
    assert!((number("coverage") - 1.990_063).abs() < 1e-6, "{json}");
}

#[test]
fn without_a_name_all_are_shown_and_a_wrong_name_is_refused() {
    let shop = shop();
    let all = text(&shop.run(&[&["study", "uncertainty"][..], &FEW].concat()));
    assert!(all.contains("caliper-1/2026-11"), "{all}");
    let wrong = shop.run(&["study", "uncertainty", "caliper-1/2026-10"]);
    assert_eq!(wrong.status.code(), Some(2));
    let said = String::from_utf8_lossy(&wrong.stderr).into_owned();
    assert!(
        said.contains("did you mean \"caliper-1/2026-11\"?"),
        "{said}"
    );
    let none = Shop::new().run(&["study", "uncertainty"]);
    assert_eq!(none.status.code(), Some(2));
}
