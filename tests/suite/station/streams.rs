//! Whole streams of a virtual caliper, fed to the core by their own times.

use super::capturing::{desk, heights, steady};
use super::desk::{Desk, outcome};
use std::time::Duration;
use tallyjaw::entry::{Entry, FrameEntry, Outcome, SeriesEntry};
use tallyjaw::quantity::Length;
use tallyjaw::spec::Flicker;
use tallyjaw::station::Input;
use tallyjaw::virtual_caliper::{Display, Motion, stream};

const PIECES: u32 = 200;

const FLICKERING: Display = Display {
    flicker_percent: 40,
    ..Display::COMMON
};

fn mm(hundredths: i64) -> Length {
    Length::from_nanometres(hundredths * 10_000)
}

/// Thirty frames a second of a motion; the entries that each frame made.
fn feed(
    desk: &mut Desk,
    motion: &Motion,
    display: Display,
    mut each: impl FnMut(u64, &[&'static str]),
) {
    let mut last = 0;
    for frame in stream(30, motion, display) {
        desk.wait(Duration::from_micros(frame.micros - last));
        last = frame.micros;
        let before = desk.entries.len();
        desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: &frame.bytes,
        });
        each(frame.micros, &desk.kinds_from(before));
    }
}

/// Every piece differs from its neighbours; all lie within the limits.
fn size(piece: u32) -> i64 {
    158 + i64::from(piece * 3 % 8)
}

/// Least and greatest of each counted reading, in hundredths; all other readings fail.
fn readings(desk: &Desk) -> Vec<(i64, i64)> {
    let readings = desk
        .entries
        .iter()
        .filter_map(|stamped| match &stamped.entry {
            Entry::Frame(FrameEntry::Reading(reading)) => Some(reading),
            _ => None,
        });
    readings
        .map(|reading| {
            assert!(outcome(reading).is_ok(), "{reading:?}");
            let plateau = reading.plateau.unwrap();
            (
                plateau.least.base() / 10_000,
                plateau.greatest.base() / 10_000,
            )
        })
        .collect()
}

fn zero(motion: &mut Motion) {
    motion.move_to(mm(0), 60).hold(Duration::from_millis(800));
    motion.move_to(mm(450), 60);
}

#[test]
fn jaws_that_close_on_a_chip_are_an_off_zero_and_what_was_measured_since_the_good_one_is_doubted() {
    let mut desk = desk(steady(Flicker::Worst));
    desk.arm(heights(2)).unwrap();
    let mut motion = Motion::new(mm(450), 1);
    let mut held_at = |hundredths: i64| {
        motion
            .move_to(mm(hundredths), 60)
            .hold(Duration::from_millis(800));
        motion.move_to(mm(450), 60);
    };
    for at in [0, 161, 162, 7, 0] {
        held_at(at);
    }
    feed(&mut desk, &motion, FLICKERING, |_, _| {});
    let zeros = desk.entries.iter().filter_map(|stamped| {
        let Entry::Frame(FrameEntry::Zeroed(zeroed)) = &stamped.entry else {
            return None;
        };
        Some((zeroed.value.to_string(), zeroed.ok))
    });
    let zeros: Vec<_> = zeros.collect();
    let off = ("0.08 mm".to_owned(), false);
    assert_eq!((zeros.len(), &zeros[1], zeros[2].1), (3, &off, true));
    let series = desk.core.state().stations["bench-1"].series.as_ref();
    let tally = series.unwrap().tally;
    assert_eq!((tally.passed, tally.doubted), (0, 2));
}

fn check(desk: &Desk, pieces: impl Iterator<Item = u32>) {
    let want: Vec<_> = pieces.map(|piece| (size(piece), size(piece) + 1)).collect();
    assert_eq!(readings(desk), want);
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => {
            assert_eq!(completed.outcome, Outcome::Accepted);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn two_hundred_jaw_closings_with_flicker_give_two_hundred_readings() {
    let mut motion = Motion::new(mm(450), 1);
    zero(&mut motion);
    for piece in 0..PIECES {
        motion.measure(mm(size(piece)), 60, Duration::from_millis(800));
    }
    zero(&mut motion);
    let mut desk = desk(steady(Flicker::Worst));
    desk.arm(heights(PIECES)).unwrap();
    feed(
        &mut desk,
        &motion,
        Display {
            flicker_percent: 0,
            ..FLICKERING
        },
        |_, _| {},
    );
    assert_eq!(readings(&desk).len(), 200, "without flicker");
    let mut desk = self::desk(steady(Flicker::Worst));
    desk.arm(heights(PIECES)).unwrap();
    // Zeros flicker too; one count off is still good.
    feed(&mut desk, &motion, FLICKERING, |_, _| {});
    check(&desk, 0..PIECES);
}

#[test]
fn a_moving_hand_and_two_fast_measurements_of_the_same_piece_add_and_lose_nothing() {
    let mut motion = Motion::new(mm(450), 2).with_tremor(mm(4));
    zero(&mut motion);
    let mut measured = Vec::new();
    for piece in 0..PIECES {
        // A hand that looks for its place: slow, then quick, with a rest too short to be one.
        let speed = 15 + piece * 7 % 90;
        motion.hover(Duration::from_millis(u64::from(piece * 13 % 400)));
        motion
            .move_to(mm(size(piece) + 40), speed)
            .hold(Duration::from_millis(250));
        motion
            .move_to(mm(size(piece)), speed)
            .hold(Duration::from_millis(700));
        measured.push(piece);
        if piece == 50 || piece == 120 {
            // Again at once: opened by less than half a millimetre and closed.
            motion.move_to(mm(size(piece) + 40), 120);
            motion
                .move_to(mm(size(piece)), 120)
                .hold(Duration::from_millis(700));
            measured.push(piece);
        }
        motion.move_to(mm(450), speed);
    }
    zero(&mut motion);
    let mut desk = desk(steady(Flicker::Worst));
    desk.arm(heights(PIECES + 2)).unwrap();
    feed(&mut desk, &motion, FLICKERING, |_, _| {});
    check(&desk, measured.into_iter());
}

#[test]
fn an_origin_set_at_an_opening_of_2_10_mm_is_caught_at_the_very_frame() {
    let mut motion = Motion::new(mm(450), 3);
    zero(&mut motion);
    motion.measure(mm(163), 60, Duration::from_millis(800));
    motion.move_to(mm(340), 60).hold(Duration::from_millis(300));
    let pressed = u64::try_from(motion.duration().as_micros()).unwrap();
    motion.press_zero().hold(Duration::from_secs(1));
    let mut desk = desk(steady(Flicker::Worst));
    desk.arm(heights(5)).unwrap();
    let mut caught = Vec::new();
    feed(&mut desk, &motion, Display::COMMON, |micros, kinds| {
        if kinds.contains(&"doubted") {
            caught.push(micros);
        }
    });
    let first_after = pressed.div_ceil(33_333) * 33_333;
    assert_eq!(caught.len(), 1, "{caught:?}");
    assert!(
        caught[0] >= pressed && caught[0] < first_after + 33_334,
        "{caught:?} after {pressed}"
    );
    let opening = desk
        .entries
        .iter()
        .find_map(|stamped| match &stamped.entry {
            Entry::Frame(FrameEntry::Zeroed(zeroed)) => zeroed.opening,
            _ => None,
        });
    assert_eq!(opening.unwrap().to_string(), "3.40 mm");
}

#[test]
fn a_stream_moves_until_a_reading_is_taken_of_it_and_not_before_the_jaws_are_away_again() {
    let mut desk = desk(steady(Flicker::Worst));
    let mut motion = Motion::new(mm(450), 1);
    zero(&mut motion);
    motion.move_to(mm(500), 60).move_to(mm(163), 60);
    motion.hold(Duration::from_millis(800));
    motion.move_to(mm(900), 60);
    let mut changes = Vec::new();
    let frames = stream(30, &motion, Display::COMMON);
    let mut last = 0;
    for frame in frames {
        desk.wait(Duration::from_micros(frame.micros - last));
        last = frame.micros;
        let before = desk.entries.len();
        desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: &frame.bytes,
        });
        let moves = desk.moves();
        let kinds = desk.kinds_from(before);
        if !kinds.is_empty() {
            assert!(!moves, "what was taken stands still");
        }
        if changes.last() != Some(&moves) {
            changes.push(moves);
        }
    }
    assert_eq!(changes, [true, false, true, false, true]);
    desk.wait(Duration::from_secs(2));
    assert!(!desk.moves(), "a stream that sends nothing more has ended");
}
