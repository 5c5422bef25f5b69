//! Pedals and scanners: hands and feet instead of a keyboard.

use super::desk::{Desk, catalog, plan};
use std::time::Duration;
use tallyjaw::entry::{Entry, Refused, SaidEntry};
use tallyjaw::spec::{PedalAction, Plan, Signal, SignalKind};
use tallyjaw::station::Input;

fn desk() -> Desk {
    let mut catalog = catalog();
    let signal = |name: &str, kind| Signal {
        name: name.to_owned(),
        station: "bench-1".to_owned(),
        kind,
    };
    catalog.signals = vec![
        signal("scanner-1", SignalKind::Scanner { line_end: true }),
        signal(
            "pedal-1",
            SignalKind::Pedal {
                does: PedalAction::Retract,
            },
        ),
    ];
    let id = Some("pump-own".to_owned());
    catalog.plans = vec![Plan { id, ..plan() }];
    Desk::with(catalog)
}

fn scan(desk: &mut Desk, text: &str) {
    desk.wait(Duration::from_secs(1));
    desk.input(Input::Bytes {
        instrument: "scanner-1",
        bytes: format!("{text}\r\n").as_bytes(),
    });
}

fn contact(desk: &mut Desk, closed: bool) {
    desk.input(Input::Contact {
        instrument: "pedal-1",
        closed,
    });
}

#[test]
fn cards_arm_note_zero_and_disarm() {
    let mut desk = desk();
    let before = desk.entries.len();
    for card in ["tj/arm/pump-own", "tj/note/strands nicked", "tj/disarm"] {
        scan(&mut desk, card);
    }
    assert_eq!(
        desk.kinds_from(before),
        ["armed", "noted", "completed", "disarmed"]
    );
}

#[test]
fn a_wrong_card_says_what_it_was_and_changes_nothing() {
    let mut desk = desk();
    for (card, said) in [
        (
            "4006381333931",
            "a product's bar code, not one of our cards: got \"4006381333931\"",
        ),
        (
            "tj/arm/pump-owm",
            "no plan \"pump-owm\", want one of pump-own",
        ),
        ("tj/arm", "a card that starts a plan, without the plan"),
        ("tj/dance", "no card of that kind"),
        ("tj/disarm", "no series is open at bench-1"),
    ] {
        let before = desk.entries.len();
        scan(&mut desk, card);
        assert_eq!(desk.kinds_from(before), ["refused"], "{card}");
        match desk.last() {
            Entry::Said(SaidEntry::Refused(Refused {
                said: kept,
                reason,
                remedy,
                ..
            })) => {
                assert_eq!(kept, card);
                assert!(reason.contains(said), "{reason}");
                assert!(remedy.is_some());
            }
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_hostile_card_is_cut_and_kept() {
    let mut desk = desk();
    let before = desk.entries.len();
    scan(&mut desk, &"\u{1b}[2J".repeat(1000));
    scan(&mut desk, "tj/note/\u{1b}[31m");
    assert_eq!(
        desk.kinds_from(before)
            .iter()
            .filter(|kind| **kind == "noted")
            .count(),
        1
    );
    for stamped in &desk.entries[before..] {
        if let Entry::Said(SaidEntry::Refused(Refused { said, .. })) = &stamped.entry {
            assert!(said.chars().count() <= 200);
        }
    }
}

#[test]
fn a_pedal_that_bounces_takes_one_reading_back() {
    let mut desk = desk();
    desk.arm(plan()).unwrap();
    for value in ["0.00", "1.63", "1.62", "1.61"] {
        desk.press(value);
    }
    desk.wait(Duration::from_secs(1));
    let before = desk.entries.len();
    for _ in 0..5 {
        contact(&mut desk, true);
        desk.wait(Duration::from_millis(3));
        contact(&mut desk, false);
        desk.wait(Duration::from_millis(3));
    }
    contact(&mut desk, true);
    desk.wait(Duration::from_millis(300));
    for _ in 0..5 {
        contact(&mut desk, false);
        desk.wait(Duration::from_millis(3));
        contact(&mut desk, true);
        desk.wait(Duration::from_millis(3));
    }
    contact(&mut desk, false);
    assert_eq!(desk.kinds_from(before), ["retracted"]);
    desk.wait(Duration::from_millis(300));
    contact(&mut desk, true);
    assert_eq!(
        desk.kinds_from(before),
        ["retracted", "retracted"],
        "and one more when pressed again"
    );
}

#[test]
fn a_pedal_that_sends_bytes_is_one_press_however_many_there_are() {
    let mut desk = desk();
    desk.arm(plan()).unwrap();
    for value in ["0.00", "1.63", "1.62"] {
        desk.press(value);
    }
    let before = desk.entries.len();
    for byte in b"PPP" {
        desk.input(Input::Bytes {
            instrument: "pedal-1",
            bytes: &[*byte],
        });
        desk.wait(Duration::from_millis(20));
    }
    assert_eq!(desk.kinds_from(before), ["retracted"]);
}
