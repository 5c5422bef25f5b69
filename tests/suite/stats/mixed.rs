//! Readings of different nominals are not pooled: they are refused, or studied as deviations that are said to be so.

use crate::harness::Shop;
use serde_json::Value;

const SHEET: &str = r#"
[[terminal]]
id = "QF-250-F"
source = "made up"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"

[[terminal.row]]
wire = "5.0 mm²"
core_crimp_height = "1.82 ±0.05 mm"
"#;

pub(super) fn plan(id: &str, wire: &str) -> String {
    format!(
        "[[plan]]\nid = \"{id}\"\nterminal = \"QF-250-F\"\nwire = \"{wire}\"\naxes = [\"core_crimp_height\"]\npieces = 4\npurpose = \"in_process\"\ndecision = \"simple\"\nzero = {{ before_first = false, closing = false }}\n\n"
    )
}

#[test]
fn readings_of_two_nominals_are_refused_unless_their_deviation_is_asked_for() {
    let mut shop = Shop::new();
    shop.write("sheet.toml", SHEET);
    shop.write(
        "plans.toml",
        &(plan("two", "2.0 mm²") + &plan("three", "5.0 mm²")),
    );
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    for (plan, hundredths) in [
        ("two", [161, 162, 163, 162]),
        ("three", [181, 182, 183, 184]),
    ] {
        let armed = shop.run(&["arm", plan]);
        assert!(
            armed.status.success(),
            "{}",
            String::from_utf8_lossy(&armed.stderr)
        );
        for value in hundredths {
            shop.press(value);
            feed.wait_for("reading");
        }
        feed.wait_for("completed");
    }
    let axis = ["--axis", "core_crimp_height"];
    for study in [
        &["describe"][..],
        &["chart"],
        &["drift"],
        &["compare", "--group", "wire"],
        &["capability", "--spec", "1.72 ±0.2 mm"],
    ] {
        let output = shop.run(&[&["study"], study, &axis].concat());
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{study:?}: {error}");
        for said in [
            "different nominals: 1.62 ±0.05 mm, and 1.82 ±0.05 mm",
            "--deviation",
        ] {
            assert!(error.contains(said), "{study:?}: {error}");
        }
        assert!(output.stdout.is_empty(), "{study:?}");
        if study.contains(&"--spec") {
            continue;
        }
        let output = shop.run(&[&["study"], study, &axis, &["--deviation", "--json"]].concat());
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{study:?}: {error}");
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        let of = told["of"].as_str().unwrap();
        assert!(
            of.starts_with("deviation from nominal of core crimp height"),
            "{of}"
        );
        assert_eq!(told["limits"], "0.00 ±0.05 mm", "{told}");
        if study == ["describe"] {
            assert_eq!(
                (&told["min"], &told["max"]),
                (&(-0.01).into(), &0.02.into())
            );
        }
    }
    let one = shop.run(&[
        "study",
        "describe",
        "--axis",
        "core_crimp_height",
        "--wire",
        "5.0 mm²",
    ]);
    assert!(
        one.status.success(),
        "{}",
        String::from_utf8_lossy(&one.stderr)
    );
    daemon.stop();
}
