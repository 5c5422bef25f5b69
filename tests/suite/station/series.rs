//! A series from arming to its outcome.

use super::desk::{Desk, HEIGHT, WIDTH, catalog, outcome, plan};
use std::time::Duration;
use tallyjaw::entry::{Entry, FrameEntry, JournalEntry, Outcome, Segment, SeriesEntry, Standing};
use tallyjaw::spec::{AxisName, Order, Plan, PullFallback, PullTable, Purpose, Verdict, wire};
use tallyjaw::station::{Command, Input};

fn slot_of(entry: &Entry) -> (u32, String) {
    match entry {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            let slot = reading.slot.as_ref().unwrap();
            (slot.piece, slot.axis.to_string())
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn by_axis_all_heights_come_before_all_widths() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 2,
        ..plan()
    })
    .unwrap();
    desk.press("+0.00");
    let slots: Vec<_> = ["1.63", "1.61", "2.41", "2.39"]
        .iter()
        .map(|value| slot_of(desk.press(value)))
        .collect();
    let expected = [(1, HEIGHT), (2, HEIGHT), (1, WIDTH), (2, WIDTH)];
    assert_eq!(
        slots,
        expected.map(|(piece, axis)| (piece, axis.to_owned()))
    );
    assert_eq!(desk.press("0.00").kind(), "zeroed");
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(desk.prompt(), "start a plan");
}

#[test]
fn by_piece_each_piece_gives_height_and_width() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 2,
        order: Order::ByPiece,
        ..plan()
    })
    .unwrap();
    desk.press("+0.00");
    let slots: Vec<_> = ["1.63", "2.41", "1.61", "2.39"]
        .iter()
        .map(|value| slot_of(desk.press(value)))
        .collect();
    let expected = [(1, HEIGHT), (1, WIDTH), (2, HEIGHT), (2, WIDTH)];
    assert_eq!(
        slots,
        expected.map(|(piece, axis)| (piece, axis.to_owned()))
    );
}

#[test]
fn a_retracted_reading_is_measured_next_and_stays_in_the_tally() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 2,
        axes: vec![AxisName::new(HEIGHT)],
        ..plan()
    })
    .unwrap();
    desk.press("+0.00");
    desk.press("1.75");
    let slip = desk.entries.last().unwrap().seq;
    desk.press("1.62");
    desk.retract(Some(slip)).unwrap();
    assert_eq!(desk.prompt(), "measure piece 1 of 2: core crimp height");
    assert!(desk.retract(Some(slip)).is_err(), "it is already retracted");
    assert_eq!(slot_of(desk.press("1.63")).0, 1);
    desk.press("0.00");
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
            assert_eq!((completed.tally.passed, completed.tally.retracted), (2, 1));
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn one_failed_reading_rejects_the_series() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 2,
        axes: vec![AxisName::new(HEIGHT)],
        ..plan()
    })
    .unwrap();
    for value in ["0.00", "1.63", "1.70", "0.00"] {
        desk.press(value);
    }
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Rejected);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn arming_over_an_open_series_cuts_it_short() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    let before = desk.entries.len();
    desk.arm(Plan {
        purpose: Purpose::Reference,
        ..plan()
    })
    .unwrap();
    assert_eq!(desk.kinds_from(before), ["completed", "armed"]);
    let before = desk.entries.len();
    desk.command(Command::Disarm { station: None }).unwrap();
    assert_eq!(desk.kinds_from(before), ["completed", "disarmed"]);
    assert!(desk.command(Command::Disarm { station: None }).is_err());
}

#[test]
fn a_repeated_plan_opens_the_next_series_at_once() {
    let mut desk = Desk::new();
    let axes = vec![AxisName::new(HEIGHT)];
    desk.arm(Plan {
        pieces: 1,
        axes,
        repeat: true,
        ..plan()
    })
    .unwrap();
    let before = desk.entries.len();
    for value in ["0.00", "1.63", "0.00"] {
        desk.press(value);
    }
    assert_eq!(
        desk.kinds_from(before),
        ["zeroed", "reading", "zeroed", "completed", "armed"]
    );
}

#[test]
fn a_restart_in_the_middle_goes_on_at_the_next_slot() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    desk.press("0.00");
    desk.press("1.63");
    desk.restart();
    assert_eq!(desk.prompt(), "measure piece 2 of 3: core crimp height");
    assert_eq!(slot_of(desk.press("1.62")).0, 2);
}

#[test]
fn a_bouncing_key_makes_one_reading() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    desk.press("0.00");
    let before = desk.entries.len();
    desk.wait(Duration::from_secs(1));
    for _ in 0..3 {
        desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: b"1.63\r",
        });
        desk.wait(Duration::from_millis(40));
    }
    assert_eq!(desk.kinds_from(before), ["reading"]);
}

#[test]
fn a_half_frame_at_unplugging_is_unread_and_the_prompt_asks_for_the_caliper() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    let before = desk.entries.len();
    desk.input(Input::Bytes {
        instrument: "caliper-1",
        bytes: b"+1.6",
    });
    desk.input(Input::PortClosed {
        instrument: "caliper-1",
        reason: "the adapter was unplugged",
    });
    assert_eq!(desk.kinds_from(before), ["unread", "detached"]);
    assert_eq!(
        desk.prompt(),
        "connect caliper-1: the adapter was unplugged"
    );
}

#[test]
fn a_pull_force_is_judged_against_its_minimum() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 3,
        axes: vec![AxisName::new("pull_force")],
        ..plan()
    })
    .unwrap();
    desk.press_on("gauge-1", "0");
    for (value, verdict) in [
        ("181", Verdict::Pass),
        ("180", Verdict::Pass),
        ("179", Verdict::FailLow),
    ] {
        match desk.press_on("gauge-1", value) {
            Entry::Frame(FrameEntry::Reading(reading)) => {
                assert_eq!(outcome(reading), Ok(verdict), "{value}");
            }
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_pull_test_shares_its_pieces_with_no_other_axis() {
    let mut desk = Desk::new();
    let before = desk.entries.len();
    let axes = ["pull_force", "core_crimp_height"].map(AxisName::new);
    let refusal = desk
        .arm(Plan {
            axes: axes.to_vec(),
            ..plan()
        })
        .unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "a pull test destroys its pieces: got pull_force and core_crimp_height on the same ones, want pull_force alone"
    );
    assert!(refusal.remedy().contains("a plan of its own"));
    assert_eq!(desk.entries.len(), before, "a refusal changes nothing");
}

#[test]
fn a_pull_test_is_warned_of_and_so_are_few_pieces() {
    for (purpose, pieces, few) in [
        (
            Purpose::FirstOff,
            4,
            Some("got 4, want 5 or more at set-up"),
        ),
        (Purpose::FirstOff, 5, None),
        (Purpose::Qualification, 24, Some("got 24, want 25 or more")),
        (Purpose::Qualification, 25, None),
        (Purpose::InProcess, 1, None),
    ] {
        let mut desk = Desk::new();
        desk.arm(Plan {
            purpose,
            pieces,
            axes: vec![AxisName::new("pull_force")],
            ..plan()
        })
        .unwrap();
        let Entry::Series(SeriesEntry::Armed(spec)) = desk.last() else {
            panic!("{:?}", desk.last());
        };
        let has = |words: &str| spec.warnings.iter().any(|warning| warning.contains(words));
        assert!(
            has("destructive") && has("eye protection"),
            "{:?}",
            spec.warnings
        );
        assert_eq!(has("few pieces"), few.is_some(), "{purpose:?} {pieces}");
        assert!(few.is_none_or(has), "{:?}", spec.warnings);
    }
}

#[test]
fn the_zero_of_a_force_gauge_is_its_unloaded_reading() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 1,
        axes: vec![AxisName::new("pull_force")],
        ..plan()
    })
    .unwrap();
    assert_eq!(
        desk.prompt(),
        "take all load off gauge-1 and press its data key to check the zero: before the first reading"
    );
    let before = desk.entries.len();
    desk.press_on("gauge-1", "2");
    assert_eq!(
        desk.prompt(),
        "take all load off gauge-1, press ZERO, then its data key: the zero is off by 2 N"
    );
    for value in ["0", "190", "-1"] {
        desk.press_on("gauge-1", value);
    }
    assert_eq!(
        desk.kinds_from(before),
        ["zeroed", "zeroed", "reading", "zeroed", "completed"]
    );
}

#[test]
fn a_pull_force_from_a_named_table_is_armed_as_none_of_the_makers() {
    let fallback = |table| PullFallback {
        table: PullTable::from_name(table).unwrap(),
        gauge: wire::gauge("14"),
    };
    let pull = |table| Plan {
        axes: vec![AxisName::new("pull_force")],
        pull_force: Some(fallback(table)),
        ..plan()
    };
    let mut without = catalog();
    for row in without
        .terminals
        .iter_mut()
        .flat_map(|terminal| &mut terminal.rows)
    {
        row.limits.retain(|(axis, _)| axis.as_str() != "pull_force");
    }
    let mut desk = Desk::with(without);
    assert!(
        desk.arm(Plan {
            pull_force: None,
            ..pull("ul_486a")
        })
        .is_err()
    );
    let refused = desk.arm(pull("nasa_8739_4_grounding")).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "nasa_8739_4_grounding has no row for AWG 14, want one of 22, 24"
    );
    desk.arm(pull("ul_486a")).unwrap();
    let Entry::Series(SeriesEntry::Armed(armed)) = desk.last() else {
        panic!("{:?}", desk.last());
    };
    let axis = &armed.axes[0];
    assert_eq!(
        (
            axis.limits.to_string().as_str(),
            axis.limits_from.as_deref()
        ),
        (
            ">= 50 lbf",
            Some("table ul_486a, AWG 14, not from the maker's sheet")
        )
    );
    let warned = "the pull force >= 50 lbf is from table ul_486a, AWG 14, not from the maker's sheet: \
                  the maker's own figure comes first";
    assert!(
        armed.warnings.iter().any(|warning| warning == warned),
        "{:?}",
        armed.warnings
    );

    // and where the maker's sheet has a figure it is the one that counts
    let mut desk = Desk::new();
    desk.arm(pull("ul_486a")).unwrap();
    let Entry::Series(SeriesEntry::Armed(armed)) = desk.last() else {
        panic!("{:?}", desk.last());
    };
    let axis = &armed.axes[0];
    assert_eq!(
        (axis.limits.to_string().as_str(), &axis.limits_from),
        (">= 180 N", &None)
    );
    let said = "the maker's sheet has a pull force: table ul_486a of the plan is not used";
    assert!(
        armed.warnings.iter().any(|warning| warning == said),
        "{:?}",
        armed.warnings
    );
}

#[test]
fn a_new_segment_holds_all_that_came_before() {
    let mut desk = Desk::new();
    desk.arm(plan()).unwrap();
    desk.press("0.00");
    desk.press("1.63");
    let state = desk.core.state().clone();
    desk.input(Input::SegmentFull);
    match desk.last() {
        Entry::Journal(JournalEntry::Segment(Segment { state: stored, .. })) => {
            assert_eq!(**stored, state);
        }
        other => panic!("{other:?}"),
    }
    desk.restart();
    match desk.press("1.62") {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(reading.standing, Standing::Counted);
        }
        other => panic!("{other:?}"),
    }
}
