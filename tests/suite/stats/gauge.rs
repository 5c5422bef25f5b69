//! Gauge studies by both methods, against a master, and trends.

use super::reference::{assert_close, exact, json, rows};
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::drift::{self, Drift};
use tallyjaw::stats::gauge::{
    self, MASTER_FIGURES, Master, Plan, Study, Trial, by_anova, by_range,
};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Limits, Sample, Undefined, distribution};

fn trials() -> Vec<Trial> {
    rows("grr.csv")
        .into_iter()
        .map(|row| Trial {
            appraiser: row[0].clone(),
            part: row[1].clone(),
            base: exact(&row[3]).base(),
        })
        .collect()
}

fn plan() -> Plan {
    Plan::new(&trials(), Unit::Millimetre).unwrap()
}

fn assert_study(study: &Study, want: &serde_json::Value, tolerance: f64) {
    let parts = [
        ("EV", study.ev),
        ("AV", study.av),
        ("GRR", study.grr),
        ("PV", study.pv),
        ("TV", study.tv),
        ("ndc_unfloored_1_41", study.categories().unwrap()),
    ];
    for (name, got) in parts {
        assert_close(name, got, want[name].as_f64().unwrap(), tolerance);
    }
    let row = gauge::FIGURES.iter().find(|row| row.name == "ndc").unwrap();
    assert_eq!((row.of)(study).ok(), want["ndc"].as_f64());
}

#[test]
fn the_range_method_gives_the_manuals_study() {
    let expected = json("grr_expected.json");
    let study = by_range(&plan()).unwrap();
    assert_study(
        &study,
        &expected["computed"]["range_method_exact_constants"],
        1e-8,
    );
    // As printed, with constants rounded to four digits.
    let printed = &expected["published"]["range_method"];
    for (name, got) in [
        ("EV", study.ev),
        ("AV", study.av),
        ("GRR", study.grr),
        ("PV", study.pv),
        ("TV", study.tv),
    ] {
        let want = printed[name].as_f64().unwrap();
        assert!((got - want).abs() < 3e-4, "{name}: {got} {want}");
    }
}

#[test]
fn the_analysis_of_variance_gives_the_study_with_and_without_interaction() {
    let expected = json("grr_expected.json");
    let want = &expected["computed"]["anova_method"];
    let (table, study) = by_anova(&plan(), None).unwrap();
    for (name, square) in [
        ("part", table.parts),
        ("appraiser", table.appraisers),
        ("interaction", table.interaction),
        ("repeatability", table.error),
    ] {
        let of = |key: &str| want["anova"][name][key].as_f64().unwrap();
        assert_eq!(square.freedom, of("df"), "{name}");
        assert_close(name, square.mean, of("MS"), 1e-10);
    }
    let p = want["anova"]["interaction"]["p"].as_f64().unwrap();
    assert_close("interaction", table.interaction_p, p, 1e-10);
    assert_study(&study, &want["pooled"], 1e-10);
    let (_, with) = by_anova(&plan(), Some(false)).unwrap();
    assert_study(&with, &want["with_interaction"], 1e-10);
    let bounds = study.bounds.unwrap();
    assert!(bounds.ev.0 < study.ev && study.ev < bounds.ev.1);
    assert!(bounds.grr.0 < study.grr && study.grr < bounds.grr.1);
}

#[test]
fn a_plan_that_is_not_balanced_is_refused_with_its_counts() {
    let mut short = trials();
    short.pop();
    let refused = Plan::new(&short, Unit::Millimetre);
    assert_eq!(refused, Err(Undefined::Unequal { fewest: 2, most: 3 }));
    short.retain(|trial| trial.appraiser == "A");
    let refused = Plan::new(&short, Unit::Millimetre);
    assert_eq!(refused, Err(Undefined::TooFewGroups { got: 1, want: 2 }));
    let equal: Vec<Trial> = trials()
        .into_iter()
        .map(|trial| Trial { base: 5, ..trial })
        .collect();
    let plan = Plan::new(&equal, Unit::Millimetre).unwrap();
    assert!(matches!(
        by_anova(&plan, None),
        Err(Undefined::NoSpread { count: 90 })
    ));
    let study = by_range(&plan).unwrap();
    for row in gauge::FIGURES {
        assert!(
            (row.of)(&study).map_or(true, f64::is_finite),
            "{}",
            row.name
        );
    }
}

const RUNS: u32 = 1000;

/// Studies of 10 parts, 3 appraisers, 2 trials whose true spreads are known: in how many the bounds
/// hold them.
#[test]
fn the_bounds_of_a_gauge_study_hold_the_truth_as_often_as_they_say() {
    let (part, appraiser, error) = (100_000.0, 30_000.0, 20_000.0_f64);
    let mut random = Random::new(31);
    let mut normal = |sd: f64| sd * distribution::quantile(random.next_share()).unwrap();
    let mut held = [0_u32; 4];
    for _ in 0..RUNS {
        let parts: Vec<f64> = (0..10).map(|_| normal(part)).collect();
        let people: Vec<f64> = (0..3).map(|_| normal(appraiser)).collect();
        let mut trials = Vec::new();
        for (a, person) in people.iter().enumerate() {
            for (p, of_part) in parts.iter().enumerate() {
                for _ in 0..2 {
                    let value = of_part + person + normal(error);
                    trials.push(Trial {
                        part: p.to_string(),
                        appraiser: a.to_string(),
                        base: format!("{value:.0}").parse().unwrap(),
                    });
                }
            }
        }
        let plan = Plan::new(&trials, Unit::Millimetre).unwrap();
        let bounds = by_anova(&plan, None).unwrap().1.bounds.unwrap();
        let mm = |nm: f64| nm / 1e6;
        let truths = [
            (bounds.ev, mm(error)),
            (bounds.av, mm(appraiser)),
            (bounds.grr, mm(error.hypot(appraiser))),
            (bounds.pv, mm(part)),
        ];
        for (count, ((low, high), truth)) in held.iter_mut().zip(truths) {
            *count += u32::from(low <= truth && truth <= high);
        }
    }
    // 95 % of 1,000, to within three standard errors and what an approximation may be off
    assert!(
        held.iter().all(|count| (930..=970).contains(count)),
        "{held:?} of {RUNS}"
    );
}

fn hundredths(list: &serde_json::Value) -> Vec<i64> {
    let list = list.as_array().unwrap();
    list.iter().map(|n| n.as_i64().unwrap() * 10_000).collect()
}

fn length(mm: f64) -> Quantity {
    let text = format!("{:.0}", mm * 1e6);
    Quantity::from_base(Dimension::Length, text.parse().unwrap())
}

#[test]
fn trends_and_when_they_reach_a_limit_are_met() {
    let table = json("drift_and_master.json");
    let cases = table["drift"].as_array().unwrap();
    assert_eq!(cases.len(), 4);
    for case in cases {
        let places = case["places"].as_array().unwrap();
        let places = places.iter().map(|n| n.as_i64().unwrap()).collect();
        let sample = Sample::from_bases(hundredths(&case["hundredths"]), Unit::Millimetre);
        let limits = Limits {
            lower: Some(length(case["lower"].as_f64().unwrap())),
            nominal: None,
            upper: Some(length(case["upper"].as_f64().unwrap())),
        };
        let drift = Drift::new(&sample.unwrap(), places, limits).unwrap();
        let want = case["expected"].as_object().unwrap();
        for row in drift::FIGURES {
            let what = format!("{} {}", case["name"], row.name);
            match (want.get(row.name), (row.of)(&drift)) {
                (Some(want), got) => {
                    assert_close(&what, got.unwrap(), want.as_f64().unwrap(), 1e-7);
                }
                (None, got) if row.name.contains("limit_at") => {
                    let why = "no trend is shown";
                    assert_eq!(got, Err(Undefined::NotApplicable { why }), "{what}");
                }
                (None, got) => {
                    let n = case["places"].as_array().unwrap().len().to_string();
                    assert_eq!((row.name, got), ("n", Ok(n.parse().unwrap())));
                }
            }
        }
    }
}

#[test]
fn readings_of_a_master_tell_bias_and_spread() {
    let table = json("drift_and_master.json");
    let case = &table["master"];
    let sample = Sample::from_bases(hundredths(&case["hundredths"]), Unit::Millimetre).unwrap();
    let limits = Limits {
        lower: Some(length(24.9)),
        nominal: None,
        upper: Some(length(25.1)),
    };
    let master = Master::new(sample, length(25.0), limits);
    for (name, want) in case["expected"].as_object().unwrap() {
        let row = MASTER_FIGURES.iter().find(|row| row.name == name).unwrap();
        assert_close(
            name,
            (row.of)(&master).unwrap(),
            want.as_f64().unwrap(),
            1e-7,
        );
    }
}

#[test]
fn the_verdict_of_a_gauge_study_is_by_the_bound_and_not_by_the_estimate() {
    // 27.9 % by estimate, which is under 30 %
    let study = by_anova(&plan(), None).unwrap().1;
    let sentence = study.sentence(None);
    assert!(
        sentence.starts_with("GRR is 27.9 % of the total variation (95 % confidence interval: "),
        "{sentence}"
    );
    assert!(
        sentence.contains("not decided whether the measurement system is acceptable"),
        "{sentence}"
    );
    let by_hand = by_range(&plan()).unwrap().sentence(None);
    assert!(by_hand.contains("cannot be judged: "), "{by_hand}");
    // a tolerance so wide that even the upper bound is under 10 % of it, and one so narrow that the lower is over 30 %
    let within = |half: &str| {
        let limits = Limits {
            lower: Some(exact(&format!("-{half}"))),
            nominal: None,
            upper: Some(exact(half)),
        };
        study.clone().within(plan().all().summary(), &limits)
    };
    let wide = within("60").sentence(None);
    assert!(
        wide.contains("%): the measurement system is acceptable; "),
        "{wide}"
    );
    let narrow = within("1").sentence(None);
    assert!(narrow.contains("is not acceptable; "), "{narrow}");
}

#[test]
fn a_repeatability_under_half_a_count_is_told() {
    let study = by_anova(&plan(), None).unwrap().1;
    assert_eq!(study.warnings(Some(0.01)), []);
    assert_eq!(study.warnings(None), []);
    let names: Vec<_> = study
        .warnings(Some(0.5))
        .iter()
        .map(|told| told.name)
        .collect();
    assert_eq!(names, ["ev_under_half_a_step"]);
}
