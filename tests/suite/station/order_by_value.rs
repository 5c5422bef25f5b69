//! Order `by_value`: the axis is told from the value.

use super::desk::{Desk, HEIGHT, LATCH_FORCE, WIDTH, catalog, plan, with_latch_force};
use std::time::Duration;
use tallyjaw::entry::{Entry, FrameEntry, NotCounted, Outcome, SeriesEntry};
use tallyjaw::spec::{Axis, AxisName, Capture, Catalog, Flicker, Order, Plan, Verdict, ZeroPolicy};
use tallyjaw::station::Input;

/// Windows of 15 % do not meet: 1.377 to 1.863 mm and 2.04 to 2.76 mm.
fn narrow() -> Catalog {
    let mut catalog = catalog();
    for axis in &mut catalog.axes {
        axis.plausible_percent = 15;
    }
    catalog
}

fn by_value(pieces: u32) -> Plan {
    Plan {
        order: Order::ByValue,
        pieces,
        ..plan()
    }
}

fn place(entry: &Entry) -> (u32, String) {
    match entry {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            let slot = reading.slot.as_ref().unwrap();
            (slot.piece, slot.axis.to_string())
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn windows_that_meet_are_refused_at_arming_with_the_remedy() {
    let mut desk = Desk::new();
    let refusal = desk.arm(by_value(2)).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "by_value cannot tell core_crimp_height from core_crimp_width: their plausible windows overlap, 1.296 mm to 1.944 mm and 1.92 mm to 2.88 mm, want another order"
    );
    assert_eq!(
        refusal.remedy(),
        "use order = \"by_piece\" or \"by_axis\", or narrow `plausible` of these axes"
    );
    // A force is told from a length whatever its value.
    let mut desk = Desk::with(with_latch_force());
    desk.arm(Plan {
        axes: vec![AxisName::new(HEIGHT), AxisName::new(LATCH_FORCE)],
        ..by_value(2)
    })
    .unwrap();
}

#[test]
fn an_off_zero_is_told_from_every_axis() {
    let mut desk = Desk::with(narrow());
    desk.arm(by_value(2)).unwrap();
    for value in ["0.00", "2.41", "1.62"] {
        desk.press(value);
    }
    for value in ["0.05", "0.05", "-0.30"] {
        let zeroed =
            matches!(desk.press(value), Entry::Frame(FrameEntry::Zeroed(zeroed)) if !zeroed.ok);
        assert!(zeroed, "{value}");
    }
    desk.press("0.00");
    assert_eq!(
        desk.prompt(),
        "measure piece 1 of 2: core crimp height, or core crimp width"
    );
}

#[test]
fn each_axis_fills_its_next_piece_as_values_come_and_the_prompt_says_what_may() {
    let mut desk = Desk::with(narrow());
    desk.arm(by_value(2)).unwrap();
    desk.press("0.00");
    assert_eq!(
        desk.prompt(),
        "measure piece 1 of 2: core crimp height, or core crimp width"
    );
    let at = |piece, axis: &str| (piece, axis.to_owned());
    assert_eq!(place(desk.press("2.41")), at(1, WIDTH));
    assert_eq!(
        desk.prompt(),
        "measure piece 1 of 2: core crimp height, or piece 2: core crimp width"
    );
    assert_eq!(place(desk.press("2.42")), at(2, WIDTH));
    // A third width has no piece.
    let (reason, hint) = desk.reading("2.43").unwrap_err();
    assert_eq!(reason, NotCounted::AxisFull);
    assert_eq!(
        hint,
        "it is a core crimp width, and every piece has one; still to measure: core crimp height of piece 1; to measure one again, retract it first"
    );
    assert_eq!(place(desk.press("1.62")), at(1, HEIGHT));
    // A width is retracted and measured again.
    desk.retract(Some(desk.entries[desk.entries.len() - 3].seq))
        .unwrap();
    desk.restart();
    assert_eq!(place(desk.press("2.38")), at(2, WIDTH));
    assert_eq!(place(desk.press("1.61")), at(2, HEIGHT));
    desk.press("0.00");
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_value_outside_every_window_counts_for_the_nearest_axis_when_it_is_sent_again() {
    let mut desk = Desk::with(narrow());
    desk.arm(by_value(2)).unwrap();
    desk.press("0.00");
    let (reason, hint) = desk.reading("1.90").unwrap_err();
    assert_eq!(reason, NotCounted::Implausible);
    assert!(
        hint.starts_with("not plausible for a core crimp height"),
        "{hint}"
    );
    assert_eq!(desk.reading("1.90"), Ok(Verdict::FailHigh));
    assert_eq!(desk.reading("2.00").unwrap_err().0, NotCounted::Implausible);
    assert_eq!(desk.reading("2.00"), Ok(Verdict::FailLow));
    assert_eq!(place(desk.last()), (1, WIDTH.to_owned()));
    let (_, hint) = desk.reading("0.60").unwrap_err();
    assert!(hint.starts_with("not plausible for"), "{hint}");
}

#[test]
fn a_value_of_another_piece_waits_for_the_zero_that_is_asked_for_every_piece() {
    let mut desk = Desk::with(narrow());
    let zero = ZeroPolicy {
        every_pieces: Some(1),
        ..ZeroPolicy::default()
    };
    desk.arm(Plan {
        zero,
        ..by_value(2)
    })
    .unwrap();
    desk.press("0.00");
    assert_eq!(
        desk.prompt(),
        "measure piece 1 of 2: core crimp height, or core crimp width"
    );
    assert_eq!(place(desk.press("1.62")), (1, HEIGHT.to_owned()));
    // The height of piece 2 needs a zero first and is not offered.
    assert_eq!(desk.prompt(), "measure piece 1 of 2: core crimp width");
    // The width of piece 1 is still to come; this is the height of piece 2.
    let (reason, hint) = desk.reading("1.63").unwrap_err();
    assert_eq!(reason, NotCounted::ZeroDue);
    assert_eq!(hint, "the plan requires a zero every piece");
    assert_eq!(place(desk.press("2.40")), (1, WIDTH.to_owned()));
    desk.press("0.00");
    assert_eq!(desk.reading("1.63"), Ok(Verdict::Pass));
    assert_eq!(place(desk.last()), (2, HEIGHT.to_owned()));
}

#[test]
fn the_worst_of_a_flickering_value_is_judged_after_its_axis_is_told() {
    let mut catalog = narrow();
    catalog.instruments[0].capture = Capture::Steady {
        hold: Duration::from_millis(200),
        frames: 3,
        release_counts: 5,
        flicker: Flicker::Worst,
    };
    let mut desk = Desk::with(catalog);
    let stand = |desk: &mut Desk, values: &[&str]| {
        for value in values.iter().cycle().take(9) {
            desk.wait(Duration::from_millis(50));
            desk.input(Input::Bytes {
                instrument: "caliper-1",
                bytes: format!("{value}\r").as_bytes(),
            });
        }
    };
    desk.arm(by_value(1)).unwrap();
    stand(&mut desk, &["0.00"]);
    // Slowly enough for jaws: 1 m/s.
    stand(&mut desk, &["2.30", "2.29", "2.30"]);
    let Entry::Frame(FrameEntry::Reading(reading)) = desk.last() else {
        panic!("{:?}", desk.last())
    };
    let slot = reading.slot.as_ref().unwrap();
    assert_eq!(slot.axis.as_str(), WIDTH);
    assert_eq!(reading.value.to_string(), "2.29 mm", "further from 2.40 mm");
    assert_eq!(slot.verdict, Some(Verdict::FailLow));
}

#[test]
fn inches_are_told_as_such_by_value_too() {
    let mut desk = Desk::with(narrow());
    desk.arm(by_value(1)).unwrap();
    desk.press("0.00");
    let (reason, hint) = desk.reading("0.0640").unwrap_err();
    assert_eq!(
        (reason, hint.as_str()),
        (NotCounted::Implausible, "looks like inches")
    );
}

#[test]
fn the_built_in_axes_have_a_window() {
    assert!(
        Axis::built_in()
            .iter()
            .all(|axis| axis.plausible_percent > 0)
    );
}
