//! What `--gate` passes, and what a study says where it cannot tell.

use super::study::{Folder, RUN, error, with};
use std::fmt::Write as _;

#[test]
fn a_chart_of_too_few_points_says_that_it_cannot_tell_and_its_gate_does_not_pass() {
    let folder = Folder::new();
    folder.write("few.csv", "height\n1.62\n1.63\n1.62\n1.61\n1.62\n");
    let few = ["--from", "few.csv", "--column", "height", "--unit", "mm"];
    let text = folder.text(&with("chart", &few, &[]));
    let said = "no signal; stability cannot be judged, because the control limits are computed from only 5 points (at least 20 are needed); false-alarm rate: these rules signal in ";
    assert!(text.contains(said), "{text}");
    assert!(!text.contains("no signal in"), "{text}");
    let gated = folder.run(&with("chart", &few, &["--gate"]));
    assert_eq!(gated.status.code(), Some(1), "{}", error(&gated));
    let enough = folder.json(&with("chart", &RUN, &["--baseline", "20"]));
    assert_eq!(enough["judged"], true);
    let rate = enough["false_alarms"]["rate"].as_f64().unwrap();
    assert!(rate < 0.05, "{enough}");
    let all = [
        "--rule",
        "nine_on_one_side",
        "--rule",
        "six_trending",
        "--rule",
        "beyond_limit",
    ];
    let asked = folder.json(&with("chart", &RUN, &all));
    assert!(
        asked["false_alarms"]["rate"].as_f64().unwrap() > 0.05,
        "{asked}"
    );
}

#[test]
fn a_gate_passes_on_grounds_only() {
    let folder = Folder::new();
    let mut steady = "height\n".to_owned();
    let mut wandering = steady.clone();
    let mut random = tallyjaw::stats::random::Random::new(1);
    let mut at = 0.0;
    for _ in 0..50 {
        let noise = random.next_normal();
        at = 0.8 * at + noise;
        let _ = writeln!(steady, "{:.2}", 1.62 + 0.01 * noise);
        let _ = writeln!(wandering, "{:.2}", 1.62 + 0.01 * at);
    }
    folder.write("steady.csv", &steady);
    folder.write("wandering.csv", &wandering);
    for (name, code, shown) in [("steady.csv", 0, true), ("wandering.csv", 1, false)] {
        let file = [
            "--from",
            name,
            "--column",
            "height",
            "--unit",
            "mm",
            "--spec",
            "1.62 ±0.15 mm",
        ];
        let gated = folder.run(&with("capability", &file, &["--gate"]));
        let text = String::from_utf8_lossy(&gated.stdout).into_owned();
        assert_eq!(
            gated.status.code(),
            Some(code),
            "{name}: {text}{}",
            error(&gated)
        );
        assert!(
            text.contains("Ppk, lower confidence bound"),
            "figures all the same: {text}"
        );
        let told = folder.json(&with("capability", &file, &[]));
        assert!(told["ppk_least"].as_f64().unwrap() > 1.33, "{told}");
        assert_eq!(told["shown"], shown, "{told}");
        let grounds = told["grounds"].as_array().unwrap();
        let failing = grounds.iter().filter(|ground| ground["holds"] == false);
        assert_eq!(failing.clone().count() == 0, shown);
        assert!(failing.clone().all(|ground| ground["remedy"].is_string()));
        assert_eq!(text.contains("FAILS"), !shown, "{text}");
    }
}
