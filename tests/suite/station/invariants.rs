//! What no sequence of presses, commands, waits and restarts may bring about.

use super::desk::{Desk, catalog, plan};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::time::Duration;
use tallyjaw::entry::{Entry, Seq, Standing, ZeroRole};
use tallyjaw::spec::{ArmedSpec, Order, Plan, ZeroPolicy};
use tallyjaw::station::{Command, Input};

#[derive(Debug, Clone)]
enum Act {
    Press(String),
    /// Twice at once, as a hand zeros twice.
    Twice(String),
    Noise(Vec<u8>),
    Wait(u64),
    Arm {
        order: Order,
        every_minutes: Option<u64>,
        closing: bool,
        every_pieces: Option<u32>,
        repeat: bool,
    },
    Disarm,
    Retract(Option<u64>),
    Zero,
    Unplug,
    NewSegment,
    Restart,
}

fn act() -> impl Strategy<Value = Act> {
    let near = |middle: i64| (middle - 12..middle + 12).prop_map(hundredths);
    prop_oneof![
        4 => near(162).prop_map(Act::Press),
        4 => near(240).prop_map(Act::Press),
        4 => (-4i64..5).prop_map(|value| Act::Press(hundredths(value))),
        2 => (-1i64..2).prop_map(|value| Act::Twice(hundredths(value))),
        1 => (0i64..20_000).prop_map(|value| Act::Press(hundredths(value))),
        1 => prop::collection::vec(any::<u8>(), 0..12).prop_map(Act::Noise),
        1 => (0u64..200_000).prop_map(Act::Wait),
        2 => (order(), prop::option::of(1u64..4), any::<bool>(), prop::option::of(1u32..3), any::<bool>()).prop_map(
            |(order, every_minutes, closing, every_pieces, repeat)| Act::Arm { order, every_minutes, closing, every_pieces, repeat }
        ),
        1 => Just(Act::Disarm),
        1 => prop::option::of(1u64..60).prop_map(Act::Retract),
        1 => Just(Act::Zero),
        1 => Just(Act::Unplug),
        1 => Just(Act::NewSegment),
        1 => Just(Act::Restart),
    ]
}

fn order() -> impl Strategy<Value = Order> {
    prop::sample::select(&Order::ALL[..])
}

/// A station whose axes are told apart by value too.
fn desk() -> Desk {
    let mut catalog = catalog();
    for axis in &mut catalog.axes {
        axis.plausible_percent = 15;
    }
    Desk::with(catalog)
}

fn hundredths(value: i64) -> String {
    format!(
        "{}{}.{:02}",
        if value < 0 { "-" } else { "+" },
        value.abs() / 100,
        value.abs() % 100
    )
}

fn run(desk: &mut Desk, act: Act) {
    match act {
        Act::Press(value) => {
            desk.wait(Duration::from_secs(1));
            let bytes = format!("{value}\r").into_bytes();
            desk.input(Input::Bytes {
                instrument: "caliper-1",
                bytes: &bytes,
            });
        }
        Act::Twice(value) => {
            run(desk, Act::Press(value.clone()));
            desk.wait(Duration::from_millis(400));
            let bytes = format!("{value}\r").into_bytes();
            desk.input(Input::Bytes {
                instrument: "caliper-1",
                bytes: &bytes,
            });
        }
        Act::Noise(bytes) => desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: &bytes,
        }),
        Act::Wait(millis) => desk.wait(Duration::from_millis(millis)),
        Act::Arm {
            order,
            every_minutes,
            closing,
            every_pieces,
            repeat,
        } => {
            let zero = ZeroPolicy {
                closing,
                every_pieces,
                every: every_minutes.map(|minutes| Duration::from_secs(60 * minutes)),
                ..ZeroPolicy::default()
            };
            desk.arm(Plan {
                order,
                zero,
                repeat,
                pieces: 2,
                ..plan()
            })
            .unwrap();
        }
        Act::Disarm => drop(desk.command(Command::Disarm { station: None })),
        Act::Retract(seq) => drop(desk.retract(seq.map(Seq))),
        Act::Zero => {
            let instrument = Some("caliper-1".to_owned());
            desk.command(Command::Zero {
                station: None,
                instrument,
            })
            .unwrap();
        }
        Act::Unplug => {
            desk.input(Input::PortClosed {
                instrument: "caliper-1",
                reason: "unplugged",
            });
        }
        Act::NewSegment => desk.input(Input::SegmentFull),
        Act::Restart => desk.restart(),
    }
}

/// Walks the entries as an auditor would, without the program's own fold.
fn audit(desk: &Desk) {
    let mut open: Option<(Seq, bool)> = None; // series, zeroed since it was armed and not off since
    let mut filled = BTreeSet::new();
    for stamped in &desk.entries {
        match &stamped.entry {
            Entry::Armed(spec) => {
                assert!(open.is_none(), "armed over an open series");
                open = Some((stamped.seq, carries_a_closing_zero(desk, spec)));
                filled.clear();
            }
            Entry::Completed(completed) => {
                assert_eq!(
                    open.take().map(|(series, _)| series),
                    Some(completed.series)
                );
            }
            Entry::Zeroed(zeroed) => {
                if let Some((_, zeroed_well)) = &mut open {
                    *zeroed_well = zeroed.ok;
                }
            }
            Entry::Reading(reading) if reading.standing == Standing::Counted => {
                let slot = reading.slot.as_ref().expect("a counted reading has a spec");
                let (series, zeroed_well) = open.expect("a counted reading has an open series");
                assert_eq!(slot.series, series);
                assert!(
                    zeroed_well,
                    "counted without the zero that the policy asks for"
                );
                assert!(slot.verdict.is_some());
                let place = (slot.piece, slot.axis.clone());
                assert!(filled.insert(place), "slot {slot:?} filled twice");
            }
            Entry::Retracted { reading, .. } => drop(filled.remove(&place_of(desk, *reading))),
            Entry::Doubted { readings, .. } => {
                for reading in readings {
                    filled.remove(&place_of(desk, *reading));
                }
            }
            _ => {}
        }
    }
}

/// Whether the series opens with the closing zero of the one before: good, and the entry before that
/// series was closed by.
fn carries_a_closing_zero(desk: &Desk, spec: &ArmedSpec) -> bool {
    let [carried] = spec.opening_zeros.as_slice() else {
        assert!(spec.opening_zeros.is_empty());
        return false;
    };
    let index = usize::try_from(carried.zeroed).unwrap() - 1;
    let Entry::Zeroed(zeroed) = &desk.entries[index].entry else {
        panic!("{carried:?} is no zero");
    };
    let closes = matches!(desk.entries[index + 1].entry, Entry::Completed(_));
    let opens = desk.entries[index + 2].entry == Entry::Armed(Box::new(spec.clone()));
    assert!(spec.repeat && zeroed.ok && zeroed.role == ZeroRole::Closing && closes && opens);
    true
}

fn place_of(desk: &Desk, seq: Seq) -> (u32, tallyjaw::spec::AxisName) {
    let index = usize::try_from(seq.0).unwrap() - 1;
    match &desk.entries[index].entry {
        Entry::Reading(reading) => {
            let slot = reading.slot.as_ref().unwrap();
            (slot.piece, slot.axis.clone())
        }
        other => panic!("{seq} is {other:?}"),
    }
}

proptest! {
    #[test]
    fn no_sequence_counts_a_reading_without_spec_or_zero_or_fills_a_slot_twice(
        acts in prop::collection::vec(act(), 1..80)
    ) {
        let mut desk = desk();
        for act in acts {
            run(&mut desk, act);
        }
        audit(&desk);
        desk.restart();
    }

    #[test]
    fn the_same_input_gives_the_same_entries(acts in prop::collection::vec(act(), 1..40)) {
        let (mut one, mut other) = (desk(), desk());
        for act in acts {
            run(&mut one, act.clone());
            run(&mut other, act);
        }
        prop_assert_eq!(&one.entries, &other.entries);
    }
}
