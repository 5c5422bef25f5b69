//! A retraction that is undone, and one of a piece that measuring destroyed.

use super::desk::{Desk, HEIGHT, LATCH_FORCE, plan, with_latch_force};
use std::time::Duration;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::{
    Entry, JournalId, Means, Outcome, Retracted, Seq, SeriesEntry, State, Tally,
};
use tallyjaw::row::Gather;
use tallyjaw::spec::{AlertRule, AxisName, Order, Plan, ZeroPolicy};
use tallyjaw::station::{Armable, Command, Input, Refusal};

fn of(axes: &[&str], pieces: u32) -> Plan {
    Plan {
        axes: axes.iter().map(|axis| AxisName::new(*axis)).collect(),
        pieces,
        ..plan()
    }
}

fn armed(plan: Plan, values: &[&str]) -> Desk {
    let mut desk = Desk::new();
    desk.arm(plan).unwrap();
    press(&mut desk, values);
    desk
}

/// Millimetres have a point, newtons have none.
fn press(desk: &mut Desk, values: &[&str]) {
    for value in values {
        if value.contains('.') {
            desk.press(value);
        } else {
            desk.press_on("gauge-1", value);
        }
    }
}

/// Every entry follows from those before it, and they amount to the live state.
fn follows(desk: &Desk) {
    let mut state = State::default();
    for stamped in &desk.entries {
        assert_eq!(audit(&state, stamped), [], "{stamped:?}");
        state.apply(stamped);
    }
    assert_eq!(state, *desk.core.state());
}

fn tally(desk: &Desk) -> Tally {
    desk.core.state().stations["bench-1"]
        .series
        .as_ref()
        .unwrap()
        .tally
}

fn completed(desk: &Desk) -> (Outcome, Tally) {
    let completed = desk.entries.iter().rev().find_map(|stamped| {
        let Entry::Series(SeriesEntry::Completed(completed)) = &stamped.entry else {
            return None;
        };
        Some((completed.outcome, completed.tally))
    });
    completed.unwrap()
}

fn said(result: Result<(), Refusal>) -> String {
    result.unwrap_err().to_string()
}

const NOTHING: &str = "has no retracted reading to restore";

#[test]
fn a_restored_reading_counts_again_with_its_verdict_and_its_slot() {
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.62", "1.75"]);
    let before = desk.core.state().stations["bench-1"]
        .series
        .clone()
        .unwrap();
    desk.retract(None).unwrap();
    assert!(desk.prompt().starts_with("measure piece 2 of 3"));
    desk.restore().unwrap();
    assert!(desk.prompt().starts_with("measure piece 3 of 3"));
    let after = desk.core.state().stations["bench-1"]
        .series
        .clone()
        .unwrap();
    assert_eq!(
        (after.readings, after.tally),
        (before.readings, before.tally)
    );
    press(&mut desk, &["1.60", "0.00"]);
    let (outcome, tally) = completed(&desk);
    assert_eq!(outcome, Outcome::Rejected);
    assert_eq!((tally.passed, tally.failed, tally.retracted), (2, 1, 0));
    follows(&desk);
}

#[test]
fn only_the_last_retraction_is_undone_and_only_once() {
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00"]);
    assert!(said(desk.restore()).ends_with(NOTHING));
    press(&mut desk, &["1.60", "1.61", "1.62"]);
    desk.retract(None).unwrap();
    desk.retract(None).unwrap();
    desk.restore().unwrap();
    assert!(said(desk.restore()).ends_with(NOTHING));
    assert_eq!((tally(&desk).passed, tally(&desk).retracted), (2, 1));
    follows(&desk);
}

#[test]
fn a_piece_that_was_measured_again_cannot_be_restored() {
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.75"]);
    desk.retract(None).unwrap();
    // What does not count changes nothing.
    press(&mut desk, &["9.00"]);
    desk.restore().unwrap();
    desk.retract(None).unwrap();
    press(&mut desk, &["1.62"]);
    assert!(said(desk.restore()).ends_with(NOTHING));
    follows(&desk);
}

#[test]
fn an_off_zero_after_a_retracted_reading_ends_its_restoring_and_a_good_one_does_not() {
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.60"]);
    desk.retract(None).unwrap();
    press(&mut desk, &["0.02", "0.00"]);
    assert!(said(desk.restore()).ends_with(NOTHING));
    press(&mut desk, &["1.60"]);
    desk.retract(None).unwrap();
    // The good zero vouches for it; what comes after that is no longer about it.
    press(&mut desk, &["0.00", "0.02", "0.00"]);
    desk.restore().unwrap();
    assert_eq!(tally(&desk).passed, 1);
    follows(&desk);
}

#[test]
fn restoring_the_last_missing_reading_completes_the_series() {
    let mut desk = Desk::with(with_latch_force());
    desk.arm(Plan {
        zero: ZeroPolicy {
            before_first: false,
            closing: false,
            ..ZeroPolicy::default()
        },
        order: Order::ByValue,
        ..of(&[HEIGHT, LATCH_FORCE], 1)
    })
    .unwrap();
    press(&mut desk, &["1.62"]);
    desk.retract(None).unwrap();
    press(&mut desk, &["30"]);
    assert!(desk.core.state().stations["bench-1"].series.is_some());
    desk.restore().unwrap();
    assert_eq!(completed(&desk).0, Outcome::Accepted);
    assert_eq!(
        desk.kinds_from(desk.entries.len() - 2),
        ["restored", "completed"]
    );
    follows(&desk);
}

#[test]
fn a_run_rule_that_holds_again_by_a_restored_reading_is_told_again() {
    let plan = Plan {
        alerts: vec![AlertRule::from_name("six_in_a_row").unwrap()],
        ..of(&[HEIGHT], 8)
    };
    let mut desk = armed(
        plan,
        &["0.00", "1.58", "1.59", "1.60", "1.61", "1.62", "1.63"],
    );
    assert_eq!(desk.last().kind(), "alerted");
    desk.retract(None).unwrap();
    desk.restore().unwrap();
    assert_eq!(
        desk.kinds_from(desk.entries.len() - 3),
        ["retracted", "restored", "alerted"]
    );
    follows(&desk);
}

#[test]
fn a_pedal_or_a_double_zero_cannot_retract_a_destroyed_piece() {
    let mut desk = armed(of(&["pull_force"], 2), &["0", "187"]);
    let from = desk.entries.len();
    for by in [Means::Pedal, Means::DoubleZero] {
        let refused = desk.retract_by(by, Some("slipped")).unwrap_err();
        assert_eq!(
            refused.to_string(),
            format!(
                "piece 1 was destroyed when its pull force of 187 N was measured: not retracted {}",
                by.words()
            )
        );
    }
    for by in [Means::Card, Means::Command] {
        assert!(said(desk.retract_by(by, None)).ends_with("a reason is required"));
        assert!(said(desk.retract_by(by, Some(" "))).starts_with("a reason without words"));
    }
    assert!(desk.kinds_from(from).is_empty());
    press(&mut desk, &["0"]);
    assert_eq!(desk.prompt(), "measure piece 2 of 2: pull force");
    press(&mut desk, &["0"]);
    assert_eq!(desk.kinds_from(from), ["zeroed", "zeroed"]);
    follows(&desk);
}

#[test]
fn a_spent_piece_is_passed_over_and_the_next_number_is_measured_instead() {
    let mut desk = armed(of(&["pull_force"], 3), &["0", "187", "60"]);
    desk.retract_by(Means::Card, Some("slipped")).unwrap();
    let mut pieces = Vec::new();
    for value in ["190", "191"] {
        pieces.push(desk.prompt());
        press(&mut desk, &[value]);
    }
    assert_eq!(
        pieces,
        [
            "measure piece 3 of 4: pull force",
            "measure piece 4 of 4: pull force"
        ]
    );
    press(&mut desk, &["0"]);
    let (outcome, tally) = completed(&desk);
    assert_eq!(outcome, Outcome::Accepted);
    assert_eq!((tally.passed, tally.retracted), (3, 1));
    follows(&desk);
}

#[test]
fn a_spent_piece_is_restored_until_another_is_measured_instead() {
    let mut desk = armed(of(&["pull_force"], 3), &["0", "60", "187"]);
    let first = desk.core.state().stations["bench-1"]
        .series
        .clone()
        .unwrap();
    desk.command(Command::Retract {
        station: None,
        seq: Some(first.readings[0].seq),
        reason: Some("slipped".to_owned()),
        by: Means::Command,
    })
    .unwrap();
    press(&mut desk, &["190"]);
    assert_eq!(desk.prompt(), "measure piece 4 of 4: pull force");
    desk.restore().unwrap();
    press(&mut desk, &["0"]);
    assert_eq!(completed(&desk).0, Outcome::Rejected);
    follows(&desk);

    let mut desk = armed(of(&["pull_force"], 1), &["0", "60"]);
    desk.retract_by(Means::Card, Some("slipped")).unwrap();
    press(&mut desk, &["190"]);
    assert!(said(desk.restore()).ends_with(NOTHING));
    follows(&desk);
}

#[test]
fn a_retraction_that_an_older_version_entered_is_not_undone() {
    let desk = armed(of(&[HEIGHT], 3), &["0.00", "1.62"]);
    let mut state = desk.core.state().clone();
    let seq = state.last.unwrap();
    state.apply(&tallyjaw::entry::Stamped {
        token: None,
        seq: seq.following(),
        at: tallyjaw::quantity::WallMicros(0),
        entry: Entry::from(Retracted {
            station: "bench-1".to_owned(),
            series: state.stations["bench-1"].series.as_ref().unwrap().id,
            reading: seq,
            by: Some(Means::Command),
            slot: None,
            reason: None,
            spent: false,
        }),
    });
    let mut desk = Desk::going_on(state);
    assert!(said(desk.restore()).ends_with(NOTHING));
    assert_eq!(desk.core.state().last, Some(Seq(seq.0 + 4)));
}

fn refused_arming(desk: &mut Desk, plan: Plan) -> String {
    let arm = Command::Arm {
        station: None,
        what: Armable::Inline(Box::new(plan)),
        operator: None,
        cut: false,
    };
    desk.command(arm)
        .err()
        .map_or_else(String::new, |refusal| refusal.to_string())
}

fn open_series(desk: &Desk) -> Option<Seq> {
    let station = &desk.core.state().stations["bench-1"];
    station.series.as_ref().map(|series| series.id)
}

fn resume(desk: &mut Desk) -> Result<(), Refusal> {
    desk.command(Command::Resume {
        station: None,
        by: Means::Command,
    })
}

#[test]
fn arming_over_an_open_series_is_carried_out_when_it_is_said_again_within_ten_seconds() {
    let mut desk = armed(of(&[HEIGHT], 10), &["0.00", "1.60", "1.61", "1.62", "1.63"]);
    let series = open_series(&desk).unwrap();
    let other = || of(&[HEIGHT], 3);
    let want = format!("series {series} is still open: 4 of 10 measured");
    assert_eq!(refused_arming(&mut desk, other()), want);
    desk.wait(Duration::from_millis(10_001));
    assert_eq!(refused_arming(&mut desk, other()), want, "too late");
    // Another plan is another question.
    assert_eq!(refused_arming(&mut desk, of(&[HEIGHT], 4)), want);
    assert_eq!(refused_arming(&mut desk, other()), want);
    assert_eq!(open_series(&desk), Some(series));
    desk.wait(Duration::from_secs(10));
    assert_eq!(refused_arming(&mut desk, other()), "");
    assert_ne!(open_series(&desk), Some(series));
    follows(&desk);
}

#[test]
fn a_stopped_series_goes_on_where_it_was() {
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.60", "1.75"]);
    let before = desk.core.state().stations["bench-1"]
        .series
        .clone()
        .unwrap();
    desk.arm(of(&[HEIGHT], 5)).unwrap();
    // A good zero and what does not count are no measurements.
    press(&mut desk, &["9.00", "0.00"]);
    resume(&mut desk).unwrap();
    let after = desk.core.state().stations["bench-1"]
        .series
        .clone()
        .unwrap();
    assert_eq!(after, before);
    assert!(said(resume(&mut desk)).ends_with("no series to resume"));
    press(&mut desk, &["1.61", "0.00"]);
    assert_eq!(completed(&desk).0, Outcome::Rejected);
    follows(&desk);
}

#[test]
fn nothing_is_resumed_once_something_was_measured_or_a_zero_was_off_or_another_was_armed() {
    for since in [&["0.00", "1.62"][..], &["0.02"]] {
        let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.60"]);
        desk.arm(of(&[HEIGHT], 5)).unwrap();
        press(&mut desk, since);
        assert!(said(resume(&mut desk)).ends_with("no series to resume"));
        follows(&desk);
    }
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.60"]);
    desk.arm(of(&[HEIGHT], 5)).unwrap();
    let second = open_series(&desk);
    desk.arm(of(&[HEIGHT], 6)).unwrap();
    resume(&mut desk).unwrap();
    assert_eq!(
        open_series(&desk),
        second,
        "the last arming stopped this one"
    );
    follows(&desk);
}

#[test]
fn a_stopped_series_is_resumed_also_after_the_next_was_ended_and_over_a_restart() {
    let mut desk = armed(of(&[HEIGHT], 3), &["0.00", "1.60"]);
    let first = open_series(&desk);
    desk.arm(of(&[HEIGHT], 5)).unwrap();
    desk.command(Command::Disarm { station: None }).unwrap();
    desk.input(Input::SegmentFull);
    desk.restart();
    resume(&mut desk).unwrap();
    assert_eq!(open_series(&desk), first);
    desk.command(Command::Disarm { station: None }).unwrap();
    assert!(said(resume(&mut desk)).ends_with("no series to resume"));
    follows(&desk);
}

/// What is told of each reading, and by which entry it is told.
fn rows(desk: &Desk) -> Vec<(u64, &'static str, u64)> {
    let mut gather = Gather::new(JournalId("0".repeat(32)));
    let mut rows = Vec::new();
    for stamped in &desk.entries {
        let told = gather.take(stamped, |row| {
            rows.push((row.seq.0, row.standing.name(), stamped.seq.0));
            Ok::<_, ()>(())
        });
        told.unwrap();
    }
    rows
}

#[test]
fn what_is_told_once_of_a_series_waits_until_it_cannot_be_resumed() {
    let mut desk = armed(of(&[HEIGHT], 2), &["0.00", "1.60"]);
    let reading = desk.core.state().last.unwrap().0;
    desk.arm(of(&[HEIGHT], 5)).unwrap();
    assert_eq!(rows(&desk), [], "it can be resumed");
    resume(&mut desk).unwrap();
    desk.retract(None).unwrap();
    press(&mut desk, &["1.61", "1.62", "0.00"]);
    let last = desk.core.state().last.unwrap().0;
    assert_eq!(
        rows(&desk),
        [
            (reading, "retracted", last),
            (last - 3, "counted", last),
            (last - 2, "counted", last)
        ]
    );
    desk.arm(of(&[HEIGHT], 2)).unwrap();
    press(&mut desk, &["0.00", "1.60"]);
    let stopped = desk.core.state().last.unwrap().0;
    desk.arm(of(&[HEIGHT], 2)).unwrap();
    press(&mut desk, &["0.00", "1.61"]);
    let told = rows(&desk);
    let ends = desk.core.state().last.unwrap().0;
    assert_eq!(told[3..], [(stopped, "counted", ends)]);
}
