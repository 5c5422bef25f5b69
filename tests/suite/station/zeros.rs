//! Zero frames: which are, when they are due, and what an off one takes with it.

use super::desk::{Desk, HEIGHT, LATCH_FORCE, WIDTH, outcome, plan, with_latch_force};
use std::time::Duration;
use tallyjaw::entry::{
    Doubted, Entry, FrameEntry, NotCounted, Outcome, SaidEntry, Seq, SeriesEntry, ZeroRole,
    ZeroSaid,
};
use tallyjaw::quantity::Length;
use tallyjaw::spec::{AxisName, Order, Plan, Verdict, ZeroPolicy};
use tallyjaw::station::{Command, Input};

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
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => (zeroed.role, zeroed.ok),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_reading_before_the_required_zero_does_not_count() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    assert_eq!(
        desk.prompt(),
        "close the jaws of caliper-1 and press its data key to check the zero: before the first reading"
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
    assert_eq!(
        desk.prompt(),
        "The zero is off by 0.02 mm. Clean the jaws, press ZERO, then the data key."
    );
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
        Entry::Series(SeriesEntry::Doubted(Doubted {
            readings: doubted, ..
        })) => assert_eq!(*doubted, readings),
        other => panic!("{other:?}"),
    }
    // The doubted slots are measured again after a good zero.
    desk.press("+0.00");
    desk.press("+1.64");
    desk.press("+1.62");
    desk.press("+0.00");
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
            assert_eq!((completed.tally.passed, completed.tally.doubted), (2, 2));
        }
        other => panic!("{other:?}"),
    }
}

fn heights(pieces: u32) -> Desk {
    let mut desk = Desk::new();
    desk.arm(one_axis(pieces, ZeroPolicy::default())).unwrap();
    desk.press("+0.00");
    desk
}

/// The readings that count in the open series.
fn counted(desk: &Desk) -> Vec<String> {
    let series = desk.core.state().stations["bench-1"].series.as_ref();
    let readings = series.unwrap().readings.iter();
    readings.map(|reading| reading.value.to_string()).collect()
}

#[test]
fn a_press_that_cannot_be_a_measurement_is_a_zero_that_is_off_whether_one_is_due_or_not() {
    for value in ["+0.03", "+0.10", "-0.06", "+0.50", "-0.50"] {
        let shown = value.trim_start_matches('+');
        let prompt = format!(
            "The zero is off by {shown} mm. Clean the jaws, press ZERO, then the data key."
        );
        // Before the first reading.
        let mut desk = Desk::new();
        desk.arm(one_axis(2, ZeroPolicy::default())).unwrap();
        assert_eq!(zero_of(desk.press(value)), (ZeroRole::Opening, false));
        assert_eq!(desk.prompt(), prompt);
        assert_eq!(desk.reading("+1.63").unwrap_err().0, NotCounted::ZeroOff);
        // In the middle, where nobody asked for one.
        let mut desk = heights(3);
        desk.press("+1.63");
        let before = desk.entries.len();
        assert_eq!(zero_of(desk.press(value)), (ZeroRole::Unasked, false));
        assert_eq!(desk.kinds_from(before), ["zeroed", "doubted"]);
        assert_eq!(desk.prompt(), prompt);
        desk.press("+0.00");
        assert_eq!(
            counted(&desk),
            Vec::<String>::new(),
            "nothing is un-doubted"
        );
        // After the last.
        let mut desk = heights(2);
        desk.press("+1.63");
        desk.press("+1.61");
        let before = desk.entries.len();
        assert_eq!(zero_of(desk.press(value)), (ZeroRole::Closing, false));
        assert_eq!(desk.kinds_from(before), ["zeroed", "doubted"]);
        desk.press("+0.00");
        assert_eq!(desk.prompt(), "measure piece 1 of 2: core crimp height");
    }
}

#[test]
fn a_good_zero_vouches_for_what_was_before_it_and_an_off_one_after_it_takes_only_the_rest() {
    let mut desk = heights(4);
    for value in ["+1.63", "+1.61", "+0.00", "+1.62", "+0.05", "+0.01"] {
        desk.press(value);
    }
    assert_eq!(counted(&desk), ["1.63 mm", "1.61 mm"]);
}

#[test]
fn an_off_zero_that_is_sent_twice_or_thrice_never_becomes_a_reading() {
    let mut desk = heights(3);
    desk.press("+1.63");
    let before = desk.entries.len();
    for _ in 0..3 {
        desk.press("+0.05");
    }
    assert_eq!(
        desk.kinds_from(before),
        ["zeroed", "doubted", "zeroed", "zeroed"]
    );
    assert_eq!(counted(&desk), Vec::<String>::new());
}

#[test]
fn what_is_no_attempt_is_implausible_as_before_and_counts_when_it_is_meant() {
    let mut desk = heights(3);
    for value in ["+0.51", "-0.51"] {
        assert_eq!(desk.reading(value).unwrap_err().0, NotCounted::Implausible);
    }
    assert_eq!(
        desk.reading("+0.51").unwrap_err().0,
        NotCounted::Implausible
    );
    assert_eq!(desk.reading("+0.51"), Ok(Verdict::FailLow));
}

#[test]
fn an_attempt_never_reaches_half_of_the_smallest_plausible_value() {
    // Heights of 1.62 mm are plausible from 1.296 mm on: half of it is 0.648 mm.
    let within = |attempt: i64| {
        let mut desk = Desk::new();
        let attempt = Length::from_nanometres(attempt * 10_000);
        let zero = ZeroPolicy {
            attempt,
            ..ZeroPolicy::default()
        };
        desk.arm(Plan {
            zero,
            axes: vec![AxisName::new(WIDTH), AxisName::new(HEIGHT)],
            ..plan()
        })
        .unwrap();
        let is_zero = |hundredths: &i64| {
            let value = format!("{}.{:02}", hundredths / 100, hundredths % 100);
            matches!(desk.press(&value), Entry::Frame(FrameEntry::Zeroed(_)))
        };
        (0..150).filter(is_zero).max()
    };
    assert_eq!(within(10), Some(10));
    assert_eq!(within(50), Some(50));
    assert_eq!(within(1_000), Some(64));
}

#[test]
fn digits_that_the_caliper_cannot_show_are_inches_and_no_zero() {
    let mut desk = heights(2);
    desk.press("+1.63");
    for _ in 0..2 {
        let (reason, hint) = desk.reading("+0.0638").unwrap_err();
        assert_eq!(
            (reason, hint.as_str()),
            (NotCounted::Implausible, "looks like inches")
        );
    }
    assert_eq!(counted(&desk), ["1.63 mm"]);
}

#[test]
fn where_a_zero_must_be_said_a_value_near_zero_is_no_reading_of_a_larger_axis_either() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        axes: vec![AxisName::new(HEIGHT), AxisName::new("bellmouth")],
        pieces: 1,
        ..plan()
    })
    .unwrap();
    let say = Command::Zero {
        station: None,
        instrument: Some("caliper-1".to_owned()),
    };
    desk.command(say.clone()).unwrap();
    desk.press("+0.00");
    for _ in 0..2 {
        let (reason, hint) = desk.reading("+0.05").unwrap_err();
        assert_eq!(
            (reason, hint.as_str()),
            (NotCounted::Implausible, "looks like a bellmouth")
        );
    }
    desk.command(say).unwrap();
    assert_eq!(zero_of(desk.press("+0.05")), (ZeroRole::Unasked, false));
    assert_eq!(
        desk.prompt(),
        "The zero is off by 0.05 mm. Clean the jaws, press ZERO, announce the zero, then the data key."
    );
}

#[test]
fn how_far_the_zero_is_off_is_known_after_a_restart_from_a_segment() {
    let mut desk = heights(2);
    desk.press("+0.07");
    desk.input(Input::SegmentFull);
    let segment = desk.entries.pop().unwrap();
    desk.entries = vec![segment];
    desk.restart();
    assert_eq!(
        desk.prompt(),
        "The zero is off by 0.07 mm. Clean the jaws, press ZERO, then the data key."
    );
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
    let Entry::Series(SeriesEntry::Armed(spec)) = desk.last() else {
        panic!()
    };
    assert!(
        spec.warnings
            .iter()
            .any(|warning| warning.contains("announce each zero"))
    );
    match desk.press("+0.01") {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(outcome(reading).unwrap_err().0, NotCounted::ZeroDue);
        }
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
        "The zero is off by 0.02 mm. Clean the jaws, press ZERO, then the data key."
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
        Entry::Said(SaidEntry::ZeroSaid(ZeroSaid { instrument, .. })) => instrument.clone(),
        other => panic!("{other:?}"),
    };
    let mut desk = Desk::with(with_latch_force());
    let refusal = say_zero(&mut desk).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "no instrument named, and bench-1 has: caliper-1, gauge-1"
    );
    let axes = vec![AxisName::new(LATCH_FORCE), AxisName::new(HEIGHT)];
    desk.arm(Plan { axes, ..plan() }).unwrap();
    say_zero(&mut desk).unwrap();
    assert_eq!(said(&desk), "gauge-1", "the prompt asks for its zero");
    desk.press_on("gauge-1", "0");
    let refusal = say_zero(&mut desk).unwrap_err();
    assert!(refusal.to_string().contains("caliper-1, gauge-1"));
    desk.arm(one_axis(2, ZeroPolicy::default())).unwrap();
    desk.press("+0.00");
    say_zero(&mut desk).unwrap();
    assert_eq!(said(&desk), "caliper-1", "no other is armed");
}
