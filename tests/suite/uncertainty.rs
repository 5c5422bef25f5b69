//! Guard bands and test uncertainty ratios against `tests/reference/guard_band`.
//!
//! The cases are computed from formulas quoted from memory (JCGM 100, JCGM 106, ISO 14253-1).
#![expect(
    clippy::float_arithmetic,
    reason = "the reference values are in double precision"
)]

use serde_json::Value;
use tallyjaw::spec::uncertainty::Uncertainty;

const CASES: &str = include_str!("../reference/guard_band/cases.json");

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} of {value}"))
}

fn nanometres(value: &Value, key: &str) -> i64 {
    format!("{:.0}", number(value, key) * 1e6).parse().unwrap()
}

/// A case in our convention: the term of the zero is always counted.
struct Case {
    uncertainty: Uncertainty,
    tolerance_nm: i64,
    /// Standard uncertainty with the zero's term, in nm.
    u_nm: f64,
    /// The case's own, which we must reach where it counts the zero too.
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
        uncertainty: Uncertainty {
            max_error: nanometres(inputs, "mpe_mm"),
            resolution: nanometres(inputs, "resolution_mm"),
            repeatability: nanometres(inputs, "repeatability_sd_mm"),
        },
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
    // The rules of the cases as factors of u in thousandths (U = 2u).
    let factors = [0, 1_000, 1_660, 2_000, 1_650];
    let mut compared_as_printed = 0;
    for (value, case) in cases() {
        let rules = value["acceptance"].as_array().unwrap();
        assert_eq!(rules.len(), factors.len());
        for (rule, factor) in rules.iter().zip(factors) {
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
