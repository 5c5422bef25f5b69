//! A start warns of what is overdue, and the warning is entered. Crimps are counted for each tool.

use super::desk::{Desk, HEIGHT, catalog, plan};
use super::verifying::verification;
use std::time::Duration;
use tallyjaw::entry::{Entry, SeriesEntry};
use tallyjaw::spec::{ArmedSpec, AxisName, Catalog, InstrumentCare, Plan, Purpose, ToolCare};

/// The desk's clock stands at 2025-11-24T16:00:00Z.
fn with_care(instrument: InstrumentCare, tool: ToolCare) -> Catalog {
    let mut catalog = catalog();
    catalog.instruments[0].care = instrument;
    for known in &mut catalog.tools {
        known.care = tool;
    }
    catalog
}

fn heights(pieces: u32) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        ..plan()
    }
}

fn armed(desk: &mut Desk, plan: Plan) -> ArmedSpec {
    desk.arm(plan).unwrap();
    match desk.last() {
        Entry::Series(SeriesEntry::Armed(spec)) => (**spec).clone(),
        other => panic!("{other:?}"),
    }
}

/// Warnings that are about care and not about the ratio of uncertainties.
fn of_care(spec: &ArmedSpec) -> Vec<&str> {
    let warnings = spec.warnings.iter().map(String::as_str);
    warnings
        .filter(|warning| !warning.starts_with("the uncertainty of "))
        .collect()
}

#[test]
fn an_overdue_calibration_and_check_are_warned_of_from_the_day_after_and_entered() {
    for (due, warned) in [("2025-11-24", false), ("2025-11-23", true)] {
        let day = Some(due.parse().unwrap());
        let catalog = with_care(
            InstrumentCare {
                calibration_due: day,
                ..InstrumentCare::default()
            },
            ToolCare {
                check_due: day,
                ..ToolCare::default()
            },
        );
        let mut desk = Desk::with(catalog);
        let spec = armed(&mut desk, heights(1));
        assert_eq!(spec.instruments[0].care.calibration_due, day);
        assert_eq!(spec.tool.as_ref().unwrap().care.check_due, day);
        let want = [
            "the calibration of caliper-1 was due on 2025-11-23: have it calibrated",
            "the check of T-07 was due on 2025-11-23: have it checked",
        ];
        let want: &[&str] = if warned { &want } else { &[] };
        assert_eq!(of_care(&spec), want);
    }
}

#[test]
fn an_instrument_that_was_never_verified_failed_or_is_overdue_is_warned_of() {
    let care = InstrumentCare {
        verify_every_days: Some(30),
        ..InstrumentCare::default()
    };
    let mut desk = Desk::with(with_care(care, ToolCare::default()));
    assert_eq!(
        of_care(&armed(&mut desk, heights(1))),
        [
            "caliper-1 is to be verified every 30 days, and never was: verify it against gauge blocks"
        ]
    );
    let verify = |desk: &mut Desk, value: &str| {
        let spec = armed(desk, verification(&["2.50 mm"], 1));
        assert!(of_care(&spec).is_empty(), "it is being verified");
        let series = desk.entries.last().unwrap().seq;
        for value in ["0.00", value, "0.00"] {
            desk.press(value);
        }
        series
    };
    let failed = verify(&mut desk, "2.53");
    let spec = armed(&mut desk, heights(1));
    assert_eq!(
        of_care(&spec),
        [format!(
            "caliper-1 failed its last verification, series {failed}: have it adjusted, and verify it again"
        )]
    );
    let good = verify(&mut desk, "2.51");
    desk.restart();
    let spec = armed(&mut desk, heights(1));
    assert!(of_care(&spec).is_empty());
    let verified = spec.instruments[0].verified.unwrap();
    assert_eq!((verified.series, verified.accepted), (good.0, true));
    desk.wait(Duration::from_secs(31 * 24 * 3600));
    assert_eq!(
        of_care(&armed(&mut desk, heights(1))),
        ["the verification of caliper-1 was due on 2025-12-24: verify it against gauge blocks"]
    );
}

#[test]
fn a_verification_that_is_broken_off_hides_no_failure_and_proves_nothing() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 mm", "41.3 mm"], 1)).unwrap();
    desk.press("0.00");
    desk.press("2.50");
    assert!(
        armed(&mut desk, heights(1)).instruments[0]
            .verified
            .is_none()
    );
    desk.arm(verification(&["2.50 mm", "41.3 mm"], 1)).unwrap();
    desk.press("0.00");
    desk.press("2.53");
    let verified = armed(&mut desk, heights(1)).instruments[0].verified;
    assert!(!verified.unwrap().accepted);
}

#[test]
fn a_tool_counts_each_own_piece_once_also_where_its_reading_was_retracted() {
    let tool = ToolCare {
        crimps_before: 4_996,
        check_every_crimps: Some(5_000),
        crimps_at_check: Some(0),
        ..ToolCare::default()
    };
    let mut desk = Desk::with(with_care(InstrumentCare::default(), tool));
    let spec = armed(
        &mut desk,
        Plan {
            pieces: 2,
            ..plan()
        },
    );
    assert_eq!(spec.tool.as_ref().unwrap().crimps, Some(4_996));
    assert!(of_care(&spec).is_empty());
    desk.press("0.00");
    desk.press("1.75");
    desk.retract(None).unwrap();
    for value in ["1.62", "1.63", "2.40", "2.41", "0.00"] {
        desk.press(value);
    }
    desk.restart();
    let known = &desk.core.state().tools["T-07"];
    assert_eq!(
        (known.crimps, known.nests["2.0"]),
        (2, 2),
        "two pieces, four slots"
    );
    for purpose in [Purpose::Reference, Purpose::GaugeStudy] {
        armed(
            &mut desk,
            Plan {
                purpose,
                ..heights(1)
            },
        );
        desk.press("0.00");
        desk.press("1.62");
    }
    assert_eq!(
        desk.core.state().tools["T-07"].crimps,
        2,
        "not its own pieces"
    );
    armed(&mut desk, heights(2));
    for value in ["0.00", "1.62", "1.62", "0.00"] {
        desk.press(value);
    }
    let spec = armed(&mut desk, heights(1));
    assert_eq!(
        of_care(&spec),
        [
            "T-07 has made 5000 crimps since its last check, want a check every 5000: have it checked"
        ]
    );
}

#[test]
fn each_series_of_a_plan_that_repeats_says_what_is_overdue_then() {
    let tool = ToolCare {
        check_every_crimps: Some(2),
        ..ToolCare::default()
    };
    let mut desk = Desk::with(with_care(InstrumentCare::default(), tool));
    armed(
        &mut desk,
        Plan {
            repeat: true,
            ..heights(1)
        },
    );
    let mut said = Vec::new();
    for _ in 0..4 {
        for value in ["0.00", "1.62", "0.00"] {
            desk.press(value);
        }
        match desk.last() {
            Entry::Series(SeriesEntry::Armed(spec)) => {
                let crimps = spec.tool.as_ref().unwrap().crimps;
                said.push((crimps, of_care(spec).len()));
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(
        said,
        [(Some(1), 0), (Some(2), 1), (Some(3), 1), (Some(4), 1)]
    );
}

#[test]
fn what_a_repair_crimp_needs_is_said_and_entered() {
    let mut desk = Desk::new();
    let spec = armed(
        &mut desk,
        Plan {
            tool: Some("R-02".to_owned()),
            ..heights(1)
        },
    );
    let needs = spec.tool.as_ref().unwrap().needs.as_deref();
    assert_eq!(needs, Some("a pull test of 5 pieces"));
    assert!(of_care(&spec).contains(
        &"for crimps made with the repair-class tool R-02, the maker's sheet requires: a pull test of 5 pieces"
    ));
    let spec = armed(&mut desk, heights(1));
    assert_eq!(spec.tool.unwrap().needs, None);
}
