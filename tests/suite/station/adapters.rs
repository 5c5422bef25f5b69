//! Which instrument a reading is of. If another adapter is at a port, no reading counts until a person confirms it.
//! While another program reads the port too, no reading counts.

use super::desk::{Desk, HEIGHT, catalog, plan};
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::{
    AdapterChanged, Entry, Means, NotCounted, PortEntry, Refused, SaidEntry, State,
};
use tallyjaw::spec::{AxisName, Plan, Signal, SignalKind, Verdict, ZeroPolicy};
use tallyjaw::station::{Command, Input, Refusal};

const HERE: &str = "0000:00:14.0 usb 4:1.0";
const THERE: &str = "0000:00:14.0 usb 2:1.0";
const A: &str = "0403:6001 serial A";
const B: &str = "0403:6001 serial B";
const NAMELESS: &str = "1a86:7523";

fn heights(zero: ZeroPolicy) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces: 5,
        zero,
        ..plan()
    }
}

fn no_zeros() -> Plan {
    heights(ZeroPolicy {
        before_first: false,
        closing: false,
        ..ZeroPolicy::default()
    })
}

fn with_adapter(adapter: (&str, &str)) -> Desk {
    let mut catalog = catalog();
    catalog.signals.push(Signal {
        name: "scanner-1".to_owned(),
        station: "bench-1".to_owned(),
        kind: SignalKind::Scanner { line_end: true },
    });
    let mut desk = Desk::with(catalog);
    desk.adapter("caliper-1", Some(adapter));
    desk
}

fn is_meant(desk: &mut Desk) -> Result<(), Refusal> {
    desk.command(Command::Adapter {
        station: None,
        instrument: None,
        by: Means::Command,
    })
}

fn counts(desk: &mut Desk) -> Result<Verdict, NotCounted> {
    desk.reading("1.62").map_err(|(reason, _)| reason)
}

/// Everything that the core wrote follows from what was before it.
fn holds(desk: &Desk) {
    let mut state = State::default();
    for stamped in &desk.entries {
        assert_eq!(audit(&state, stamped), [], "{}", stamped.seq);
        state.apply(stamped);
    }
    assert_eq!(state, *desk.core.state());
}

#[test]
fn another_adapter_counts_nothing_until_a_person_says_that_it_is_meant() {
    let mut desk = with_adapter((A, HERE));
    desk.arm(no_zeros()).unwrap();
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    desk.adapter("caliper-1", Some((B, HERE)));
    assert_eq!(
        *desk.last(),
        Entry::Port(PortEntry::AdapterChanged(AdapterChanged {
            station: "bench-1".to_owned(),
            instrument: "caliper-1".to_owned(),
            was: format!("{A} in the socket {HERE}"),
            is: format!("{B} in the socket {HERE}"),
        }))
    );
    assert_eq!(
        desk.prompt(),
        format!(
            "caliper-1 has another adapter than before: it was {A} in the socket {HERE}, it is {B} in the socket {HERE}. Check that it is the right one, then confirm it (card tj/adapter, button, or tallyjaw adapter)"
        )
    );
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
    is_meant(&mut desk).unwrap();
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    // And from now on the first one is the other.
    desk.adapter("caliper-1", Some((A, HERE)));
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
    desk.adapter("caliper-1", Some((B, THERE)));
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass), "in whichever socket");
    holds(&desk);
}

#[test]
fn numbers_that_were_swapped_while_the_daemon_was_away_are_told_at_its_start() {
    let mut desk = with_adapter((A, HERE));
    desk.adapter("gauge-1", Some((B, THERE)));
    desk.arm(no_zeros()).unwrap();
    desk.restart();
    desk.adapter("caliper-1", Some((B, THERE)));
    desk.adapter("gauge-1", Some((A, HERE)));
    let told = desk.entries.iter().rev().take(4);
    let told: Vec<_> = told.map(|stamped| stamped.entry.kind()).collect();
    assert_eq!(
        told,
        ["adapter_changed", "attached", "detached", "adapter_changed"]
    );
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
    let refusal = is_meant(&mut desk).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "several instruments at bench-1 have another adapter than before: caliper-1, gauge-1"
    );
    holds(&desk);
}

#[test]
fn an_adapter_without_a_serial_number_is_known_by_its_socket() {
    let mut desk = with_adapter((NAMELESS, HERE));
    desk.arm(no_zeros()).unwrap();
    desk.adapter("caliper-1", Some((NAMELESS, HERE)));
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    desk.adapter("caliper-1", Some((NAMELESS, THERE)));
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
}

#[test]
fn a_twin_that_was_ever_seen_is_told_apart_by_its_socket_also_when_it_is_alone_later() {
    let mut desk = with_adapter((A, HERE));
    desk.arm(no_zeros()).unwrap();
    desk.adapter("caliper-1", Some((A, THERE)));
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass), "alone, it may move");
    desk.adapter_with("caliper-1", Some((A, HERE)), true);
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
    // The other adapter with the same serial number is alone when the daemon comes back, so nothing shows that
    // there are two.
    desk.restart();
    desk.adapter("caliper-1", Some((A, HERE)));
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
    is_meant(&mut desk).unwrap();
    desk.restart();
    desk.adapter("caliper-1", Some((A, HERE)));
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    desk.adapter("caliper-1", Some((A, THERE)));
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
}

#[test]
fn a_zero_of_another_adapter_vouches_for_nothing_and_one_is_due_once_it_is_meant() {
    let mut desk = with_adapter((A, HERE));
    desk.arm(heights(ZeroPolicy::default())).unwrap();
    desk.press("0.00");
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    desk.adapter("caliper-1", Some((B, HERE)));
    assert_eq!(desk.press("0.00").kind(), "reading", "no zero of ours");
    let from = desk.entries.len();
    is_meant(&mut desk).unwrap();
    assert_eq!(desk.kinds_from(from), ["adapter_said", "doubted"]);
    assert_eq!(counts(&mut desk), Err(NotCounted::ZeroDue));
    assert_eq!(desk.press("0.00").kind(), "zeroed");
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    holds(&desk);
}

#[test]
fn what_is_not_on_usb_has_no_identity_and_is_taken_as_it_is() {
    let mut desk = Desk::new();
    desk.arm(no_zeros()).unwrap();
    desk.adapter("caliper-1", None);
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    let refusal = is_meant(&mut desk).unwrap_err();
    assert_eq!(
        refusal.to_string(),
        "every instrument at bench-1 has the same adapter as before"
    );
    desk.adapter("caliper-1", Some((A, HERE)));
    assert_eq!(
        counts(&mut desk),
        Ok(Verdict::Pass),
        "the first one is taken"
    );
    desk.adapter("caliper-1", None);
    assert_eq!(counts(&mut desk), Err(NotCounted::AnotherAdapter));
}

#[test]
fn a_card_says_that_the_adapter_is_meant_but_not_through_a_scanner_that_is_another_one() {
    let mut desk = with_adapter((A, HERE));
    desk.adapter("scanner-1", Some((B, THERE)));
    desk.arm(no_zeros()).unwrap();
    desk.adapter("caliper-1", Some(("0403:6001 serial C", HERE)));
    let scan = |desk: &mut Desk, card: &[u8]| {
        desk.input(Input::Bytes {
            instrument: "scanner-1",
            bytes: card,
        });
        desk.last().clone()
    };
    assert_eq!(scan(&mut desk, b"tj/adapter\r").kind(), "adapter_said");
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    desk.adapter("scanner-1", Some(("0403:6001 serial D", THERE)));
    let Entry::Said(SaidEntry::Refused(Refused { reason, remedy, .. })) =
        scan(&mut desk, b"tj/disarm\r")
    else {
        panic!("a scanner that may be another station's was obeyed");
    };
    assert_eq!(
        reason,
        format!(
            "scanner-1 has another adapter than before: it was {B} in the socket {THERE}, it is 0403:6001 serial D in the socket {THERE}"
        )
    );
    assert_eq!(
        remedy.as_deref(),
        Some(
            "check that it is the one of this station, then confirm it: tallyjaw adapter --instrument scanner-1"
        )
    );
    assert_eq!(scan(&mut desk, b"tj/adapter\r").kind(), "refused");
    holds(&desk);
}

#[test]
fn while_another_program_reads_the_port_nothing_counts() {
    let mut desk = with_adapter((A, HERE));
    desk.arm(no_zeros()).unwrap();
    let disturbed = |desk: &mut Desk, holders: &[String]| {
        desk.input(Input::Disturbed {
            instrument: "caliper-1",
            holders,
            settings: None,
        });
    };
    disturbed(&mut desk, &["cat (pid 12)".to_owned()]);
    assert_eq!(
        desk.prompt(),
        "close cat (pid 12): it also reads the port of caliper-1, so no reading counts"
    );
    assert_eq!(counts(&mut desk), Err(NotCounted::PortShared));
    disturbed(&mut desk, &[]);
    assert_eq!(counts(&mut desk), Ok(Verdict::Pass));
    holds(&desk);
}
