//! Streams, instruments that are asked, and a zero key pressed with open jaws.

use super::desk::{Desk, HEIGHT, catalog, outcome, plan};
use std::time::Duration;
use tallyjaw::decode::FrameFormat;
use tallyjaw::entry::{Entry, FrameEntry, NotCounted, Outcome, SeriesEntry};
use tallyjaw::spec::{AxisName, Capture, Flicker, Plan, Verdict};
use tallyjaw::station::{Command, Input};

const FRAME: Duration = Duration::from_micros(33_333);

pub(super) fn steady(flicker: Flicker) -> Capture {
    let hold = Duration::from_millis(500);
    Capture::Steady {
        hold,
        frames: 3,
        release_counts: 5,
        flicker,
    }
}

pub(super) fn desk(capture: Capture) -> Desk {
    let mut catalog = catalog();
    catalog.instruments[0].capture = capture;
    Desk::with(catalog)
}

/// Thirty frames a second of these hundredths of a millimetre.
fn stream(desk: &mut Desk, hundredths: impl IntoIterator<Item = i64>) {
    for value in hundredths {
        desk.wait(FRAME);
        let sign = if value < 0 { '-' } else { '+' };
        let frame = format!("{sign}{}.{:02}\r", value.abs() / 100, value.abs() % 100);
        desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: frame.as_bytes(),
        });
    }
}

/// Moves from one opening to another at 30 mm/s. The last one is held for a second, with flicker.
fn set_jaws(desk: &mut Desk, from: i64, to: i64, flicker: i64) {
    let step = if to > from { 100 } else { -100 };
    let mut at = from;
    while (to - at).abs() > 100 {
        at += step;
        stream(desk, [at]);
    }
    stream(
        desk,
        (0..30).map(|frame| to + if frame % 3 == 0 { flicker } else { 0 }),
    );
}

pub(super) fn heights(pieces: u32) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        ..plan()
    }
}

#[test]
fn a_stream_of_jaw_closings_gives_one_reading_each_and_keeps_its_flicker() {
    let mut desk = desk(steady(Flicker::Worst));
    desk.arm(heights(3)).unwrap();
    let before = desk.entries.len();
    set_jaws(&mut desk, 900, 0, 0);
    for piece in 0..3 {
        set_jaws(&mut desk, 900, 163 + piece, 1);
        set_jaws(&mut desk, 163, 900, 0);
    }
    // The jaws wide open in between stand still too, but no crimp is that high.
    let readings: Vec<_> = desk.entries[before..]
        .iter()
        .filter_map(|stamped| match &stamped.entry {
            Entry::Frame(FrameEntry::Reading(reading)) if outcome(reading).is_ok() => {
                let plateau = reading.plateau.unwrap();
                let base = |quantity: tallyjaw::quantity::Quantity| quantity.base() / 10_000;
                Some((
                    reading.value.to_string(),
                    base(plateau.least),
                    base(plateau.median),
                    base(plateau.greatest),
                ))
            }
            _ => None,
        })
        .collect();
    let text = |text: &str| text.to_owned();
    assert_eq!(
        readings,
        [
            (text("1.64 mm"), 163, 163, 164),
            (text("1.65 mm"), 164, 164, 165),
            (text("1.66 mm"), 165, 165, 166)
        ],
        "the one further from nominal is judged"
    );
    set_jaws(&mut desk, 900, 0, 0);
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_median_is_judged_where_the_configuration_says_so() {
    let mut desk = desk(steady(Flicker::Median));
    desk.arm(heights(1)).unwrap();
    set_jaws(&mut desk, 900, 0, 0);
    // 1.67 is the upper limit; it flickers to 1.68, one frame in three.
    set_jaws(&mut desk, 900, 167, 1);
    let verdict = |desk: &Desk| match desk.last() {
        Entry::Frame(FrameEntry::Reading(reading)) => outcome(reading),
        other => panic!("{other:?}"),
    };
    assert_eq!(verdict(&desk), Ok(Verdict::Pass));
    let mut strict = self::desk(steady(Flicker::Worst));
    strict.arm(heights(1)).unwrap();
    set_jaws(&mut strict, 900, 0, 0);
    set_jaws(&mut strict, 900, 167, 1);
    assert_eq!(verdict(&strict), Ok(Verdict::FailHigh));
}

#[test]
fn an_origin_set_at_an_opening_is_caught_at_the_very_frame_and_mended_with_closed_jaws() {
    let mut desk = desk(steady(Flicker::Worst));
    desk.arm(heights(5)).unwrap();
    set_jaws(&mut desk, 900, 0, 0);
    set_jaws(&mut desk, 900, 163, 0);
    set_jaws(&mut desk, 600, 340, 0);
    let before = desk.entries.len();
    stream(&mut desk, [0]);
    assert_eq!(
        desk.kinds_from(before),
        ["zeroed", "doubted"],
        "at the very frame"
    );
    match &desk.entries[before].entry {
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => {
            assert!(!zeroed.ok);
            assert_eq!(zeroed.opening.unwrap().to_string(), "3.40 mm");
        }
        other => panic!("{other:?}"),
    }
    desk.restart();
    assert!(
        desk.prompt()
            .contains("ZERO was pressed with the jaws open"),
        "{}",
        desk.prompt()
    );
    set_jaws(&mut desk, 0, 163, 0);
    match desk.last() {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(outcome(reading).unwrap_err().0, NotCounted::OriginMoved);
        }
        other => panic!("{other:?}"),
    }
    // Jaws closed: the display shows how far it is off, until the key is pressed.
    set_jaws(&mut desk, 163, -340, 0);
    let before = desk.entries.len();
    stream(&mut desk, [0]);
    match &desk.entries[before].entry {
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => {
            assert_eq!((zeroed.ok, zeroed.opening), (true, None));
        }
        other => panic!("{other:?}"),
    }
    set_jaws(&mut desk, 900, 163, 0);
    match desk.last() {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(outcome(reading), Ok(Verdict::Pass));
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_frame_that_tells_its_origin_shows_a_zero_key_pressed_with_open_jaws() {
    let mut catalog = catalog();
    catalog.instruments[0].format = FrameFormat::from_name("word48-hex").unwrap();
    let mut desk = Desk::with(catalog);
    desk.arm(heights(3)).unwrap();
    // Ticks of 1/20480 in: 1.63 mm is 1314 = 0x522.
    let press = |desk: &mut Desk, frame: &str| {
        desk.wait(Duration::from_secs(1));
        desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: format!("{frame}\r").as_bytes(),
        });
    };
    press(&mut desk, "000000000000");
    press(&mut desk, "000522000522");
    match desk.last() {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(outcome(reading), Ok(Verdict::Pass));
        }
        other => panic!("{other:?}"),
    }
    // The jaws are at the same place, but the display shows 0: the key was pressed on the crimp.
    let before = desk.entries.len();
    press(&mut desk, "000522000000");
    assert_eq!(desk.kinds_from(before), ["zeroed", "doubted"]);
    match &desk.entries[before].entry {
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => {
            assert_eq!(zeroed.opening.unwrap().base(), 1_629_668);
        }
        other => panic!("{other:?}"),
    }
}

fn asking(every: Option<Duration>) -> Capture {
    Capture::Ask {
        request: b"?\r".to_vec(),
        timeout: Duration::from_secs(1),
        every,
    }
}

fn ask(desk: &mut Desk) -> Result<(), tallyjaw::station::Refusal> {
    desk.command(Command::Ask {
        station: None,
        instrument: None,
    })
}

#[test]
fn an_instrument_is_asked_and_an_answer_that_does_not_come_is_said() {
    let mut desk = desk(asking(None));
    desk.arm(heights(3)).unwrap();
    ask(&mut desk).unwrap();
    assert_eq!(desk.sent, [("caliper-1".to_owned(), b"?\r".to_vec())]);
    let before = desk.entries.len();
    desk.input(Input::Bytes {
        instrument: "caliper-1",
        bytes: b"+0.00\r",
    });
    assert_eq!(desk.kinds_from(before), ["zeroed"]);
    ask(&mut desk).unwrap();
    desk.wait(Duration::from_secs(1));
    match desk.last() {
        Entry::Frame(FrameEntry::Unread(unread)) => {
            assert_eq!(
                (unread.bytes, unread.reason.as_str()),
                (0, "no answer within 1000 ms")
            );
        }
        other => panic!("{other:?}"),
    }
    desk.input(Input::PortClosed {
        instrument: "caliper-1",
        reason: "unplugged",
    });
    assert!(
        ask(&mut desk)
            .unwrap_err()
            .to_string()
            .contains("not connected")
    );
}

#[test]
fn a_timer_asks_by_itself() {
    let mut desk = desk(asking(Some(Duration::from_secs(5))));
    desk.arm(heights(3)).unwrap();
    for seconds in 0..12 {
        desk.wait(Duration::from_secs(1));
        assert_eq!(
            desk.sent.len(),
            (seconds + 1) / 5,
            "after {} s",
            seconds + 1
        );
    }
    let silences = desk
        .entries
        .iter()
        .filter(|stamped| stamped.entry.kind() == "unread")
        .count();
    assert_eq!(silences, 1, "a timer's missing answers are told once");
}

#[test]
fn a_caliper_that_cannot_be_asked_says_so() {
    let refusal = ask(&mut Desk::new()).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "no instrument of bench-1 answers to requests"
    );
    assert!(refusal.remedy().contains("press its data key"));
}
