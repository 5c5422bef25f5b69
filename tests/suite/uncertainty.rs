//! Guard bands and test uncertainty ratios against `tests/reference/guard_band`.
//!
//! The cases are computed from formulas quoted from memory (JCGM 100, JCGM 106, ISO 14253-1).
#![expect(
    clippy::float_arithmetic,
    reason = "the reference values are in double precision"
)]

use serde_json::Value;
use tallyjaw::quantity::{Dimension, Quantity};
use tallyjaw::spec::uncertainty::Uncertainty;
use tallyjaw::spec::{Limits, Verdict, judge};

const CASES: &str = include_str!("../reference/guard_band/cases.json");

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} of {value}"))
}

fn nanometres(value: &Value, key: &str) -> i64 {
    format!("{:.0}", number(value, key) * 1e6).parse().unwrap()
}

fn length(value: &Value, key: &str) -> Quantity {
    of(nanometres(value, key))
}

fn of(nanometres: i64) -> Quantity {
    Quantity::from_base(Dimension::Length, nanometres)
}

/// A case in our convention: the term of the zero is always counted.
struct Case {
    uncertainty: Uncertainty,
    tolerance_nm: i64,
    /// Standard uncertainty with the zero's term, in nm.
    u_nm: f64,
    /// The result of the case, which ours must equal if the case counts the zero too.
    own_u_nm: f64,
    zero_counted: bool,
}

fn case(value: &Value) -> Case {
    let inputs = &value["inputs"];
    let zero_counted = inputs["zero_setting_counted"].as_bool().unwrap();
    let own_u_nm = number(value, "u_c") * 1e6;
    let resolution = number(inputs, "resolution_mm") * 1e6;
    let missing = if zero_counted {
        0.0
    } else {
        resolution.powi(2) / 12.0
    };
    Case {
        uncertainty: Uncertainty::new(
            length(inputs, "mpe_mm"),
            length(inputs, "resolution_mm"),
            Some(length(inputs, "repeatability_sd_mm")),
        ),
        tolerance_nm: 2 * nanometres(inputs, "tolerance_half_width_mm"),
        u_nm: (own_u_nm.powi(2) + missing).sqrt(),
        own_u_nm,
        zero_counted,
    }
}

fn cases() -> Vec<(Value, Case)> {
    let file: Value = serde_json::from_str(CASES).unwrap();
    let cases: Vec<_> = file["cases"].as_array().unwrap().clone();
    assert_eq!(cases.len(), 6);
    cases
        .into_iter()
        .map(|value| (value.clone(), case(&value)))
        .collect()
}

/// `got` is `want` rounded up to a whole number; 1e-10 relative is the tolerance of `want`.
fn assert_rounded_up(got: i64, want: f64, what: &str) {
    let got: f64 = got.to_string().parse().unwrap();
    let slack = want * 1e-9;
    assert!(
        got >= want - slack && got < want + 1.0 + slack,
        "{what}: got {got}, want {want}"
    );
}

#[test]
fn every_guard_band_is_that_of_the_reference_rounded_up_to_a_nanometre() {
    let mut compared_as_printed = 0;
    for (value, case) in cases() {
        let rules = value["acceptance"].as_array().unwrap();
        assert_eq!(rules.len(), FACTORS.len());
        for (rule, factor) in rules.iter().zip(FACTORS) {
            let what = format!("{} of {}", rule["rule"], value["inputs"]);
            let got = case.uncertainty.guard_band(factor);
            let printed = number(rule, "guard_band_mm") * 1e6;
            let g: f64 = format!("{factor}e-3").parse().unwrap();
            assert!(
                (g * case.own_u_nm - printed).abs() <= printed * 1e-9,
                "{what}"
            );
            assert_rounded_up(got, g * case.u_nm, &what);
            if case.zero_counted {
                assert_rounded_up(got, printed, &what);
                compared_as_printed += 1;
            }
        }
    }
    assert_eq!(compared_as_printed, 10);
}

#[test]
fn every_test_uncertainty_ratio_is_that_of_the_reference_rounded_down_to_a_hundredth() {
    for (value, case) in cases() {
        let printed = number(&value, "tur_T_over_U");
        let want = printed * case.own_u_nm / case.u_nm;
        let got = case
            .uncertainty
            .test_uncertainty_ratio_hundredths(case.tolerance_nm)
            .unwrap();
        let got = f64::from(got) / 100.0;
        assert!(
            got <= want && want < got + 0.01,
            "{}: got {got}, want {want}",
            value["inputs"]
        );
    }
}

/// The rules of the cases as factors of u in thousandths (U = 2u), in their order.
const FACTORS: [u32; 5] = [0, 1_000, 1_660, 2_000, 1_650];

/// The verdict on a reading that is this number of nanometres from 10 mm, with a tolerance around it.
fn judged(off_nm: i64, tolerance_nm: i64, guard_nm: i64) -> Verdict {
    let at = |nm: i64| Quantity::from_base(Dimension::Length, 10_000_000 + nm);
    let half = Quantity::from_base(Dimension::Length, tolerance_nm / 2);
    let limits: Limits = format!("10.00 ±{half}").parse().unwrap();
    judge(at(off_nm), &limits, guard_nm)
}

#[test]
fn every_term_of_the_uncertainty_is_that_of_the_reference() {
    for (value, case) in cases() {
        let component = |key: &str| number(&value["components"], key) * 1e6;
        let alone = |max_error, resolution, repeatability| {
            let [max_error, resolution, repeatability] =
                [max_error, resolution, repeatability].map(of);
            Uncertainty::new(max_error, resolution, Some(repeatability)).guard_band(1_000)
        };
        let inputs = &value["inputs"];
        let [max_error, resolution_nm, repeatability_nm] =
            ["mpe_mm", "resolution_mm", "repeatability_sd_mm"].map(|key| nanometres(inputs, key));
        let what = inputs.to_string();
        assert_rounded_up(alone(max_error, 0, 0), component("u_mpe"), &what);
        // Ours holds the term of the reading and that of the zero.
        let resolution = component("u_resolution") * 2.0_f64.sqrt();
        assert_rounded_up(alone(0, resolution_nm, 0), resolution, &what);
        let repeatability = component("u_repeatability");
        assert_rounded_up(alone(0, 0, repeatability_nm), repeatability, &what);
        if case.zero_counted {
            assert!((component("u_zero") - component("u_resolution")).abs() < 1e-3);
        }
        let same = |one: f64, other: f64| (one - other).abs() <= other.abs() * 1e-9;
        assert!(same(number(&value, "U"), 2.0 * number(&value, "u_c")));
        // Cm of JCGM 106 is our ratio by another name: (TU - TL) / 4u.
        let ratio = number(&value, "tur_T_over_U");
        assert!(same(number(&value, "cm_JCGM106"), ratio));
        let half = number(&value["inputs"], "tolerance_half_width_mm");
        let by_error = half / number(&value["inputs"], "mpe_mm");
        assert!(same(number(&value, "accuracy_ratio_T_over_mpe"), by_error));
    }
}

#[test]
fn the_readings_that_pass_are_those_that_the_reference_accepts() {
    let mut compared_as_printed = 0;
    for (value, case) in cases() {
        let rules = value["acceptance"].as_array().unwrap();
        for (rule, factor) in rules.iter().zip(FACTORS) {
            let what = format!("{} of {}", rule["rule"], value["inputs"]);
            let guard = case.uncertainty.guard_band(factor);
            let step = nanometres(&value["inputs"], "resolution_mm");
            let passes = |steps: i64| {
                judged(steps * step, case.tolerance_nm, guard) == Verdict::Pass
                    && judged(-steps * step, case.tolerance_nm, guard) == Verdict::Pass
            };
            let got = (0..=20).take_while(|steps| passes(*steps)).last();
            let half_nm = number(&value["inputs"], "tolerance_half_width_mm") * 1e6;
            let room = half_nm - f64::from(factor) / 1e3 * case.u_nm;
            let step_nm = number(&value["inputs"], "resolution_mm") * 1e6;
            let fits =
                |steps: &i64| steps.to_string().parse::<f64>().unwrap() * step_nm <= room + 1e-6;
            assert_eq!(got, (0..=20).take_while(fits).last(), "{what}");
            if !case.zero_counted {
                continue;
            }
            assert_eq!(got, rule["largest_accepted_steps"].as_i64(), "{what}");
            let half = number(rule, "acceptance_half_width_mm") * 1e6;
            assert!((half - room).abs() <= half * 1e-9, "{what}");
            let off = number(rule, "largest_accepted_reading_deviation_mm") * 1e6;
            let steps: f64 = got.unwrap().to_string().parse().unwrap();
            assert!((off - steps * step_nm).abs() < 1e-3, "{what}");
            compared_as_printed += 1;
        }
    }
    assert_eq!(compared_as_printed, 10);
}

#[test]
fn a_reading_that_passes_conforms_at_95_percent_and_one_that_is_unsure_neither_way() {
    let (mut passed, mut unsure) = (0, 0);
    for (value, case) in cases().iter().filter(|(_, case)| case.zero_counted) {
        let guard = case.uncertainty.guard_band(1_645);
        for reading in value["conformance_probability_flat_prior"]
            .as_array()
            .unwrap()
        {
            let off = nanometres(reading, "reading_deviation_mm");
            let p = number(reading, "p");
            match judged(off, case.tolerance_nm, guard) {
                Verdict::Pass => {
                    assert!(p >= 0.95, "{reading} passes");
                    passed += 1;
                }
                Verdict::UnsureHigh => {
                    assert!((0.05..0.95).contains(&p), "{reading} is unsure");
                    unsure += 1;
                }
                other => panic!("{reading} is {other}"),
            }
        }
    }
    assert_eq!((passed, unsure), (6, 8));
}
