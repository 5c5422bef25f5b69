//! `[[run]]` tables, and the mistakes in them.

use super::Texts;
use crate::golden;
use std::fmt::Write as _;
use tallyjaw::spec::SampleRole;

const RUN: &str = "
[[run]]
id = \"pump-day\"
first_off = \"pump-first\"
in_process = \"pump-sample\"
last_off = \"pump-last\"
every_crimps = 100
every_minutes = 120
";

fn plan(id: &str, wire: &str, purpose: &str) -> String {
    format!(
        "[[plan]]\nid = \"{id}\"\nterminal = \"QF-250-F\"\nwire = \"{wire}\"\naxes = [\"core_crimp_height\"]\npieces = 3\npurpose = \"{purpose}\"\n"
    )
}

fn with(run: &str) -> Texts {
    let mut texts = Texts::good();
    texts.main.push_str(run);
    for (id, wire, purpose) in [
        ("pump-first", "2.0 mm²", "first_off"),
        ("pump-sample", "2.0 mm²", "in_process"),
        ("pump-last", "2.0 mm²", "last_off"),
        ("thick-last", "5.0 mm²", "last_off"),
    ] {
        texts.plans.push_str(&plan(id, wire, purpose));
    }
    texts
}

#[test]
fn a_run_says_which_part_a_plan_has_in_it() {
    let config = with(RUN).assemble().unwrap();
    let sample = |plan: &str| config.catalog.sample_of(plan);
    let part = |plan: &str| sample(plan).map(|sample| sample.role);
    assert_eq!(part("pump-first"), Some(SampleRole::FirstOff));
    assert_eq!(part("pump-sample"), Some(SampleRole::InProcess));
    assert_eq!(part("pump-last"), Some(SampleRole::LastOff));
    assert_eq!(part("pump-own"), None);
    let run = sample("pump-last").unwrap().run;
    assert_eq!(
        (run.every_crimps, run.every_minutes),
        (Some(100), Some(120))
    );
}

const MISTAKES: &[(&str, &str, &str)] = &[
    (
        "a plan that is not there",
        "\"pump-sample\"",
        "\"pump-smaple\"",
    ),
    (
        "a plan of another purpose",
        "\"pump-sample\"",
        "\"pump-own\"",
    ),
    ("a plan of another wire", "\"pump-last\"", "\"thick-last\""),
    (
        "no interval",
        "every_crimps = 100\nevery_minutes = 120\n",
        "",
    ),
    ("no plan for the last-off", "last_off = \"pump-last\"\n", ""),
    ("no id", "id = \"pump-day\"\n", ""),
    ("an interval of nothing", "= 100", "= 0"),
    ("an interval with a unit", "= 120", "= \"2 h\""),
    ("a key misspelled", "every_crimps", "every_crimp"),
    (
        "a run twice",
        "every_minutes = 120\n",
        "[[run]]\nid = \"pump-day\"\nfirst_off = \"x\"\nin_process = \"y\"\nlast_off = \"z\"\nevery_crimps = 5\n",
    ),
    (
        "a plan in two runs",
        "every_minutes = 120\n",
        "[[run]]\nid = \"pump-night\"\nfirst_off = \"pump-first\"\nin_process = \"night-sample\"\nlast_off = \"night-last\"\nevery_crimps = 5\n",
    ),
];

#[test]
fn every_mistake_in_a_run_is_shown_in_its_place_with_what_to_do() {
    let mut shown = String::new();
    for (name, good_part, bad_part) in MISTAKES {
        assert!(RUN.contains(good_part), "{name}");
        let mut texts = with(&RUN.replacen(good_part, bad_part, 1));
        for (id, purpose) in [("night-sample", "in_process"), ("night-last", "last_off")] {
            texts.plans.push_str(&plan(id, "2.0 mm²", purpose));
        }
        let faulty = texts.assemble().expect_err(name);
        let _ = writeln!(shown, "# {name}");
        for fault in faulty.rendered(false) {
            let _ = writeln!(shown, "{fault}\n");
        }
        assert_eq!(
            faulty.diagnostics.len(),
            1,
            "{name}: one mistake, one error\n{shown}"
        );
    }
    golden::assert_same("config/run_mistakes.txt", &shown);
}
