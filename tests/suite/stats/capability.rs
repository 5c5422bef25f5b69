//! Capability, tolerance intervals and their bounds against published and exact values.

use super::reference::{assert_close, example, json, number, rows, sample};
use tallyjaw::quantity::{Measured, Quantity};
use tallyjaw::stats::capability::{Capability, FIGURES, index};
use tallyjaw::stats::{Limits, Sample, Undefined, tolerance};

fn quantity(text: &str) -> Quantity {
    text.parse::<Measured>().unwrap().quantity()
}

fn limits(lower: Option<&str>, upper: Option<&str>) -> Limits {
    Limits {
        lower: lower.map(quantity),
        nominal: None,
        upper: upper.map(quantity),
    }
}

fn figure(of: &Capability, name: &str) -> Result<f64, Undefined> {
    let row = FIGURES.iter().find(|row| row.name == name).unwrap();
    (row.of)(of)
}

#[test]
fn the_indices_of_the_handbook_are_met() {
    let example = example("capability indices");
    let of = |name: &str| example["inputs"][name].as_f64().unwrap();
    let want = |name: &str| example["expected"][name].as_f64().unwrap();
    let (lower, upper, mean, s) = (of("LSL"), of("USL"), of("mean"), of("s"));
    let close =
        |what, got: Result<f64, Undefined>, want| assert_close(what, got.unwrap(), want, 1e-11);
    close("Cp", index::potential(lower, upper, s), want("Cp"));
    close(
        "Cpk",
        index::centered(Some(lower), Some(upper), mean, s),
        want("Cpk"),
    );
    close(
        "Cpu",
        index::centered(None, Some(upper), mean, s),
        want("Cpu"),
    );
    close(
        "Cpl",
        index::centered(Some(lower), None, mean, s),
        want("Cpl"),
    );
    let off = (mean - f64::midpoint(lower, upper)) / ((upper - lower) / 2.0);
    assert_close("k", off, want("k"), 1e-11);
}

#[test]
fn every_bound_of_the_table_is_met_the_exact_one_too() {
    let table = json("capability_ci.json");
    let cases = table["cases"].as_array().unwrap();
    assert!(cases.len() >= 10);
    for case in cases {
        let (n, found) = (case["n"].as_f64().unwrap(), case["index"].as_f64().unwrap());
        let want = |name: &str| case[name].as_f64().unwrap();
        let pair = |name: &str| {
            (
                case[name][0].as_f64().unwrap(),
                case[name][1].as_f64().unwrap(),
            )
        };
        let freedom = n - 1.0;
        for (name, confidence) in [
            ("cp_two_sided_90", 0.9),
            ("cp_two_sided_95", 0.95),
            ("cp_two_sided_99", 0.99),
        ] {
            let (low, high) = index::potential_bounds(found, freedom, confidence).unwrap();
            assert_close(name, low, pair(name).0, 1e-9);
            assert_close(name, high, pair(name).1, 1e-9);
        }
        let (low, high) = index::centered_bounds(found, n, freedom, 0.95).unwrap();
        assert_close("Bissell", low, pair("cpk_bissell_two_sided_95").0, 1e-9);
        assert_close("Bissell", high, pair("cpk_bissell_two_sided_95").1, 1e-9);
        let (low, _) = index::centered_bounds(found, n, freedom, 0.9).unwrap();
        assert_close("Bissell lower", low, want("cpk_bissell_lower_95"), 1e-9);
        for (name, confidence) in [
            ("cpk_exact_noncentral_t_lower_95", 0.95),
            ("cpk_exact_noncentral_t_lower_90", 0.9),
        ] {
            let least = index::lower_bound(found, n, freedom, confidence).unwrap();
            assert_close(name, least, want(name), 1e-7);
        }
    }
}

#[test]
fn the_pieces_needed_are_the_fewest_that_show_the_index() {
    for (found, asked) in [(1.67, 1.33), (1.5, 1.33), (2.4, 1.67)] {
        let needed = index::pieces_needed(found, asked, 0.95).unwrap();
        let least = |n: u64| {
            let n = f64::from(u32::try_from(n).unwrap());
            index::lower_bound(found, n, n - 1.0, 0.95).unwrap()
        };
        assert!(
            least(needed) >= asked && least(needed - 1) < asked,
            "{needed}"
        );
    }
    let never = index::pieces_needed(1.2, 1.33, 0.95);
    assert!(matches!(never, Err(Undefined::NotApplicable { .. })));
    let hardly = index::pieces_needed(1.33001, 1.33, 0.95);
    assert!(matches!(hardly, Err(Undefined::TooMany { .. })));
}

#[test]
fn every_tolerance_factor_of_the_table_is_met() {
    let rows = rows("tolerance_k.csv");
    assert_eq!(rows.len(), 504);
    for row in rows {
        let n = row[0].parse().unwrap();
        let (coverage, confidence) = (number(&row[1]), number(&row[2]));
        let what = row.join(" ");
        let exact = tolerance::two_sided_factor(n, coverage, confidence).unwrap();
        assert_close(&what, exact, number(&row[3]), 1e-5);
        let howe = tolerance::howe_factor(n, coverage, confidence).unwrap();
        assert_close(&what, howe, number(&row[4]), 1e-5);
        let one = tolerance::one_sided_factor(n, coverage, confidence).unwrap();
        assert_close(&what, one, number(&row[5]), 1e-5);
    }
}

#[test]
fn the_tolerance_factors_of_the_handbook_are_met() {
    let example = example("tolerance interval factors");
    let want = |name: &str| example["expected"][name].as_f64().unwrap();
    let close =
        |what, got: Result<f64, Undefined>, want| assert_close(what, got.unwrap(), want, 1e-6);
    close(
        "exact",
        tolerance::two_sided_factor(43, 0.9, 0.99),
        want("k2_exact"),
    );
    close(
        "Howe",
        tolerance::howe_factor(43, 0.9, 0.99),
        want("k2_howe"),
    );
    close(
        "one-sided",
        tolerance::one_sided_factor(43, 0.9, 0.99),
        want("k1_noncentral_t"),
    );
    let low = 97.07 - tolerance::two_sided_factor(43, 0.9, 0.99).unwrap() * 0.0268;
    assert_close(
        "low",
        low,
        example["expected"]["two_sided_exact"][0].as_f64().unwrap(),
        1e-9,
    );
}

fn heights() -> Sample {
    sample(["1.62", "1.63", "1.61", "1.62", "1.64"]).with_step(Some(quantity("0.01 mm")))
}

#[test]
fn five_pieces_show_little_and_the_sentence_says_so() {
    let of = |lower, upper| Capability::of_singles(&heights(), limits(Some(lower), Some(upper)));
    let near = of("1.60 mm", "1.65 mm");
    assert_eq!(
        near.claim().sentence,
        "Ppk 0.70; with 5 pieces the lower 95 % confidence bound is 0.22, so 1.33 is not demonstrated. Ppk itself is not above 1.33: centre the process or reduce its spread"
    );
    let wide = of("1.52 mm", "1.72 mm");
    assert_eq!(
        wide.claim().sentence,
        "Ppk 2.81; with 5 pieces the lower 95 % confidence bound is 1.16, so 1.33 is not demonstrated. Measure 25 or more"
    );
    assert_eq!(figure(&wide, "pieces_needed"), Ok(7.0));
    let far = of("1.42 mm", "1.82 mm").claim();
    assert!(!far.shown);
    let said = "Ppk 5.73; with 5 pieces the lower 95 % confidence bound is 2.40, but 1.33 is not demonstrated: too few pieces to test distribution and stability: got 5, want at least 20. ";
    assert!(far.sentence.starts_with(said), "{}", far.sentence);
    assert!(
        far.sentence
            .ends_with("For any distribution: 0 of 5 are outside the limits, so at most 45.1 % of all are (upper 95 % confidence bound, pieces taken at random)"),
        "{}",
        far.sentence
    );
    let one = Capability::of_singles(&sample(["1.62"]), limits(Some("1.57 mm"), None));
    assert_eq!(
        one.claim().sentence,
        "Ppk has no value: too few readings: got 1, want at least 2"
    );
}

#[test]
fn a_figure_without_a_value_says_why_and_the_others_stand() {
    let pull = sample(["182", "195", "188", "201", "190"]);
    let of = Capability::of_singles(&pull, limits(Some("180 mm"), None));
    assert_eq!(figure(&of, "pp"), Err(Undefined::OneSided));
    assert_eq!(figure(&of, "ppm_above"), Err(Undefined::NoUpperLimit));
    assert_eq!(figure(&of, "tolerance_high"), Err(Undefined::NoUpperLimit));
    assert_eq!(figure(&of, "sd_corrected"), Err(Undefined::NoStep));
    assert!(figure(&of, "ppk").is_ok() && figure(&of, "tolerance_low").is_ok());
    let equal = Capability::of_singles(
        &sample(["1.62"; 5]),
        limits(Some("1.57 mm"), Some("1.67 mm")),
    );
    for name in ["cp", "cpk", "pp", "ppk", "ppm_below", "tolerance_k"] {
        assert_eq!(
            figure(&equal, name),
            Err(Undefined::NoSpread { count: 5 }),
            "{name}"
        );
    }
    let mixed = Capability::of_singles(&heights(), limits(Some("180 N"), None));
    assert_eq!(figure(&mixed, "ppk"), Err(Undefined::Mixed));
}

#[test]
fn no_figure_is_ever_infinite_or_not_a_number() {
    let many: Vec<Vec<&str>> = vec![
        vec![],
        vec!["1.62"],
        vec!["1.62", "1.62"],
        vec!["1.62", "1.63"],
        vec!["1.62"; 9],
    ];
    for texts in many {
        let sample = sample(texts.iter().copied()).with_step(Some(quantity("0.01 mm")));
        for (lower, upper) in [
            (None, None),
            (Some("1.57 mm"), None),
            (Some("1.57 mm"), Some("1.57 mm")),
        ] {
            let of = Capability::of_singles(&sample, limits(lower, upper));
            for row in FIGURES {
                if let Ok(value) = (row.of)(&of) {
                    assert!(value.is_finite(), "{} of {texts:?}: {value}", row.name);
                }
            }
        }
    }
}
