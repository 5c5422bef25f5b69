//! Zeroing twice: the gesture that takes a reading back, and the zero that closes and opens.

use super::desk::{Desk, HEIGHT, plan};
use std::time::Duration;
use tallyjaw::entry::{
    Entry, FrameEntry, Means, NotCounted, Retracted, SeriesEntry, Stamped, ZeroRole,
};
use tallyjaw::spec::{AxisName, Plan, Verdict, ZeroPolicy};
use tallyjaw::station::{Command, Input};

fn heights(pieces: u32, zero: ZeroPolicy) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        zero,
        ..plan()
    }
}

fn armed(pieces: u32, zero: ZeroPolicy) -> Desk {
    let mut desk = Desk::new();
    desk.arm(heights(pieces, zero)).unwrap();
    desk.press("0.00");
    desk
}

/// Two frames as a hand sends them, this long apart.
fn twice(desk: &mut Desk, apart: Duration) -> Vec<&'static str> {
    let from = desk.entries.len();
    desk.press("0.00");
    desk.wait(apart);
    desk.input(Input::Bytes {
        instrument: "caliper-1",
        bytes: b"0.00\r",
    });
    desk.kinds_from(from)
}

const SOON: Duration = Duration::from_millis(600);

#[test]
fn two_zeros_within_two_seconds_take_the_last_reading_back_and_the_prompt_offers_it() {
    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    desk.press("1.75");
    desk.press("0.00");
    assert_eq!(
        desk.prompt(),
        "measure piece 3 of 5: core crimp height; another zero within two seconds retracts piece 2 core crimp height 1.75 mm"
    );
    let last = desk.core.state().stations["bench-1"]
        .series
        .as_ref()
        .unwrap()
        .readings[1]
        .seq;
    desk.press("0.01");
    match desk.last() {
        Entry::Series(SeriesEntry::Retracted(Retracted { reading, by, .. })) => {
            assert_eq!((*reading, *by), (last, Some(Means::DoubleZero)));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(desk.prompt(), "measure piece 2 of 5: core crimp height");
    assert_eq!(desk.reading("1.63"), Ok(Verdict::Pass));
}

#[test]
fn one_gesture_takes_one_reading_back_however_often_it_is_zeroed() {
    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    desk.press("1.63");
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed", "retracted"]);
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);
}

#[test]
fn a_bouncing_press_slow_zeros_and_a_plan_that_turns_it_off_take_nothing_back() {
    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    let bounce = twice(&mut desk, Duration::from_millis(100));
    assert_eq!(bounce, ["zeroed"], "one press");
    desk.wait(Duration::from_secs(3));
    desk.press("1.62");
    let slow = twice(&mut desk, Duration::from_millis(2_001));
    assert_eq!(slow, ["zeroed", "zeroed"]);

    let off = ZeroPolicy {
        double_retracts: false,
        ..ZeroPolicy::default()
    };
    let mut desk = armed(5, off);
    desk.press("1.62");
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);
    assert_eq!(desk.prompt(), "measure piece 2 of 5: core crimp height");
}

#[test]
fn a_zero_that_was_due_made_twice_or_thrice_by_a_careful_hand_takes_nothing_back() {
    // Every piece.
    let every = ZeroPolicy {
        every_pieces: Some(1),
        ..ZeroPolicy::default()
    };
    let mut desk = armed(3, every);
    desk.press("1.62");
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);
    // Closing: the series is over with the first one.
    let mut desk = armed(1, ZeroPolicy::default());
    desk.press("1.62");
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "completed", "zeroed"]);
}

#[test]
fn a_reading_that_did_not_count_a_said_zero_or_an_off_one_is_no_gesture() {
    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    assert_eq!(desk.reading("9.99").unwrap_err().0, NotCounted::Implausible);
    // What the hand means is the one that did not count; nothing is to be retracted.
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);

    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    desk.command(Command::Zero {
        station: None,
        instrument: Some("caliper-1".to_owned()),
    })
    .unwrap();
    assert_eq!(twice(&mut desk, SOON), ["zeroed", "zeroed"]);

    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    desk.press("0.00");
    let from = desk.entries.len();
    desk.press("0.02");
    assert_eq!(
        desk.kinds_from(from),
        ["zeroed"],
        "off, and the reading stands"
    );
}

#[test]
fn a_restart_between_the_two_takes_nothing_back() {
    let mut desk = armed(5, ZeroPolicy::default());
    desk.press("1.62");
    desk.press("0.00");
    desk.restart();
    let from = desk.entries.len();
    desk.press("0.00");
    assert_eq!(desk.kinds_from(from), ["zeroed"]);
}

#[test]
fn the_closing_zero_of_a_repeated_series_opens_the_next() {
    let mut desk = Desk::new();
    let zero = ZeroPolicy {
        every: Some(Duration::from_secs(1800)),
        ..ZeroPolicy::default()
    };
    desk.arm(Plan {
        repeat: true,
        ..heights(2, zero)
    })
    .unwrap();
    for value in ["0.00", "1.62", "1.63"] {
        desk.press(value);
    }
    let from = desk.entries.len();
    desk.press("0.00");
    assert_eq!(desk.kinds_from(from), ["zeroed", "completed", "armed"]);
    let (zeroed, at) = (desk.entries[from].seq, desk.entries[from].at);
    let Entry::Series(SeriesEntry::Armed(spec)) = desk.last() else {
        panic!()
    };
    let carried: Vec<_> = spec
        .opening_zeros
        .iter()
        .map(|zero| (zero.instrument.as_str(), zero.zeroed, zero.at))
        .collect();
    assert_eq!(carried, [("caliper-1", zeroed.0, at)]);
    desk.restart();
    assert_eq!(desk.prompt(), "measure piece 1 of 2: core crimp height");
    assert_eq!(desk.reading("1.62"), Ok(Verdict::Pass));
    // Its age is that of the zero, not of the series.
    desk.wait(Duration::from_secs(1799));
    assert!(
        desk.prompt().contains("every 30 minutes"),
        "{}",
        desk.prompt()
    );
    match desk.press("0.00") {
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => assert_eq!(zeroed.role, ZeroRole::Periodic),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_kill_between_a_completed_series_and_the_repeated_one_is_made_up_for() {
    let armed = |stamped: &Stamped| match &stamped.entry {
        Entry::Series(SeriesEntry::Armed(spec)) => spec.clone(),
        other => panic!("{other:?}"),
    };
    let mut desk = Desk::new();
    desk.arm(Plan {
        repeat: true,
        ..heights(1, ZeroPolicy::default())
    })
    .unwrap();
    for value in ["0.00", "1.62", "0.00"] {
        desk.press(value);
    }
    let meant = armed(&desk.entries.pop().unwrap());
    assert_eq!(meant.opening_zeros.len(), 1);
    let before = desk.entries.len();
    desk.restart_with_what_is_kept();
    assert_eq!(
        desk.kinds_from(before),
        ["started", "armed", "attached", "attached"]
    );
    assert_eq!(armed(&desk.entries[before + 1]), meant);
    desk.restart();
    assert_eq!(desk.prompt(), "measure piece 1 of 1: core crimp height");
}

#[test]
fn a_repeated_series_that_is_cut_short_owes_none_after_a_kill() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        repeat: true,
        ..heights(2, ZeroPolicy::default())
    })
    .unwrap();
    desk.command(Command::Disarm { station: None }).unwrap();
    assert_eq!(desk.entries.pop().unwrap().entry.kind(), "disarmed");
    let before = desk.entries.len();
    desk.restart_with_what_is_kept();
    assert_eq!(desk.kinds_from(before), ["started", "attached", "attached"]);
}

#[test]
fn an_off_closing_zero_and_a_series_armed_anew_open_nothing() {
    let mut desk = Desk::new();
    let repeat = Plan {
        repeat: true,
        ..heights(1, ZeroPolicy::default())
    };
    desk.arm(repeat.clone()).unwrap();
    for value in ["0.00", "1.62", "0.02", "0.00", "1.62", "0.00"] {
        desk.press(value);
    }
    assert_eq!(desk.prompt(), "measure piece 1 of 1: core crimp height");
    desk.arm(repeat).unwrap();
    assert!(
        desk.prompt().ends_with("before the first reading"),
        "{}",
        desk.prompt()
    );
}
