//! Conclusions of a budget, of run lengths, of three groups, of visual checks and of months, attacked as those of `attacks`.

use super::study::Folder;
use crate::harness::Shop;
use serde_json::Value;
use std::fmt::Write as _;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::Sample;
use tallyjaw::stats::agreement::Answers;
use tallyjaw::stats::distribution::below;
use tallyjaw::stats::random::Random;

/// What is said of a budget of these contributions, by 20,000 simulated errors.
fn budget(contributions: &[&str]) -> Value {
    let shop = Shop::new();
    let head = "\n[[uncertainty]]\nname = \"caliper-1/2026-11\"\ninstrument = \"caliper-1\"\n";
    let mut text = shop.configuration() + head;
    for of in contributions {
        let _ = write!(text, "[[uncertainty.contribution]]\n{of}\n");
    }
    shop.write("tallyjaw.toml", &text);
    let output = shop.run(&["study", "uncertainty", "--trials", "20000", "--json"]);
    assert!(output.status.success(), "{}", super::study::error(&output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn sentence(of: &Value) -> &str {
    of["sentence"].as_str().unwrap()
}

#[test]
fn simulated_errors_are_no_narrower_interval_where_they_leave_degrees_of_freedom_out() {
    // A half-width that somebody guessed: with two degrees of freedom k is 4.3, which no simulated error knows.
    let of = budget(&[
        "source = \"other\"\nhalf_width = \"0.02 mm\"\ndegrees_of_freedom = 2",
        "source = \"resolution\"\nhalf_width = \"0.005 mm\"",
    ]);
    let simulated = of["simulated_to"].as_f64().unwrap();
    assert!(of["expanded"].as_f64().unwrap() > 2.0 * simulated, "{of}");
    assert!(!sentence(&of).contains("take this interval"), "{of}");
    assert!(
        sentence(&of)
            .contains("they take half-widths as exact, and one here has degrees of freedom"),
        "{of}"
    );
    // Without degrees of freedom the simulation is the better one, and is to be taken.
    let of = budget(&[
        "source = \"other\"\nhalf_width = \"0.2 mm\"",
        "source = \"resolution\"\nhalf_width = \"0.005 mm\"",
    ]);
    let said = sentence(&of);
    assert!(
        said.contains("take this interval") || said.contains("confirm it to 1 digit"),
        "{of}"
    );
}

#[test]
fn a_budget_that_lists_one_cause_twice_names_what_it_supposes() {
    let cause = "source = \"calibration\"\nexpanded = \"0.012 mm\"\ncoverage = 2";
    let (one, two) = (budget(&[cause]), budget(&[cause, cause]));
    // The same error twice is twice as large; of independent ones it is √2.
    let ratio = two["u"].as_f64().unwrap() / one["u"].as_f64().unwrap();
    assert!((ratio - 2.0_f64.sqrt()).abs() < 1e-9, "{two}");
    for of in [one, two] {
        assert!(
            sentence(&of).ends_with("; this supposes independent contributions, each stated once"),
            "{of}"
        );
    }
}

/// A repeatability of two readings: Student's t, whose simulated errors are as wide as the formula says.
#[test]
fn a_repeatability_of_two_readings_has_a_wide_interval_by_both_methods() {
    let of =
        budget(&["source = \"repeatability\"\nstandard = \"0.005 mm\"\ndegrees_of_freedom = 1"]);
    let (expanded, simulated) = (&of["expanded"], &of["simulated_to"]);
    let (expanded, simulated) = (expanded.as_f64().unwrap(), simulated.as_f64().unwrap());
    // t(0.975; 1) = 12.706
    assert!((expanded - 0.063_53).abs() < 1e-4, "{of}");
    assert!((simulated / expanded - 1.0).abs() < 0.2, "{of}");
    assert!(of["undefined"]["simulated_u"].is_string(), "{of}");
}

const CHART: &str = "chart --from of.csv --column value --unit mm --run-length --rule beyond_limit";

#[test]
fn a_run_length_of_estimated_limits_names_what_it_supposes() {
    // Of a process with a standard deviation of 0.02 mm, 25 readings that happen to lie close together.
    let mut random = Random::new(7);
    let (mut lines, mut best) = (Vec::new(), f64::INFINITY);
    for _ in 0..40 {
        let values: Vec<f64> = (0..25)
            .map(|_| 1.62 + 0.02 * random.next_normal())
            .collect();
        let moving: f64 = values
            .windows(2)
            .map(|pair| (pair[1] - pair[0]).abs())
            .sum();
        if moving < best {
            best = moving;
            lines = values.iter().map(|value| format!("{value:.3}")).collect();
        }
    }
    let folder = Folder::new();
    folder.write("of.csv", &format!("value\n{}\n", lines.join("\n")));
    let words: Vec<&str> = CHART.split(' ').collect();
    let told = folder.json(&words);
    let said = told["run_lengths"][0]["points"].as_f64().unwrap();
    let limit = |name: &str| told["chart"][name].as_f64().unwrap();
    let out = 1.0 - below((limit("upper") - 1.62) / 0.02) + below((limit("lower") - 1.62) / 0.02);
    assert!(
        said > 3.0 / out,
        "said {said}, true {}: the attack has lost its point",
        1.0 / out
    );
    let supposes = told["run_lengths_suppose"].as_str().unwrap();
    assert!(
        supposes.contains("estimated from 25 points; from fewer than 300 points"),
        "{told}"
    );
    let text = folder.text(&words);
    assert!(
        text.trim_end()
            .ends_with("may be several times shorter or longer"),
        "{text}"
    );
}

#[test]
fn a_run_length_of_given_limits_is_not_that_of_readings_that_follow_each_other() {
    let mut random = Random::new(11);
    let mut at = 0.0;
    let lines: Vec<String> = (0..60)
        .map(|_| {
            at = 0.8 * at + 0.6 * random.next_normal();
            format!("{:.3}", 1.62 + 0.01 * at)
        })
        .collect();
    let folder = Folder::new();
    folder.write("of.csv", &format!("value\n{}\n", lines.join("\n")));
    let given = [
        &CHART.split(' ').collect::<Vec<_>>()[..],
        &["--center", "1.62 mm", "--sigma", "0.01 mm"],
    ]
    .concat();
    let supposes = folder.json(&given);
    let supposes = supposes["run_lengths_suppose"].as_str().unwrap();
    assert_eq!(
        supposes,
        "this supposes independent, normally distributed readings with the centre and standard deviation that are given for the limits"
    );
}

#[test]
fn rounding_makes_no_difference_of_three_groups() {
    // Tools of 1.6249, 1.6251 and 1.6249 mm read a step apart.
    let values = ["1.62", "1.63", "1.62"];
    let lines = (0..60).map(|at| {
        let value = if at == 7 { "1.62" } else { values[at % 3] };
        format!("{value},T{}", at % 3)
    });
    let folder = Folder::new();
    folder.write(
        "of.csv",
        &format!("value,tool\n{}\n", lines.collect::<Vec<_>>().join("\n")),
    );
    let words = "compare --from of.csv --column value --unit mm --group tool";
    let words: Vec<&str> = words.split(' ').collect();
    let told = folder.json(&words);
    assert!(told["anova_f"].as_f64().unwrap() > 100.0, "{told}");
    assert!(told["anova_f_lowest"].as_f64().unwrap() < 1e-9, "{told}");
    assert!(told["anova_p"].as_f64().unwrap() > 0.99, "{told}");
    assert!(
        folder
            .text(&words)
            .contains("F less what rounding may make of it")
    );
}

#[test]
fn groups_that_differ_by_more_than_rounding_still_differ() {
    let group = |mean: i64| {
        let bases = (0..20)
            .map(|at| 10_000 * (mean + i64::from(at == 3)))
            .collect();
        Sample::from_bases(bases, Unit::Millimetre)
            .unwrap()
            .with_step_base(Some(10_000))
    };
    let groups = [group(162), group(162), group(166)];
    let raw = tallyjaw::stats::compare::anova(&groups).unwrap();
    let table = raw.less_rounding(&groups).unwrap();
    // Means 162.05, 162.05 and 166.05: each may be half a step off, so two lie 3 steps from the third at least. By hand:
    // 20 (1² + 1² + 2²) = 120 squared steps between; 3 · 0.95 within, 57 degrees of freedom.
    let f = (120.0 / 2.0) / (3.0 * 0.95 / 57.0);
    assert!(
        (table.f_lowest / f - 1.0).abs() < 1e-9,
        "{table:?}, want {f}"
    );
    assert!(table.p < 1e-9 && table.f > table.f_lowest, "{table:?}");
}

/// Five visual checks of each of eight pieces: 40 items are no 40 pieces.
#[test]
fn visual_checks_of_one_piece_count_together_for_kappa() {
    let mut answers = Answers::default();
    for piece in 0..8 {
        for check in 0..5 {
            let item = format!("{check}, piece {piece}");
            let good = piece % 2 == 0;
            let other = if piece == 3 { !good } else { good };
            answers.of_piece(&item, &piece.to_string());
            answers.push(&item, "anna", if good { "good" } else { "bad" });
            answers.push(&item, "ben", if other { "good" } else { "bad" });
        }
    }
    let study = answers.study();
    assert_eq!((study.items, study.pieces), (40, 8));
    let said = study.between[0].words();
    assert!(
        said.starts_with(
            "35 of 40 the same, no interval of the share: several visual checks are of one piece"
        ),
        "{said}"
    );
    assert!(
        said.contains("no interval: too few readings: got 8, want at least 30"),
        "{said}"
    );
    let sentence = study.sentence();
    assert!(
        sentence.ends_with(
            "the 40 visual checks are of 8 pieces, and those of one piece are counted together"
        ),
        "{sentence}"
    );
}

/// With 40 pieces of two checks that always agree, the interval is that of 40 pieces and not of 80.
#[test]
fn the_interval_of_kappa_of_doubled_checks_is_that_of_the_pieces() {
    let mut plain = Answers::default();
    let mut doubled = Answers::default();
    for piece in 0..40 {
        let anna = if piece % 3 == 0 { "bad" } else { "good" };
        let ben = if piece % 5 == 0 { "bad" } else { anna };
        let push = |answers: &mut Answers, nth: u32| {
            let item = format!("{nth}, piece {piece}");
            answers.of_piece(&item, &piece.to_string());
            answers.push(&item, "anna", anna);
            answers.push(&item, "ben", ben);
        };
        push(&mut plain, 0);
        push(&mut doubled, 0);
        push(&mut doubled, 1);
    }
    let kappa = |answers: &Answers| answers.study().between[0].kappa.unwrap();
    let (one, two) = (kappa(&plain), kappa(&doubled));
    let ((low, high), (low_two, high_two)) = (one.bounds.unwrap(), two.bounds.unwrap());
    assert!((one.value - two.value).abs() < 1e-12);
    assert!(
        (low - low_two).abs() < 1e-9 && (high - high_two).abs() < 1e-9,
        "{one:?} {two:?}"
    );
}
