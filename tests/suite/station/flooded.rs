//! Far more frames than a person sends: which of them are entered and which are not. At the speeds of people and
//! instruments nothing is lost.

use super::desk::{Desk, catalog};
use std::time::Duration;
use tallyjaw::entry::{Entry, FrameEntry, Stamped, Unread};
use tallyjaw::spec::{Signal, SignalKind};
use tallyjaw::station::Input;

const FLOOD: &str = "over 200 frames a second, more than a person can press";

fn desk() -> Desk {
    let mut catalog = catalog();
    catalog.signals.push(Signal {
        name: "scanner-1".to_owned(),
        station: "bench-1".to_owned(),
        kind: SignalKind::Scanner { line_end: true },
    });
    let mut desk = Desk::with(catalog);
    desk.entries.clear();
    desk
}

/// This number of frames, of the two values by turns, at this rate a second.
fn send(desk: &mut Desk, instrument: &str, frames: [&str; 2], count: u64, a_second: u64) {
    for number in 0..count {
        desk.wait(Duration::from_micros(1_000_000 / a_second));
        let frame = if number % 2 == 0 {
            frames[0]
        } else {
            frames[1]
        };
        desk.input(Input::Bytes {
            instrument,
            bytes: frame.as_bytes(),
        });
    }
    desk.wait(Duration::from_secs(2));
}

fn readings(entries: &[Stamped]) -> u64 {
    let readings = entries.iter().map(|stamped| match &stamped.entry {
        Entry::Frame(FrameEntry::Reading(_)) => 1,
        _ => 0,
    });
    readings.sum()
}

fn unread(entries: &[Stamped]) -> Vec<&Unread> {
    let unread = entries.iter().filter_map(|stamped| match &stamped.entry {
        Entry::Frame(FrameEntry::Unread(unread)) => Some(unread),
        _ => None,
    });
    unread.collect()
}

#[test]
fn at_a_hundred_lines_a_second_for_a_minute_every_line_is_a_reading() {
    for a_second in [25, 100, 200] {
        let mut desk = desk();
        send(
            &mut desk,
            "caliper-1",
            ["+1.60\r", "+1.61\r"],
            60 * a_second,
            a_second,
        );
        assert_eq!(readings(&desk.entries), 60 * a_second);
        assert!(unread(&desk.entries).is_empty());
    }
}

#[test]
fn a_thousand_lines_that_waited_while_the_machine_stood_still_are_readings() {
    let mut desk = desk();
    desk.input(Input::Bytes {
        instrument: "caliper-1",
        bytes: "+1.60\r+1.61\r".repeat(512).as_bytes(),
    });
    assert_eq!(readings(&desk.entries), 1_024);
}

#[test]
fn two_values_in_turn_without_end_are_entered_once_a_second_and_counted_to_the_last() {
    let mut desk = desk();
    send(
        &mut desk,
        "caliper-1",
        ["+1.60\r", "+1.61\r"],
        60_000,
        20_000,
    );
    let folded = unread(&desk.entries);
    let counted: u64 = folded.iter().map(|unread| unread.times).sum();
    assert_eq!(
        readings(&desk.entries) + counted,
        60_000,
        "every frame is accounted for"
    );
    let bytes: u64 = folded.iter().map(|unread| unread.bytes).sum();
    assert_eq!(bytes, counted * 6);
    assert!(
        desk.entries.len() < 1_100,
        "{} entries of 3 s",
        desk.entries.len()
    );
    assert!(
        folded
            .iter()
            .all(|unread| unread.reason == FLOOD && unread.remedy.is_some())
    );

    // Once the flood stops, the next press is a reading again.
    desk.entries.clear();
    send(&mut desk, "caliper-1", ["+1.62\r", "+1.63\r"], 2, 1);
    assert_eq!(
        (readings(&desk.entries), unread(&desk.entries).len()),
        (2, 0)
    );
}

#[test]
fn frames_that_mean_something_among_such_that_do_not_are_no_way_around_it() {
    let mut desk = desk();
    send(
        &mut desk,
        "caliper-1",
        ["+1.60\r+1.61\r", "?!\r"],
        60_000,
        20_000,
    );
    let folded: u64 = unread(&desk.entries)
        .iter()
        .map(|unread| unread.times)
        .sum();
    assert_eq!(
        readings(&desk.entries) + folded,
        90_000,
        "every frame is accounted for"
    );
    assert!(
        desk.entries.len() < 2_200,
        "{} entries of 3 s",
        desk.entries.len()
    );
}

#[test]
fn a_scanner_that_floods_is_folded_and_scans_again_when_it_stops() {
    let mut desk = desk();
    send(
        &mut desk,
        "scanner-1",
        ["tj/arm/none\r", "rubbish\r"],
        30_000,
        10_000,
    );
    let refused = desk.entries.len() - unread(&desk.entries).len();
    let folded: u64 = unread(&desk.entries)
        .iter()
        .map(|unread| unread.times)
        .sum();
    assert_eq!(u64::try_from(refused).unwrap() + folded, 30_000);
    assert!(
        desk.entries.len() < 1_200,
        "{} entries of 3 s",
        desk.entries.len()
    );
    desk.entries.clear();
    send(
        &mut desk,
        "scanner-1",
        ["tj/operator/mara\r", "tj/operator/jon\r"],
        2,
        1,
    );
    let kinds: Vec<_> = desk
        .entries
        .iter()
        .map(|stamped| stamped.entry.kind())
        .collect();
    assert_eq!(kinds, ["operator_said"; 2]);
}
