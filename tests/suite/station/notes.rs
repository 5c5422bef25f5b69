//! Whose note is it: that of the open series, else of the one closed last within ten minutes, else of none.

use super::desk::{Desk, HEIGHT, plan};
use std::time::Duration;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::history::OneSeries;
use tallyjaw::entry::{Entry, JournalEntry, Noted, SaidEntry, Segment, Seq, State};
use tallyjaw::spec::{AxisName, Plan};
use tallyjaw::station::{Command, Input};

fn one_height() -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces: 1,
        ..plan()
    }
}

/// The series that a note is about.
fn note(desk: &mut Desk) -> Option<Seq> {
    desk.command(Command::Note {
        station: None,
        text: "strands nicked".to_owned(),
    })
    .unwrap();
    match desk.last() {
        Entry::Said(SaidEntry::Noted(Noted { series, .. })) => *series,
        other => panic!("{other:?}"),
    }
}

fn measured() -> (Desk, Option<Seq>) {
    let mut desk = Desk::new();
    assert_eq!(note(&mut desk), None, "nothing was ever armed");
    desk.arm(one_height()).unwrap();
    let id = desk.entries.last().map(|armed| armed.seq);
    desk.press("0.00");
    assert_eq!(note(&mut desk), id, "it is open");
    desk.press("1.63");
    desk.press("0.00");
    assert_eq!(desk.last().kind(), "completed");
    (desk, id)
}

/// What `verify` would complain of.
fn complaints(desk: &Desk) -> Vec<String> {
    let mut state = State::default();
    let mut found = Vec::new();
    for stamped in &desk.entries {
        let mismatches = audit(&state, stamped);
        found.extend(mismatches.iter().map(|mismatch| format!("{mismatch:?}")));
        state.apply(stamped);
    }
    found
}

#[test]
fn a_note_within_ten_minutes_of_the_outcome_is_about_that_series() {
    let (mut desk, id) = measured();
    assert_eq!(note(&mut desk), id);
    desk.input(Input::SegmentFull);
    desk.restart();
    desk.wait(Duration::from_secs(600));
    assert_eq!(note(&mut desk), id);
    let mut one = OneSeries::new(id.unwrap());
    for stamped in &desk.entries {
        one.take(stamped);
    }
    let (_, entries) = one.finish().unwrap();
    let about = entries.iter().rev().map(|it| it.entry.kind());
    let about: Vec<_> = about.take(3).collect();
    assert_eq!(about, ["noted", "noted", "completed"]);
    desk.wait(Duration::from_micros(1));
    assert_eq!(note(&mut desk), None, "too late");
    assert_eq!(complaints(&desk), Vec::<String>::new());
}

#[test]
fn a_note_after_the_next_arming_is_about_the_next_series() {
    let (mut desk, id) = measured();
    desk.arm(one_height()).unwrap();
    let next = desk.entries.last().map(|armed| armed.seq);
    assert_ne!(next, id);
    assert_eq!(note(&mut desk), next);
    desk.command(Command::Disarm { station: None }).unwrap();
    assert_eq!(note(&mut desk), next, "it was closed last");
    assert_eq!(complaints(&desk), Vec::<String>::new());
}

#[test]
fn a_set_clock_moves_no_note_to_another_series() {
    let (mut desk, id) = measured();
    desk.set_clock(7_200);
    assert_eq!(note(&mut desk), id);
    desk.set_clock(-10_000);
    assert_eq!(note(&mut desk), id);
    // Set back while the daemon was off: nobody knows how long ago the outcome was.
    desk.set_clock_unseen(-60);
    desk.restart();
    assert_eq!(note(&mut desk), None);
    assert_eq!(complaints(&desk), Vec::<String>::new());
}

#[test]
fn a_note_that_is_forged_to_be_about_another_series_is_found() {
    let (mut desk, id) = measured();
    note(&mut desk);
    let other = id.map(Seq::following);
    let Entry::Said(SaidEntry::Noted(Noted { series, .. })) =
        &mut desk.entries.last_mut().unwrap().entry
    else {
        panic!()
    };
    *series = other;
    let found = complaints(&desk);
    assert_eq!(found.len(), 1, "{found:?}");
}

#[test]
fn segments_and_notes_of_a_version_that_kept_less_are_no_fault() {
    let (mut desk, _) = measured();
    desk.arm(one_height()).unwrap();
    desk.press("0.05");
    desk.input(Input::SegmentFull);
    desk.command(Command::Disarm { station: None }).unwrap();
    note(&mut desk);
    if let Entry::Said(SaidEntry::Noted(Noted { series, .. })) =
        &mut desk.entries.last_mut().unwrap().entry
    {
        *series = None;
    }
    let mut kinds = desk.entries.iter().map(|stamped| stamped.entry.kind());
    let at = kinds.position(|kind| kind == "segment").unwrap();
    let Entry::Journal(JournalEntry::Segment(Segment { state, .. })) = &mut desk.entries[at].entry
    else {
        panic!()
    };
    let station = state.stations.get_mut("bench-1").unwrap();
    station.closed_at = None;
    let series = station.series.as_mut().unwrap();
    series.zeros.get_mut("caliper-1").unwrap().off_by = None;
    assert_eq!(complaints(&desk), Vec::<String>::new());
}
