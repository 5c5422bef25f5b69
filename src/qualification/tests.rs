//! Tests of the standing of a combination, with invented series.

use super::{CareNow, Found, Lacking, Required, SeriesName, Standing, find};
use crate::entry::qualifying::{Combination, Evidence, EvidenceAxis, MOST_KEPT, Qualifying};
use crate::entry::{Outcome, Seq};
use crate::quantity::{Dimension, Quantity, Unit, WallMicros};
use crate::spec::{AxisName, Limits, QualificationRule, ToolCare, WireRequest, wire};

/// Steps from nominal in an order without signals; their standard deviation is 0.912871 steps.
const STEPS: [i64; 25] = [
    0, -1, 0, 0, 1, 0, -1, 0, 0, 0, 1, 0, -1, -2, 0, 1, 1, 0, 0, -1, 1, 2, -1, 1, -1,
];
const HEIGHT: &str = "core_crimp_height";

fn at(text: &str) -> WallMicros {
    text.parse().unwrap()
}

fn limits() -> Limits {
    "1.62 ±0.05 mm".parse().unwrap()
}

fn combination() -> Combination {
    Combination {
        terminal: "QF-250-F".to_owned(),
        wire: two_square().area,
        tool: "T-07".to_owned(),
        nest: None,
    }
}

fn two_square() -> crate::spec::WireSize {
    let request = WireRequest {
        text: "2.0 mm²".to_owned(),
        sizing: None,
    };
    wire::resolve(&request).unwrap()
}

/// A series of heights around 1.62 mm in steps of this number of nanometres.
fn series(number: u64, step: i64, pieces: usize) -> Evidence {
    Evidence {
        journal: None,
        series: Seq(number),
        at: at("2026-08-31T09:00:00Z"),
        wire: two_square(),
        outcome: Outcome::Accepted,
        is_bracketed: true,
        reservations: Vec::new(),
        axes: vec![EvidenceAxis {
            axis: AxisName::new(HEIGHT),
            limits: limits(),
            resolution: Some(Quantity::from_base(Dimension::Length, step)),
            unit: Unit::Millimetre,
            bases: STEPS
                .iter()
                .take(pieces)
                .map(|steps| 1_620_000 + steps * step)
                .collect(),
        }],
    }
}

fn with(outcome: Outcome, evidence: Evidence) -> Evidence {
    Evidence {
        outcome,
        ..evidence
    }
}

fn rule() -> QualificationRule {
    QualificationRule {
        pull: false,
        ..QualificationRule::default()
    }
}

fn found(all: &[Evidence]) -> Found {
    found_on(all, None, "2026-09-01T00:00:00Z")
}

fn found_on(all: &[Evidence], care: Option<&ToolCare>, now: &str) -> Found {
    let mut known = Qualifying::default();
    for one in all {
        known.take(combination(), one.clone());
    }
    let required = Required(vec![(AxisName::new(HEIGHT), Some(limits()))]);
    let care = care.map(|care| CareNow {
        tool: "T-07",
        care,
        crimps: Some(500),
    });
    let known = known.of(&combination());
    find(known, Some(&required), &rule(), care, at(now))
}

fn name(number: u64) -> SeriesName {
    SeriesName {
        journal: None,
        series: Seq(number),
    }
}

#[test]
fn the_bound_that_counts_is_the_exact_one_to_the_thousandth() {
    // At n = 25 the bound is 1.33 where Ppk is 1.770415 (scipy's noncentral t: P(T(24; 15 · 1.33) ≤ 15 Ppk) = 0.95), that
    // is, where the step is 10,312.50 nm: 1.33007 at 10,312 nm, 1.32993 at 10,313 nm.
    let over = found(&[series(37, 10_312, 25)]);
    assert_eq!(over.standing, Standing::Shown, "{over:?}");
    assert_eq!(over.worst().unwrap().1, 1_330);
    let under = found(&[series(37, 10_313, 25)]);
    assert_eq!(
        under.missing,
        [Lacking::Bound {
            axis: AxisName::new(HEIGHT),
            got_milli: 1_329,
            want_hundredths: 133,
            series: name(37)
        }]
    );
    let few = found(&[series(37, 8_000, 24)]);
    assert_eq!(
        few.missing[0].to_string(),
        "core crimp height: 24 of 25 pieces (series 37)"
    );
}

#[test]
fn an_index_whose_preconditions_fail_is_not_demonstrated() {
    let mut drifting = series(37, 5_000, 25);
    drifting.axes[0].bases.sort_unstable();
    let missing = found(&[drifting]).missing;
    assert!(
        missing.iter().any(|one| one.to_string()
            == "core crimp height: the pieces are not independent (series 37)"),
        "{missing:?}"
    );
    let mut same = series(37, 5_000, 25);
    same.axes[0].bases = vec![1_620_000; 25];
    assert_eq!(
        found(&[same]).missing[0].to_string(),
        "core crimp height: the readings of series 37 give no Ppk"
    );
}

#[test]
fn the_newest_series_decides_and_one_that_was_resumed_hides_no_other_for_good() {
    let good = || series(37, 8_000, 25);
    let words = |all: &[Evidence]| {
        let missing = found(all).missing;
        missing.first().map(ToString::to_string)
    };
    for (outcome, says) in [
        (Outcome::Rejected, "series 52 was rejected"),
        (Outcome::Undecided, "series 52 was undecided"),
        (
            Outcome::CutShort,
            "series 52 was stopped early after a failed reading",
        ),
    ] {
        let newer = with(outcome, series(52, 8_000, 25));
        assert_eq!(words(&[good(), newer]).as_deref(), Some(says));
    }
    let stopped = with(Outcome::CutShort, series(52, 8_000, 9));
    let resumed = [good(), stopped, series(52, 8_000, 25)];
    assert_eq!(found(&resumed).series(), [&name(52)]);
    let unzeroed = Evidence {
        is_bracketed: false,
        ..series(52, 8_000, 25)
    };
    assert!(
        words(&[good(), unzeroed])
            .unwrap()
            .starts_with("the plan of series 52")
    );
    // A series by other limits neither counts nor counts against.
    let mut other = with(Outcome::Rejected, series(52, 8_000, 25));
    other.axes[0].limits = "1.62 ±0.04 mm".parse().unwrap();
    assert_eq!(words(&[good(), other]), None);
}

#[test]
fn it_lapses_the_day_after_its_months_and_by_a_check_of_the_tool() {
    let good = [series(37, 8_000, 25)];
    let on = |care: Option<ToolCare>, now: &str| found_on(&good, care.as_ref(), now);
    assert_eq!(on(None, "2027-08-31T23:59:59Z").standing, Standing::Shown);
    let lapsed = on(None, "2027-09-01T00:00:00Z");
    assert_eq!(lapsed.standing, Standing::Lapsed);
    assert_eq!(
        lapsed.lapses[0].to_string(),
        "its oldest series counted until 2027-08-31: 12 months"
    );
    let checked = |day: &str| ToolCare {
        last_check: Some(day.parse().unwrap()),
        ..ToolCare::default()
    };
    let now = "2026-10-01T12:00:00Z";
    assert_eq!(
        on(Some(checked("2026-08-31")), now).standing,
        Standing::Shown
    );
    assert_eq!(
        on(Some(checked("2026-09-01")), now).standing,
        Standing::Lapsed
    );
    assert_eq!(
        on(Some(checked("2026-10-02")), now).standing,
        Standing::Shown
    );
    let worn = ToolCare {
        check_every_crimps: Some(500),
        ..ToolCare::default()
    };
    assert_eq!(
        on(Some(worn), now).lapses[0].to_string(),
        "T-07 has made 500 crimps since its last check, want a check every 500: have it checked"
    );
}

#[test]
fn a_combination_keeps_a_bounded_number_of_series() {
    let mut known = Qualifying::default();
    for number in 0..50 {
        let mut one = series(number, 8_000, 25);
        one.axes[0].limits = format!("1.62 ±0.{:02} mm", number + 1).parse().unwrap();
        known.take(combination(), one);
        known.take(
            combination(),
            with(Outcome::CutShort, series(100 + number, 1, 2)),
        );
    }
    let kept = known.of(&combination());
    assert_eq!(kept.len(), MOST_KEPT);
    assert_eq!(kept.last().unwrap().series, Seq(149));
}
