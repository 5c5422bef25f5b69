//! Run rules while measuring: which piece raises which alert, and what withdraws it.

mod recomputed;

use super::desk::{Desk, HEIGHT, plan};
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::{Alerted, Doubted, Entry, Seq, SeriesEntry, State};
use tallyjaw::spec::alert::{ALERTS, MOST_VALUES};
use tallyjaw::spec::{AlertRule, AxisName, Plan, Purpose, Subject, WireRequest, ZeroPolicy};
use tallyjaw::station::Input;

fn heights(pieces: u32, rules: &[&str]) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        alerts: rules
            .iter()
            .map(|name| AlertRule::from_name(name).unwrap())
            .collect(),
        zero: ZeroPolicy {
            before_first: false,
            closing: false,
            ..ZeroPolicy::default()
        },
        ..plan()
    }
}

/// Presses each value. Gives the rules that were reported, each with the number of the press before it.
fn told(desk: &mut Desk, values: &[&str]) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (at, value) in values.iter().enumerate() {
        let before = desk.entries.len();
        desk.press(value);
        for stamped in &desk.entries[before..] {
            if let Entry::Series(SeriesEntry::Alerted(Alerted { rule, .. })) = &stamped.entry {
                found.push((at + 1, rule.clone()));
            }
        }
    }
    found
}

fn texts(desk: &Desk) -> Vec<String> {
    let text = |entry: &Entry| match entry {
        Entry::Series(SeriesEntry::Alerted(Alerted { text, .. })) => Some(text.clone()),
        _ => None,
    };
    let entries = desk.entries.iter();
    entries.filter_map(|stamped| text(&stamped.entry)).collect()
}

const RISING: [&str; 8] = [
    "1.59", "1.60", "1.61", "1.62", "1.63", "1.64", "1.65", "1.66",
];

#[test]
fn the_sixth_piece_of_a_rise_is_told_of_once_and_its_verdict_stays() {
    let mut desk = Desk::new();
    desk.arm(heights(10, &["six_in_a_row"])).unwrap();
    let found = told(&mut desk, &RISING);
    assert_eq!(found, [(6, "six_in_a_row".to_owned())]);
    assert_eq!(
        texts(&desk),
        [
            "core crimp height has risen for 6 pieces in a row, since piece 1 (1.59 to 1.64 mm), \
             and at this pace it is past the limit 1.67 mm in 4 pieces; \
             look at nest 2.0 of T-07 for wear and dirt, at the wire and its strip, and zero caliper-1"
        ]
    );
    let series = desk.core.state().stations["bench-1"].series.as_ref();
    let tally = series.unwrap().tally;
    assert_eq!((tally.passed, tally.failed, tally.unsure), (8, 0, 0));
}

#[test]
fn a_rule_is_told_of_again_only_after_it_stopped_holding() {
    let mut desk = Desk::new();
    desk.arm(heights(20, &["six_in_a_row"])).unwrap();
    told(&mut desk, &RISING);
    let again = ["1.60", "1.61", "1.62", "1.63", "1.64", "1.65"];
    assert_eq!(told(&mut desk, &again), [(6, "six_in_a_row".to_owned())]);
}

#[test]
fn two_of_three_near_a_limit_and_eight_on_one_side_say_what_was_seen() {
    let mut desk = Desk::new();
    desk.arm(heights(
        20,
        &["two_of_three_near_a_limit", "eight_on_one_side"],
    ))
    .unwrap();
    let values = [
        "1.66", "1.63", "1.66", "1.63", "1.64", "1.63", "1.64", "1.63", "1.64",
    ];
    let want = [(3, "two_of_three_near_a_limit"), (8, "eight_on_one_side")];
    let want = want.map(|(at, rule)| (at, rule.to_owned()));
    assert_eq!(told(&mut desk, &values), want);
    assert_eq!(
        texts(&desk),
        [
            "core crimp height was near its limit 1.67 mm, in the outer third of the tolerance or beyond, \
             at 2 of the last 3 pieces, since piece 1 (1.66 mm, 1.63 mm, 1.66 mm); \
             look at nest 2.0 of T-07 for wear and dirt, at the wire and its strip, and zero caliper-1",
            "core crimp height has been above 1.62 mm for 8 pieces in a row, since piece 1 (1.66 to 1.63 mm); \
             look at nest 2.0 of T-07 for wear and dirt, at the wire and its strip, and zero caliper-1",
        ]
    );
}

#[test]
fn a_slow_trend_with_ties_is_told_of_and_where_it_goes() {
    let mut desk = Desk::new();
    desk.arm(heights(20, &["trend"])).unwrap();
    let values = [
        "1.62", "1.62", "1.61", "1.62", "1.61", "1.61", "1.60", "1.61", "1.60", "1.60", "1.59",
    ];
    assert_eq!(told(&mut desk, &values), [(10, "trend".to_owned())]);
    assert_eq!(
        texts(&desk),
        [
            "core crimp height tends downward over the last 10 pieces, since piece 1 \
             (1.62 to 1.60 mm, the later one lower in 31 of 45 pairs), towards the limit 1.57 mm; \
             look at nest 2.0 of T-07 for wear and dirt, at the wire and its strip, and zero caliper-1"
        ]
    );
}

#[test]
fn a_single_limit_is_only_told_of_on_the_way_to_it() {
    let pull = |desk: &mut Desk, values: &[&str]| {
        let before = texts(desk).len();
        for value in values {
            desk.press_on("gauge-1", value);
        }
        texts(desk).split_off(before)
    };
    let mut desk = Desk::new();
    desk.arm(Plan {
        axes: vec![AxisName::new("pull_force")],
        alerts: ALERTS.to_vec(),
        ..heights(20, &[])
    })
    .unwrap();
    let rising = ["190", "191", "192", "193", "194", "195", "196"];
    assert_eq!(pull(&mut desk, &rising), [""; 0]);
    let falling = ["195", "193", "190", "188", "186"];
    assert_eq!(
        pull(&mut desk, &falling),
        [
            "pull force has fallen for 6 pieces in a row, since piece 7 (196 to 186 N), \
             and at this pace it is past the limit 180 N in 4 pieces; \
             look at nest 2.0 of T-07 for wear and dirt, at the wire and its strip, and zero gauge-1"
        ]
    );
}

#[test]
fn a_drift_goes_on_over_short_series_and_a_restart() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        repeat: true,
        ..heights(4, &["six_in_a_row"])
    })
    .unwrap();
    assert_eq!(told(&mut desk, &RISING[..3]), []);
    desk.input(Input::SegmentFull);
    desk.restart();
    let first = desk.core.state().stations["bench-1"].series.as_ref();
    let first = first.unwrap().id;
    assert_eq!(
        told(&mut desk, &RISING[3..]),
        [(3, "six_in_a_row".to_owned())]
    );
    let text = texts(&desk).remove(0);
    let want = format!("since piece 1 of series {first} (1.59 to 1.64 mm)");
    assert!(text.contains(&want), "{text}");
}

#[test]
fn another_tool_nest_limit_or_purpose_begins_a_run_of_its_own() {
    let on = |wire: &str| Subject::Crimps {
        terminal: "QF-250-F".to_owned(),
        wire: WireRequest {
            text: wire.to_owned(),
            sizing: None,
        },
    };
    let base = || heights(3, &["six_in_a_row"]);
    let others = [
        Plan {
            tool: Some("R-02".to_owned()),
            ..base()
        },
        Plan {
            subject: on("5.0 mm²"),
            nest: Some("5.0".to_owned()),
            ..base()
        },
        Plan {
            purpose: Purpose::Reference,
            ..base()
        },
        Plan {
            tool: None,
            nest: None,
            ..base()
        },
    ];
    for other in others {
        let mut desk = Desk::new();
        desk.arm(base()).unwrap();
        told(&mut desk, &RISING[..3]);
        let widened = other.subject == on("5.0 mm²");
        desk.arm(other).unwrap();
        let values = if widened {
            ["1.92", "1.93", "1.94"]
        } else {
            ["1.62", "1.63", "1.64"]
        };
        assert_eq!(told(&mut desk, &values), []);
        // The first tool's run goes on where it was.
        desk.arm(base()).unwrap();
        let found = told(&mut desk, &RISING[3..6]);
        assert_eq!(found, [(3, "six_in_a_row".to_owned())]);
    }
}

#[test]
fn first_off_in_process_and_last_off_are_one_run_of_the_tool() {
    let mut desk = Desk::new();
    for (purpose, values) in [
        (Purpose::FirstOff, &RISING[..2]),
        (Purpose::InProcess, &RISING[2..4]),
        (Purpose::LastOff, &RISING[4..6]),
    ] {
        desk.arm(Plan {
            purpose,
            ..heights(2, &["six_in_a_row"])
        })
        .unwrap();
        told(&mut desk, values);
    }
    assert_eq!(texts(&desk).len(), 1);
}

#[test]
fn a_reading_retracted_leaves_the_run_and_the_alert_that_rests_on_it_is_no_longer_shown() {
    let mut desk = Desk::new();
    desk.arm(heights(10, &["six_in_a_row"])).unwrap();
    told(&mut desk, &RISING[..6]);
    let shown = |desk: &Desk| {
        let series = desk.core.state().stations["bench-1"].series.as_ref();
        series.unwrap().alerts.len()
    };
    assert_eq!(shown(&desk), 1);
    desk.retract(None).unwrap(); // the alert is no reading
    assert_eq!(shown(&desk), 0);
    // Piece 6 again, and it falls; then a new rise is long in coming.
    assert_eq!(told(&mut desk, &["1.60", "1.65"]), []);
}

#[test]
fn a_slip_that_is_retracted_and_measured_again_does_not_break_the_row() {
    let mut desk = Desk::new();
    desk.arm(heights(10, &["six_in_a_row"])).unwrap();
    told(&mut desk, &["1.59", "1.60", "1.57", "1.62", "1.63"]);
    let slip = desk.entries[desk.entries.len() - 3].seq;
    desk.retract(Some(slip)).unwrap();
    let found = told(&mut desk, &["1.61", "1.64"]);
    assert_eq!(found, [(2, "six_in_a_row".to_owned())]);
}

#[test]
fn a_zero_in_between_changes_nothing_and_doubted_readings_leave_the_run() {
    let mut desk = Desk::new();
    let mut armed = heights(10, &["six_in_a_row"]);
    armed.zero = ZeroPolicy::default();
    desk.arm(armed).unwrap();
    desk.press("0.00");
    told(&mut desk, &RISING[..3]);
    desk.press("0.00");
    assert_eq!(told(&mut desk, &RISING[3..5]), []);
    desk.press("0.02"); // off: the last two are in doubt
    assert!(
        matches!(desk.last(), Entry::Series(SeriesEntry::Doubted(Doubted { readings, .. })) if readings.len() == 2)
    );
    desk.press("0.00");
    assert_eq!(
        told(&mut desk, &RISING[3..6]),
        [(3, "six_in_a_row".to_owned())]
    );
}

#[test]
fn reference_pieces_are_in_no_order_so_no_rule_is_in_force_unless_it_is_named() {
    for purpose in Purpose::ALL {
        let names: Vec<_> = AlertRule::defaults(purpose)
            .iter()
            .map(|rule| rule.name)
            .collect();
        let want: &[&str] = match purpose {
            Purpose::Reference | Purpose::GaugeStudy | Purpose::Verification => &[],
            _ => &["six_in_a_row", "two_of_three_near_a_limit", "trend"],
        };
        assert_eq!(names, want, "{}", purpose.name());
    }
    let mut desk = Desk::new();
    desk.arm(Plan {
        purpose: Purpose::Reference,
        ..heights(10, &[])
    })
    .unwrap();
    assert_eq!(told(&mut desk, &RISING), []);
    assert!(desk.core.state().stations["bench-1"].runs.0.is_empty());
}

#[test]
fn an_alert_that_does_not_follow_from_the_readings_is_found() {
    let mut desk = Desk::new();
    desk.arm(heights(10, &["six_in_a_row"])).unwrap();
    told(&mut desk, &RISING[..6]);
    let mut before = State::default();
    let (alerted, earlier) = desk.entries.split_last().unwrap();
    for stamped in earlier {
        before.apply(stamped);
    }
    assert_eq!(audit(&before, alerted), []);
    let forged = |change: &dyn Fn(&mut String, &mut Vec<Seq>)| {
        let mut forged = alerted.clone();
        let Entry::Series(SeriesEntry::Alerted(Alerted { rule, readings, .. })) = &mut forged.entry
        else {
            panic!("{forged:?}");
        };
        change(rule, readings);
        let found = audit(&before, &forged);
        let said =
            |m: &tallyjaw::entry::audit::Mismatch| format!("{}: {}, {}", m.what, m.got, m.want);
        found.iter().map(said).collect::<Vec<_>>()
    };
    let want = ["alert: trend, six_in_a_row"];
    assert_eq!(forged(&|rule, _| "trend".clone_into(rule)), want);
    let short = forged(&|_, readings| readings.truncate(5));
    assert_eq!(short.len(), 1, "{short:?}");
    assert!(short[0].starts_with("readings of the alert: "), "{short:?}");
    before.apply(alerted);
    let twice = audit(&before, alerted);
    assert_eq!((twice.len(), twice[0].what), (1, "alert"));
}

#[test]
fn a_station_keeps_a_bounded_number_of_runs_each_of_bounded_length() {
    let mut desk = Desk::new();
    for piece in 0..40 {
        let tool = (piece % 2 == 0).then(|| "T-07".to_owned());
        let nest = tool.as_ref().map(|_| "2.0".to_owned());
        desk.arm(Plan {
            tool,
            nest,
            ..heights(3, &["trend"])
        })
        .unwrap();
        told(&mut desk, &["1.62", "1.63", "1.62"]);
    }
    let runs = &desk.core.state().stations["bench-1"].runs.0;
    assert_eq!(
        runs.len(),
        1 + 20,
        "the tool's, and one of each series without a tool"
    );
    let longest = runs.iter().map(|run| run.points.len()).max();
    assert_eq!(longest, Some(MOST_VALUES));
    for _ in 0..40 {
        desk.arm(Plan {
            tool: None,
            nest: None,
            ..heights(3, &["trend"])
        })
        .unwrap();
        told(&mut desk, &["1.62"]);
    }
    let runs = &desk.core.state().stations["bench-1"].runs.0;
    assert_eq!(runs.len(), tallyjaw::entry::runs::MOST_RUNS);
}
