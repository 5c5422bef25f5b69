//! `[[uncertainty]]` and the plans that name it, and the mistakes in both.

use super::Texts;
use crate::golden;
use std::fmt::Write as _;
use tallyjaw::spec::resolve::Reasons;
use tallyjaw::spec::{ArmedSpec, Unarmable, resolve};

pub(crate) const BUDGET: &str = r#"
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
source = "temperature"
expansion = 11.5
length = "1.62 mm"
kelvin = 5
"#;
const NAMED: &str = "uncertainty = \"caliper-1/2026-11\"\ndecision = \"guarded\"\n";

fn with(budget: &str, plan: &str) -> Texts {
    let mut texts = Texts::good();
    texts.main.push_str(budget);
    texts.plans.push_str(plan);
    texts
}

fn armed(texts: &Texts, station: &str) -> Result<ArmedSpec, Vec<Unarmable>> {
    let catalog = texts.assemble().unwrap().catalog;
    let plan = catalog.plan("pump-own").unwrap();
    resolve(&catalog, station, plan, None).map_err(Reasons::into_vec)
}

#[test]
fn the_guard_band_of_a_plan_follows_from_the_budget_that_it_names() {
    let spec = armed(&with(BUDGET, NAMED), "bench-1").unwrap();
    // u² = 6² + 5²/3 + 5²/3 + 4² + 0.09315²/3 µm², u = 8.2867 µm; 1.645 u = 13.6316 µm, rounded up
    for axis in &spec.axes {
        let guard = axis.guard_of("caliper-1").unwrap();
        assert_eq!(guard.width, 13_632);
        assert_eq!(guard.budget.as_deref(), Some("caliper-1/2026-11"));
    }
    // 0.05 mm over 2 u, rounded down
    let ratio = spec.axes[0].guards[0].test_uncertainty_ratio_hundredths;
    assert_eq!(ratio, Some(301));
    // without max_error: its uncertainty is known all the same
    let unknown = |warning: &String| warning.contains("is not known");
    assert!(!spec.warnings.iter().any(unknown), "{:?}", spec.warnings);
    let without = armed(&with(BUDGET, ""), "bench-1").unwrap();
    assert!(
        without.warnings.iter().any(unknown),
        "{:?}",
        without.warnings
    );
    assert_eq!(without.axes[0].guards[0].budget, None);
}

#[test]
fn a_plan_that_names_budgets_is_refused_where_an_instrument_has_none_of_them() {
    let second = "[[station]]\nname = \"bench-2\"\n[[instrument]]\nname = \"caliper-2\"\nstation = \"bench-2\"\nkind = \"caliper\"\nport = \"/dev/ttyS2\"\nformat = \"decimal-line\"\nresolution = \"0.01 mm\"\nmax_error = \"0.02 mm\"\n";
    let both = with(&format!("{second}{BUDGET}"), NAMED);
    assert!(armed(&both, "bench-1").is_ok());
    let refused = armed(&both, "bench-2").unwrap_err();
    let wanted = Unarmable::NoBudgetOf {
        instrument: "caliper-2".to_owned(),
        fitting: None,
    };
    assert_eq!(refused, [wanted]);
    assert_eq!(refused[0].key(), "uncertainty");
    let other = BUDGET.replace("caliper-1", "caliper-2");
    let list = NAMED.replace(
        "\"caliper-1/2026-11\"",
        "[\"caliper-1/2026-11\", \"caliper-2/2026-11\"]",
    );
    let each = with(&format!("{second}{BUDGET}{other}"), &list);
    for station in ["bench-1", "bench-2"] {
        assert!(armed(&each, station).is_ok(), "{station}");
    }
}

/// Text of the budget or the plan to replace, and its replacement.
const MISTAKES: &[(&str, &str, &str)] = &[
    (
        "a budget of an instrument that is not there",
        "instrument = \"caliper-1\"\n[[unc",
        "instrument = \"caliper-9\"\n[[unc",
    ),
    (
        "a name with a blank",
        "name = \"caliper-1/2026-11\"",
        "name = \"caliper-1 of November\"",
    ),
    (
        "a source that is not known",
        "\"repeatability\"",
        "\"repetition\"",
    ),
    ("no size", "standard = \"0.004 mm\"\n", ""),
    (
        "two sizes",
        "standard = \"0.004 mm\"\n",
        "standard = \"0.004 mm\"\nhalf_width = \"0.004 mm\"\n",
    ),
    (
        "an expanded uncertainty without its factor",
        "coverage = 2\n",
        "",
    ),
    (
        "a factor that is no number",
        "coverage = 2",
        "coverage = \"k=2\"",
    ),
    (
        "a shape of a standard deviation",
        "standard = \"0.004 mm\"",
        "standard = \"0.004 mm\"\nshape = \"triangular\"",
    ),
    (
        "a force for a caliper",
        "half_width = \"0.005 mm\"",
        "half_width = \"5 N\"",
    ),
    (
        "an expansion without its length",
        "length = \"1.62 mm\"\n",
        "",
    ),
    (
        "no degrees of freedom",
        "degrees_of_freedom = 29",
        "degrees_of_freedom = 0",
    ),
    (
        "a plan with a name of no budget",
        "uncertainty = \"caliper-1/2026-11\"",
        "uncertainty = \"caliper-1/2026-10\"",
    ),
    (
        "a budget twice in a plan",
        "uncertainty = \"caliper-1/2026-11\"",
        "uncertainty = [\"caliper-1/2026-11\", \"caliper-1/2026-11\"]",
    ),
    (
        "a misspelled key",
        "half_width = \"0.005 mm\"",
        "halfwidth = \"0.005 mm\"",
    ),
];

#[test]
fn every_mistake_in_a_budget_is_shown_in_its_place_with_what_to_do() {
    let mut all = String::new();
    for (name, from, to) in MISTAKES {
        let [budget, plan] = [BUDGET, NAMED].map(|text| text.replacen(from, to, 1));
        assert!(
            budget != BUDGET || plan != NAMED,
            "{name}: nothing to replace"
        );
        let faulty = with(&budget, &plan).assemble().expect_err(name);
        let _ = writeln!(all, "# {name}");
        for fault in faulty.rendered(false) {
            let _ = writeln!(all, "{fault}");
        }
    }
    golden::assert_same("config/budget_mistakes.txt", &all);
}
