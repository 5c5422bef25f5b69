//! The stability of an instrument over months: its drift against independent computations, and `tallyjaw study stability` of a
//! data set of verification series.

use super::reference::assert_close;
use super::study::error;
use crate::harness::Shop;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::stability::{FIGURES, MONTH, Mark, Stability};
use tallyjaw::stats::{Limits, Sample, Undefined};

/// 0.01 mm.
const STEP: i64 = 10_000;

/// A check of the month with this number: for each size its errors, in steps.
type Made = (i64, Vec<(i64, Vec<i64>)>);

fn of(checks: &[Made], step: Option<i64>) -> Result<Stability, Undefined> {
    let mut errors = Vec::new();
    let mut marks = Vec::new();
    for (nth, (month, sizes)) in checks.iter().enumerate() {
        for (size, found) in sizes {
            for error in found {
                errors.push(error * STEP);
                marks.push(Mark {
                    check: format!("{nth}"),
                    size: *size,
                    at: month * MONTH,
                    month: format!("2026-{:02}", month + 1),
                });
            }
        }
    }
    let errors = Sample::from_bases(errors, Unit::Millimetre).unwrap();
    let limit = |base| Some(Quantity::from_base(Dimension::Length, base));
    let limits = Limits {
        lower: limit(-2 * STEP),
        nominal: limit(0),
        upper: limit(2 * STEP),
    };
    Stability::new(&errors.with_step_base(step), &marks, limits)
}

fn figure(of: &Stability, name: &str) -> Result<f64, Undefined> {
    let row = FIGURES.iter().find(|row| row.name == name).unwrap();
    (row.of)(of)
}

fn value(of: &Stability, name: &str) -> f64 {
    figure(of, name).unwrap()
}

/// Mean errors of 2, 0, 4, 2, 6 and 4 steps, each of two readings that are two steps apart.
fn rising() -> Vec<Made> {
    let means = [2, 0, 4, 2, 6, 4];
    let checks = (0..6).zip(means);
    checks
        .map(|(month, mean)| (month, vec![(25, vec![mean - 1, mean + 1])]))
        .collect()
}

#[test]
fn a_drift_is_the_line_of_least_squares_through_the_means_of_checks() {
    // By hand, in steps: Sxx = 17.5 months², Sxy = 13, Syy = 22, b = 26/35, Σ r² = 22 - 13²/17.5, 4 degrees of freedom;
    // t(0.975; 4) = 2.776445.
    let stable = of(&rising(), Some(STEP)).unwrap();
    assert_close("slope", value(&stable, "slope"), 0.26 / 35.0, 1e-12);
    let error = ((22.0 - 169.0 / 17.5) / 4.0_f64 / 17.5).sqrt() / 100.0;
    let reach = 2.776_445_105 * error;
    assert_close(
        "low",
        value(&stable, "slope_low"),
        0.26 / 35.0 - reach,
        1e-8,
    );
    assert_close(
        "high",
        value(&stable, "slope_high"),
        0.26 / 35.0 + reach,
        1e-8,
    );
    assert_close(
        "within",
        value(&stable, "within_sd"),
        0.02_f64.powi(2).sqrt() / 2.0_f64.sqrt(),
        1e-9,
    );
    assert_eq!(value(&stable, "n"), 12.0);
    assert_eq!(value(&stable, "checks"), 6.0);
    assert_eq!(stable.may_be_off(), Ok(0.0));
}

#[test]
fn readings_that_are_all_rounded_the_same_way_leave_room_for_a_drift() {
    let still: Vec<Made> = (0..12)
        .map(|month| (month, vec![(25, vec![0, 0])]))
        .collect();
    let stable = of(&still, Some(STEP)).unwrap();
    // Half a step times Σ|t - t̄| = 36 over Σ(t - t̄)² = 143.
    let most = 0.005 * 36.0 / 143.0;
    assert_close("low", value(&stable, "slope_low"), -most, 1e-9);
    assert_close("high", value(&stable, "slope_high"), most, 1e-9);
    let said = stable.sentences(tallyjaw::stats::text::Digits::of(stable.errors().summary()));
    assert!(said[0].starts_with("no drift is shown: "), "{said:?}");
    assert!(said[0].contains("rounding allowed for"), "{said:?}");
    assert!(
        said[0].contains("over these 11.0 months is not excluded"),
        "{said:?}"
    );
    // Without a known resolution nothing can be said of errors that are all the same.
    let unknown = of(&still, None).unwrap();
    assert_eq!(
        unknown.slope_bounds(),
        Err(Undefined::NoSpread { count: 24 })
    );
}

#[test]
fn what_has_no_value_says_why() {
    let two = of(&rising()[..2], Some(STEP)).unwrap();
    let few = Undefined::NotApplicable {
        why: "a drift needs at least 3 verification series",
    };
    assert_eq!(two.slope_bounds(), Err(few));
    assert_eq!(figure(&two, "residual_sd"), Err(few));
    let at_once: Vec<Made> = rising().into_iter().map(|(_, sizes)| (3, sizes)).collect();
    assert!(matches!(
        of(&at_once, Some(STEP)).unwrap().slope(),
        Err(Undefined::OutOfRange { .. })
    ));
    let once: Vec<Made> = (0..4)
        .map(|month| (month, vec![(25, vec![month])]))
        .collect();
    assert!(matches!(
        figure(&of(&once, Some(STEP)).unwrap(), "within_sd"),
        Err(Undefined::NotApplicable { .. })
    ));
    let mixed = [(0, vec![(10, vec![0])]), (1, vec![(25, vec![0])])];
    assert!(matches!(
        of(&mixed, Some(STEP)),
        Err(Undefined::NotApplicable { .. })
    ));
}

#[test]
fn a_size_that_not_every_check_has_is_no_drift() {
    // A block of 100 mm with an error of four steps was bought in the fourth month.
    let checks: Vec<Made> = (0..8)
        .map(|month| {
            let usual = (25, vec![month % 2, (month + 1) % 2]);
            let new = (100, vec![4, 4]);
            (
                month,
                if month < 4 {
                    vec![usual]
                } else {
                    vec![usual, new]
                },
            )
        })
        .collect();
    let stable = of(&checks, Some(STEP)).unwrap();
    assert_close("slope", value(&stable, "slope"), 0.0, 1e-12);
    let said = stable.sentences(tallyjaw::stats::text::Digits::of(stable.errors().summary()));
    assert!(
        said.iter().any(|one| one.contains("which is left out")),
        "{said:?}"
    );
}

const PLAN: &str = "[[plan]]\nid = \"check\"\nblocks = [\"1.30 mm\", \"25.00 mm\"]\ninstrument = \"caliper-1\"\nrepeats = 2\npurpose = \"verification\"\nzero = { before_first = false, closing = false }\n";

/// A data set of seven verification series, two in the first month and then one each month.
fn year() -> Shop {
    let mut shop = Shop::new();
    shop.write("plans.toml", PLAN);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    for error in [0, 1, 1, 3, 3, 4, 6] {
        daemon.call("arm", &json!({"station": "bench-1", "plan": "check"}));
        feed.wait_for("armed");
        // No value follows itself: the same value at once would be one press.
        for value in [130 + error, 131 + error, 2_500 + error, 2_501 + error] {
            shop.press(value);
            feed.wait_for("reading");
        }
        feed.wait_for("completed");
    }
    let (status, _) = daemon.stop();
    assert!(status.success());
    let file = shop.path("now.csv");
    let made = shop.run(&["export", "csv", "-o", file.to_str().unwrap()]);
    assert!(made.status.success(), "{}", error(&made));
    let text = fs::read_to_string(file).unwrap();
    shop.write("year.csv", &over_months(&text));
    shop
}

/// The export with the times of one series a month.
fn over_months(text: &str) -> String {
    let mut lines = text.lines();
    let head = lines.next().unwrap();
    let column = |name: &str| head.split(',').position(|cell| cell == name).unwrap();
    let (series, at) = (column("series"), column("at_utc"));
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    let mut out = vec![head.to_owned()];
    for line in lines {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        let count = known.len();
        let nth = *known.entry(cells[series].clone()).or_insert(count);
        let month = nth.max(1);
        let day = if nth == 0 { 3 } else { 14 };
        cells[at] = format!("2026-{month:02}-{day}T09:00:00.000000Z").replace("-3T", "-03T");
        out.push(cells.join(","));
    }
    out.join("\n") + "\n"
}

#[test]
fn a_drift_over_months_is_shown_with_a_table_of_months_and_a_picture() {
    let shop = year();
    let (file, svg) = (shop.path("year.csv"), shop.path("stability.svg"));
    let words = |more: &[&'static str]| {
        let mut words = vec![
            "study".to_owned(),
            "stability".to_owned(),
            "--data-set".to_owned(),
        ];
        words.push(file.to_str().unwrap().to_owned());
        words.extend(more.iter().map(|word| (*word).to_owned()));
        words
    };
    let run = |more: &[&'static str]| {
        let words = words(more);
        let output = shop.run(&words.iter().map(String::as_str).collect::<Vec<_>>());
        assert!(output.status.success(), "{}", error(&output));
        String::from_utf8(output.stdout).unwrap()
    };
    let told: Value = serde_json::from_str(&run(&["--json"])).unwrap();
    let months = told["months"].as_array().unwrap();
    assert_eq!(months.len(), 6, "{told}");
    assert_eq!(months[0]["month"], "2026-01");
    assert_eq!(
        (&months[0]["checks"], &months[0]["n"]),
        (&json!(2), &json!(8))
    );
    assert!(
        (months[0]["mean"].as_f64().unwrap() - 0.01).abs() < 1e-9,
        "{told}"
    );
    assert!(months[0]["mean_low"].is_number(), "{told}");
    assert!(months[1]["undefined"]["mean_low"].is_string(), "{told}");
    assert!(told["slope_low"].as_f64().unwrap() > 0.0, "{told}");
    let sentence = told["sentence"].as_str().unwrap();
    assert!(sentence.starts_with("a drift is shown: 0.0"), "{sentence}");
    assert!(
        sentence.contains(" per month (95 % confidence interval"),
        "{sentence}"
    );
    assert!(
        sentence.ends_with("this supposes that the gauge blocks kept their size"),
        "{sentence}"
    );
    let text = run(&[]);
    assert!(
        text.contains("  2026-01: 2 series, 8 readings, mean error 0.0100 mm ("),
        "{text}"
    );
    let words = [
        &["study", "stability", "--data-set"],
        &[file.to_str().unwrap(), "--svg", svg.to_str().unwrap()][..],
    ]
    .concat();
    assert!(shop.run(&words).status.success());
    let drawn = fs::read_to_string(svg).unwrap();
    assert!(
        drawn.contains("2026-06") && drawn.contains("no error"),
        "{drawn}"
    );
    // The journal has them all in one hour: it is said that they are of one month, and there is still a table.
    let now = shop.run(&["study", "stability", "--instrument", "caliper-1", "--json"]);
    let now: Value = serde_json::from_slice(&now.stdout).unwrap();
    assert_eq!(
        (&now["checks"], &now["n"]),
        (&json!(7), &json!(28)),
        "{now}"
    );
    let file = shop.run(&[
        "study",
        "stability",
        "--from",
        "a.csv",
        "--column",
        "v",
        "--unit",
        "mm",
    ]);
    assert_eq!(file.status.code(), Some(2));
    assert!(
        error(&file).contains("a file has no times of its own"),
        "{}",
        error(&file)
    );
}

#[test]
fn a_repair_between_two_checks_and_a_wandering_instrument_are_no_drift() {
    let noise = [0, 1, 0, -1, 1, 0, -1, 0, 1, -1];
    let of_means = |mean: &dyn Fn(i64) -> i64| -> Vec<Made> {
        let errors = |month: i64| {
            let off = noise[usize::try_from(month).unwrap() % 10];
            vec![(25, vec![mean(month) + off - 1, mean(month) + off + 1])]
        };
        (0..24).map(|month| (month, errors(month))).collect()
    };
    let repaired = of_means(&|month| if month < 12 { 0 } else { 8 });
    let wandering =
        of_means(&|month| [0, 3, 6, 8, 9, 8, 6, 3][usize::try_from(month).unwrap() / 3]);
    for checks in [repaired, wandering] {
        let stable = of(&checks, Some(STEP)).unwrap();
        let said = stable.sentences(tallyjaw::stats::text::Digits::of(stable.errors().summary()));
        assert!(
            said[0].starts_with("a straight line does not describe these errors"),
            "{said:?}"
        );
    }
    let drifting = of_means(&|month| month / 2);
    let stable = of(&drifting, Some(STEP)).unwrap();
    let said = stable.sentences(tallyjaw::stats::text::Digits::of(stable.errors().summary()));
    assert!(said[0].starts_with("a drift is shown: 0.00"), "{said:?}");
}
