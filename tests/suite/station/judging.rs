//! What a value is worth: verdicts, plausibility, arming's refusals.

use super::desk::{Desk, HEIGHT, WIDTH, crimps, plan};
use tallyjaw::entry::{Entry, FrameEntry, NotCounted, SeriesEntry};
use tallyjaw::spec::{AxisName, Decision, Plan, Verdict};

fn heights(decision: Decision) -> Desk {
    let mut desk = Desk::new();
    let axes = vec![AxisName::new(HEIGHT)];
    desk.arm(Plan {
        axes,
        decision,
        pieces: 20,
        ..plan()
    })
    .unwrap();
    desk.press("+0.00");
    desk
}

#[test]
fn values_on_both_limits_pass_and_a_count_beyond_fails() {
    let mut desk = heights(Decision::Simple);
    for (value, verdict) in [
        ("+1.62", Verdict::Pass),
        ("+1.57", Verdict::Pass),
        ("+1.67", Verdict::Pass),
        ("+1.56", Verdict::FailLow),
        ("+1.68", Verdict::FailHigh),
    ] {
        assert_eq!(desk.reading(value), Ok(verdict), "{value}");
    }
}

#[test]
fn the_guarded_rule_says_unsure_within_the_band_of_either_limit() {
    // u² = 0.02²/3 + 2·0.01²/12, g = 1.645 → g·u = 0.0201 mm (ISO 14253-1, JCGM 106; from memory).
    let mut desk = heights(Decision::Guarded { factor_milli: 1645 });
    for (value, verdict) in [
        ("+1.62", Verdict::Pass),
        ("+1.60", Verdict::Pass),
        ("+1.59", Verdict::UnsureLow),
        ("+1.55", Verdict::UnsureLow),
        ("+1.54", Verdict::FailLow),
        ("+1.65", Verdict::UnsureHigh),
        ("+1.69", Verdict::UnsureHigh),
        ("+1.70", Verdict::FailHigh),
    ] {
        assert_eq!(desk.reading(value), Ok(verdict), "{value}");
    }
}

#[test]
fn a_width_on_a_height_is_not_counted_and_said_to_look_like_one() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    desk.press("+0.00");
    let (reason, hint) = desk.reading("+2.41").unwrap_err();
    assert_eq!(
        (reason, hint.as_str()),
        (NotCounted::Implausible, "looks like a width")
    );
    assert_eq!(desk.prompt(), "measure piece 1 of 3: core crimp height");
}

#[test]
fn inches_on_a_millimetre_plan_are_told_as_inches() {
    let mut desk = heights(Decision::Simple);
    let (reason, hint) = desk.reading("+0.0638").unwrap_err();
    assert_eq!(
        (reason, hint.as_str()),
        (NotCounted::Implausible, "looks like inches")
    );
    // With its unit it is the same length, and counts.
    assert_eq!(desk.reading("+0.0638in"), Ok(Verdict::Pass));
}

#[test]
fn a_very_bad_crimp_sent_twice_fails_and_does_not_vanish() {
    let mut desk = heights(Decision::Simple);
    assert_eq!(
        desk.reading("+3.10").unwrap_err().0,
        NotCounted::Implausible
    );
    assert_eq!(
        desk.reading("+3.11"),
        Ok(Verdict::FailHigh),
        "one count apart is the same"
    );
    assert_eq!(
        desk.reading("+3.10").unwrap_err().0,
        NotCounted::Implausible,
        "the next slot"
    );
    desk.wait(std::time::Duration::from_secs(11));
    assert_eq!(
        desk.reading("+3.10").unwrap_err().0,
        NotCounted::Implausible,
        "too late"
    );
}

#[test]
fn a_value_with_a_digit_missing_counts_only_if_it_is_sent_again() {
    let mut desk = heights(Decision::Simple);
    let (reason, hint) = desk.reading("+1.6").unwrap_err();
    assert_eq!(reason, NotCounted::Implausible);
    assert!(hint.contains("check its battery"), "{hint}");
    assert_eq!(desk.reading("+1.6"), Ok(Verdict::Pass));
    assert_eq!(desk.reading("+1.60"), Ok(Verdict::Pass));
}

#[test]
fn a_value_below_zero_or_out_of_range_never_counts() {
    let mut desk = heights(Decision::Simple);
    for value in ["-0.51", "-0.51", "+151.00", "+151.00"] {
        assert_eq!(
            desk.reading(value).unwrap_err().0,
            NotCounted::Implausible,
            "{value}"
        );
    }
}

#[test]
fn a_force_where_a_height_is_due_is_the_wrong_instrument() {
    let mut desk = heights(Decision::Simple);
    match desk.press_on("gauge-1", "190") {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            let (reason, hint) = super::desk::outcome(reading).unwrap_err();
            assert_eq!(reason, NotCounted::WrongInstrument);
            assert_eq!(hint, "gauge-1 does not measure a core crimp height");
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_plan_that_cannot_be_measured_is_refused_with_the_remedy() {
    let axes = |names: &[&str]| names.iter().map(|name| AxisName::new(*name)).collect();
    let some = |text: &str| Some(text.to_owned());
    for (plan, message) in [
        (
            Plan {
                subject: crimps("QF-251", "2.0 mm²"),
                ..plan()
            },
            "no terminal \"QF-251\", want the id of a [[terminal]] in a sheet",
        ),
        (
            Plan {
                subject: crimps("QF-250-F", "4.0 mm²"),
                ..plan()
            },
            "has no row for 4.0 mm²",
        ),
        (
            Plan {
                nest: some("5.0"),
                ..plan()
            },
            "nest 5.0 of T-07 is not for 2.0 mm², want a nest for it; this one is for 5.0 mm²",
        ),
        (
            Plan {
                nest: None,
                ..plan()
            },
            "names no nest of T-07",
        ),
        (
            Plan {
                tool: some("T-99"),
                ..plan()
            },
            "no tool \"T-99\", want the id of a [[tool]]",
        ),
        (
            Plan {
                axes: axes(&["strip_length"]),
                ..plan()
            },
            "caliper-1 is too coarse for strip_length: 2 steps",
        ),
        (
            Plan {
                axes: axes(&["cutoff_tab"]),
                ..plan()
            },
            "does not limit cutoff_tab",
        ),
        (
            Plan {
                axes: axes(&[HEIGHT, HEIGHT]),
                ..plan()
            },
            "axes \"core_crimp_height\" is there already",
        ),
        (
            Plan {
                axes: axes(&[]),
                ..plan()
            },
            "axes is an empty list",
        ),
        (
            Plan {
                pieces: 0,
                ..plan()
            },
            "pieces is 0, want a whole number from 1 to 10000",
        ),
        (
            Plan {
                decision: Decision::Guarded { factor_milli: 1645 },
                axes: axes(&["pull_force"]),
                ..plan()
            },
            "gauge-1 has no max_error, want the maximum permissible error, which the guarded rule needs",
        ),
    ] {
        let mut desk = Desk::new();
        let before = desk.entries.len();
        let refusal = desk.arm(plan).unwrap_err();
        assert!(
            refusal.to_string().contains(message),
            "{}",
            refusal.to_string()
        );
        assert!(!refusal.remedy().is_empty(), "{message}");
        assert_eq!(desk.entries.len(), before, "a refusal changes nothing");
    }
}

#[test]
fn arming_warns_of_a_small_uncertainty_ratio_a_repair_tool_and_a_missing_closing_zero() {
    let mut desk = Desk::new();
    let mut risky = Plan {
        tool: Some("R-02".to_owned()),
        ..plan()
    };
    risky.zero.closing = false;
    desk.arm(risky).unwrap();
    let Entry::Series(SeriesEntry::Armed(spec)) = desk.last() else {
        panic!("{:?}", desk.last())
    };
    let warnings = spec.warnings.join("\n");
    for part in [
        "R-02 is a repair-class tool",
        "the uncertainty of caliper-1, ±0.025 mm, is 49 % of the core crimp height tolerance, ±0.05 mm: readings within 0.021 mm of a limit may be judged wrongly",
        "core crimp width",
        "no closing zero",
    ] {
        assert_eq!(
            warnings.contains(part),
            part != "core crimp width",
            "{part}: {warnings}"
        );
    }
    assert!(warnings.contains("calls them unsure"), "{warnings}");
    let guarded = Plan {
        decision: Decision::Guarded { factor_milli: 2000 },
        ..plan()
    };
    let mut careful = Desk::new();
    careful.arm(guarded).unwrap();
    let Entry::Series(SeriesEntry::Armed(armed)) = careful.last() else {
        panic!("{:?}", careful.last())
    };
    let said = armed.warnings.join("\n");
    assert!(
        said.contains("readings within 0.025 mm of a limit are unsure"),
        "{said}"
    );
    assert!(!said.contains("guarded"), "it is guarded already: {said}");
    // 0.05/(2u) and 0.10/(2u) with u = 0.01225 mm, rounded down.
    let ratio = |axis: &str| {
        let axis = spec.axis(&AxisName::new(axis)).unwrap();
        axis.guard_of("caliper-1")
            .unwrap()
            .test_uncertainty_ratio_hundredths
    };
    assert_eq!((ratio(HEIGHT), ratio(WIDTH)), (Some(204), Some(408)));
}
