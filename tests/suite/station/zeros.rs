//! Zero frames: which are, when they are due, and what an off one takes with it.

use super::desk::{Desk, HEIGHT, LATCH_FORCE, outcome, plan, with_latch_force};
use std::time::Duration;
use tallyjaw::entry::{Entry, NotCounted, Outcome, Seq, ZeroRole};
use tallyjaw::spec::{AxisName, Order, Plan, Verdict, ZeroPolicy};
use tallyjaw::station::Command;

fn one_axis(pieces: u32, zero: ZeroPolicy) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        zero,
        ..plan()
    }
}

fn zero_of(entry: &Entry) -> (ZeroRole, bool) {
    match entry {
        Entry::Zeroed(zeroed) => (zeroed.role, zeroed.ok),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_reading_before_the_required_zero_does_not_count() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    assert_eq!(
        desk.prompt(),
        "close the jaws of caliper-1 and send a zero: before the first reading"
    );
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroDue);
    assert_eq!(zero_of(desk.press("+0.00")), (ZeroRole::Opening, true));
    assert_eq!(desk.reading("+1.63"), Ok(Verdict::Pass));
}

#[test]
fn a_zero_within_the_band_but_beyond_the_limit_is_off_and_asks_again() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    assert_eq!(zero_of(desk.press("+0.02")), (ZeroRole::Opening, false));
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroOff);
    assert!(desk.prompt().ends_with("clean the jaws and zero again"));
    assert_eq!(zero_of(desk.press("-0.01")), (ZeroRole::Periodic, true));
    assert_eq!(desk.reading("+1.63"), Ok(Verdict::Pass));
}

#[test]
fn a_closing_zero_that_is_off_puts_the_readings_since_the_last_good_one_in_doubt() {
    let mut desk = Desk::new();
    desk.arm(one_axis(2, ZeroPolicy::default())).unwrap();
    desk.press("+0.00");
    desk.press("+1.63");
    desk.press("+1.61");
    assert!(desk.prompt().contains("closing zero"), "{}", desk.prompt());
    let readings: Vec<Seq> = desk
        .entries
        .iter()
        .rev()
        .take(2)
        .rev()
        .map(|e| e.seq)
        .collect();
    assert_eq!(zero_of(desk.press("+0.02")), (ZeroRole::Closing, false));
    match desk.last() {
        Entry::Doubted {
            readings: doubted, ..
        } => assert_eq!(*doubted, readings),
        other => panic!("{other:?}"),
    }
    // The doubted slots are measured again after a good zero.
    desk.press("+0.00");
    desk.press("+1.64");
    desk.press("+1.62");
    desk.press("+0.00");
    match desk.last() {
        Entry::Completed(completed) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
            assert_eq!((completed.tally.passed, completed.tally.doubted), (2, 2));
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn zeros_are_due_every_so_many_pieces_and_minutes() {
    let mut desk = Desk::new();
    let zero = ZeroPolicy {
        every_pieces: Some(2),
        closing: false,
        ..ZeroPolicy::default()
    };
    desk.arm(one_axis(5, zero)).unwrap();
    desk.press("+0.00");
    desk.press("+1.63");
    desk.press("+1.63");
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroDue);
    assert_eq!(zero_of(desk.press("+0.00")), (ZeroRole::Periodic, true));
    assert_eq!(desk.reading("+1.63"), Ok(Verdict::Pass));

    let every = Some(Duration::from_secs(600));
    desk.arm(one_axis(
        5,
        ZeroPolicy {
            every,
            ..ZeroPolicy::default()
        },
    ))
    .unwrap();
    desk.press("+0.00");
    desk.wait(Duration::from_secs(590));
    assert_eq!(desk.reading("+1.63"), Ok(Verdict::Pass));
    desk.wait(Duration::from_secs(10));
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroDue);
}

#[test]
fn nobody_is_asked_to_zero_between_height_and_width_of_a_piece() {
    let mut desk = Desk::new();
    let zero = ZeroPolicy {
        every_pieces: Some(1),
        ..ZeroPolicy::default()
    };
    desk.arm(Plan {
        order: Order::ByPiece,
        pieces: 2,
        zero,
        ..plan()
    })
    .unwrap();
    desk.press("+0.00");
    assert_eq!(desk.reading("+1.63"), Ok(Verdict::Pass));
    assert_eq!(desk.reading("+2.40"), Ok(Verdict::Pass));
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroDue);
}

#[test]
fn where_an_axis_reads_near_zero_a_zero_must_be_said() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        axes: vec![AxisName::new("bellmouth")],
        pieces: 2,
        ..plan()
    })
    .unwrap();
    let Entry::Armed(spec) = desk.last() else {
        panic!()
    };
    assert!(
        spec.warnings
            .iter()
            .any(|warning| warning.contains("say each zero"))
    );
    match desk.press("+0.01") {
        Entry::Reading(reading) => assert_eq!(outcome(reading).unwrap_err().0, NotCounted::ZeroDue),
        other => panic!("{other:?}"),
    }
    desk.command(Command::Zero {
        station: None,
        instrument: Some("caliper-1".to_owned()),
    })
    .unwrap();
    assert_eq!(zero_of(desk.press("+0.00")), (ZeroRole::Opening, true));
    assert_eq!(desk.reading("+0.01"), Ok(Verdict::FailLow));
}

#[test]
fn a_said_zero_is_one_even_far_from_the_origin() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    desk.command(Command::Zero {
        station: None,
        instrument: Some("caliper-1".to_owned()),
    })
    .unwrap();
    desk.restart();
    assert_eq!(
        zero_of(desk.press("+0.35")),
        (ZeroRole::Opening, false),
        "said before a restart"
    );
}

#[test]
fn a_zero_frame_while_nothing_is_armed_is_kept_as_unasked() {
    let mut desk = Desk::new();
    assert_eq!(zero_of(desk.press("+0.00")), (ZeroRole::Unasked, true));
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::NotArmed);
}

#[test]
fn a_set_clock_neither_hides_nor_feigns_that_a_zero_is_due() {
    let every = Some(Duration::from_secs(600));
    let mut desk = Desk::new();
    desk.arm(one_axis(
        5,
        ZeroPolicy {
            every,
            ..ZeroPolicy::default()
        },
    ))
    .unwrap();
    desk.press("+0.00");
    desk.set_clock(3_600);
    assert_eq!(desk.reading("+1.63"), Ok(Verdict::Pass));
    desk.set_clock(-7_200);
    desk.wait(Duration::from_secs(600));
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroDue);
    // Set back while the daemon was off: nobody knows how long ago the zero was.
    desk.press("+0.00");
    desk.set_clock_unseen(-60);
    desk.restart();
    assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroDue);
}

#[test]
fn a_kill_between_an_off_zero_and_its_doubts_is_made_up_for() {
    let mut desk = Desk::new();
    desk.arm(one_axis(2, ZeroPolicy::default())).unwrap();
    for value in ["+0.00", "+1.63", "+1.61", "+0.02"] {
        desk.press(value);
    }
    assert_eq!(desk.entries.pop().unwrap().entry.kind(), "doubted");
    let before = desk.entries.len();
    desk.restart_with_what_is_kept();
    assert_eq!(
        desk.kinds_from(before),
        ["started", "doubted", "attached", "attached"]
    );
    assert_eq!(
        desk.prompt(),
        "close the jaws of caliper-1 and send a zero: the last zero was off: clean the jaws and zero again"
    );
    for value in ["+0.00", "+1.62", "+1.60", "+0.00"] {
        desk.press(value);
    }
    assert_eq!(desk.entries.pop().unwrap().entry.kind(), "completed");
    desk.restart_with_what_is_kept();
    let kinds = desk.kinds_from(before);
    assert!(kinds.ends_with(&["started", "completed", "attached", "attached"]));
}

#[test]
fn a_zero_said_without_a_name_is_that_of_the_instrument_in_hand() {
    let say_zero = |desk: &mut Desk| {
        desk.command(Command::Zero {
            station: None,
            instrument: None,
        })
    };
    let said = |desk: &Desk| match desk.last() {
        Entry::ZeroSaid { instrument, .. } => instrument.clone(),
        other => panic!("{other:?}"),
    };
    let mut desk = Desk::with(with_latch_force());
    let refusal = say_zero(&mut desk).unwrap_err();
    assert_eq!(
        refusal.message,
        "no instrument named, and bench-1 has: caliper-1, gauge-1"
    );
    let axes = vec![AxisName::new(LATCH_FORCE), AxisName::new(HEIGHT)];
    desk.arm(Plan { axes, ..plan() }).unwrap();
    say_zero(&mut desk).unwrap();
    assert_eq!(said(&desk), "gauge-1", "the prompt asks for its zero");
    desk.press_on("gauge-1", "0");
    let refusal = say_zero(&mut desk).unwrap_err();
    assert!(refusal.message.contains("caliper-1, gauge-1"));
    desk.arm(one_axis(2, ZeroPolicy::default())).unwrap();
    desk.press("+0.00");
    say_zero(&mut desk).unwrap();
    assert_eq!(said(&desk), "caliper-1", "no other is armed");
}
