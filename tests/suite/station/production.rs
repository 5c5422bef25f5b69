//! Production runs: samples vouch for crimps or hold them, a person settles what is held.

use super::desk::{Desk, HEIGHT, catalog, plan};
use std::time::Duration;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::production::fold::Production;
use tallyjaw::entry::production::history::{Fate, RunHistory};
use tallyjaw::entry::{
    Entry, Held, HoldCause, Means, ProductionEntry, RunEnd, Seq, Settled, Stamped, State,
};
use tallyjaw::spec::{
    AxisName, Catalog, Plan, ProductionRun, Purpose, Settlement, Signal, SignalKind, ZeroPolicy,
};
use tallyjaw::station::{Armable, Command, Input, Refusal, Settling};

/// A shop with two runs of 100 crimps; samples are two heights without zeros.
pub(crate) fn shop() -> Catalog {
    let mut catalog = catalog();
    for run in ["day", "night"] {
        let name = |part: &str| format!("{run}-{part}");
        for purpose in [Purpose::FirstOff, Purpose::InProcess, Purpose::LastOff] {
            catalog.plans.push(Plan {
                id: Some(name(purpose.name())),
                axes: vec![AxisName::new(HEIGHT)],
                pieces: 2,
                purpose,
                zero: ZeroPolicy {
                    before_first: false,
                    closing: false,
                    ..ZeroPolicy::default()
                },
                ..plan()
            });
        }
        catalog.runs.push(ProductionRun {
            id: run.to_owned(),
            first_off: name("first_off"),
            in_process: name("in_process"),
            last_off: name("last_off"),
            every_crimps: Some(100),
            every_minutes: Some(120),
        });
    }
    for (name, kind) in [
        ("scanner-1", SignalKind::Scanner { line_end: true }),
        ("counter-1", SignalKind::Counter),
    ] {
        catalog.signals.push(Signal {
            name: name.to_owned(),
            station: "bench-1".to_owned(),
            kind,
        });
    }
    catalog
}

fn desk() -> Desk {
    Desk::with(shop())
}

fn arm(desk: &mut Desk, plan: &str) {
    let what = Armable::Named(plan.to_owned());
    let armed = desk.command(Command::Arm {
        station: None,
        what,
        operator: None,
        cut: true,
    });
    armed.unwrap();
}

pub(crate) fn sample(desk: &mut Desk, plan: &str, values: [&str; 2]) {
    arm(desk, plan);
    for value in values {
        desk.press(value);
    }
}

pub(crate) const GOOD: [&str; 2] = ["1.62", "1.63"];
pub(crate) const BAD: [&str; 2] = ["1.62", "1.70"];

pub(crate) fn count(desk: &mut Desk, crimps: u32) -> Result<(), Refusal> {
    desk.command(Command::Crimps {
        station: None,
        crimps,
        by: Means::Command,
    })
}

pub(crate) fn settle(
    desk: &mut Desk,
    held: Option<Seq>,
    crimps: Option<u64>,
    settlement: Settlement,
) -> Result<(), Refusal> {
    desk.command(Command::Settle {
        station: None,
        what: Settling {
            held,
            crimps,
            settlement,
            reason: "each measured".to_owned(),
            by: Means::Command,
        },
    })
}

fn production(desk: &Desk) -> &Production {
    &desk.core.state().stations["bench-1"].production
}

fn held(desk: &Desk) -> Vec<(Seq, Held)> {
    let held = desk
        .entries
        .iter()
        .filter_map(|stamped| match &stamped.entry {
            Entry::Production(ProductionEntry::Held(held)) => Some((stamped.seq, held.clone())),
            _ => None,
        });
    held.collect()
}

fn ranges(desk: &Desk) -> Vec<(u64, u64, HoldCause)> {
    let held = held(desk).into_iter();
    held.map(|(_, held)| (held.first, held.last, held.cause))
        .collect()
}

/// Every entry follows from those before it, and they amount to the live state; so does the history of runs.
pub(super) fn follows(desk: &Desk) -> RunHistory {
    let mut state = State::default();
    let mut history = RunHistory::default();
    for stamped in &desk.entries {
        assert_eq!(audit(&state, stamped), [], "{stamped:?}");
        state.apply(stamped);
        history.take(stamped);
    }
    assert_eq!(state, *desk.core.state());
    history
}

#[test]
fn a_good_sample_vouches_for_the_crimps_since_the_last_good_one_and_a_bad_one_holds_them() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    assert_eq!(desk.prompt(), "100 of 100 crimps until the next sample");
    count(&mut desk, 88).unwrap();
    assert_eq!(desk.prompt(), "12 of 100 crimps until the next sample");
    count(&mut desk, 12).unwrap();
    let due = "a sample is due: start day-in_process; 100 crimps since the last good sample, want one every 100";
    assert_eq!(desk.prompt(), due);
    sample(&mut desk, "day-in_process", GOOD);
    count(&mut desk, 90).unwrap();
    sample(&mut desk, "day-in_process", BAD);
    assert_eq!(ranges(&desk), [(101, 190, HoldCause::BadSample)]);
    let text = "the last sample was bad: start day-in_process and measure a good one before crimping goes on. 90 crimps held: set them aside, then release, rework or scrap them (card tj/settle/HOW/REASON, button, or tallyjaw settle)";
    assert_eq!(desk.prompt(), text);
    sample(&mut desk, "day-in_process", GOOD);
    count(&mut desk, 50).unwrap();
    sample(&mut desk, "day-last_off", GOOD);
    let production = production(&desk);
    assert!(production.run.is_none());
    assert_eq!(production.held(), 90);
    let history = follows(&desk);
    let run = history.runs().next().unwrap();
    assert_eq!(
        (run.crimps, run.vouched, run.held(), run.open()),
        (240, 150, 90, 0)
    );
    assert_eq!(run.closed.as_ref().unwrap().end, RunEnd::LastOff);
    let spans: Vec<_> = run
        .spans()
        .iter()
        .map(|span| (span.first, span.last))
        .collect();
    assert_eq!(spans, [(1, 100), (101, 190), (191, 240)]);
}

#[test]
fn crimps_between_a_bad_sample_and_the_next_good_one_are_held_too() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 10).unwrap();
    sample(&mut desk, "day-in_process", BAD);
    count(&mut desk, 5).unwrap();
    sample(&mut desk, "day-in_process", BAD);
    count(&mut desk, 3).unwrap();
    sample(&mut desk, "day-in_process", GOOD);
    count(&mut desk, 7).unwrap();
    sample(&mut desk, "day-last_off", GOOD);
    let want = [
        (1, 10, HoldCause::BadSample),
        (11, 15, HoldCause::BadSample),
        (16, 18, HoldCause::AfterBadSample),
    ];
    assert_eq!(ranges(&desk), want);
    let history = follows(&desk);
    assert_eq!(history.runs().next().unwrap().vouched, 7);
}

#[test]
fn a_sample_that_says_nothing_leaves_the_crimps_open() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 40).unwrap();
    arm(&mut desk, "day-in_process");
    desk.press("1.62");
    desk.command(Command::Disarm { station: None }).unwrap();
    let run = production(&desk).run.clone().unwrap();
    assert_eq!((run.open(), run.vouched, run.bad), (40, 0, None));
    // Stopped early behind a failed reading it is bad: to stop is no way around the hold.
    arm(&mut desk, "day-in_process");
    desk.press("1.70");
    desk.command(Command::Disarm { station: None }).unwrap();
    assert_eq!(ranges(&desk), [(1, 40, HoldCause::BadSample)]);
    follows(&desk);
}

#[test]
fn a_good_sample_does_not_vouch_for_crimps_that_were_counted_while_it_was_measured() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 30).unwrap();
    arm(&mut desk, "day-in_process");
    count(&mut desk, 1).unwrap(); // the piece itself
    desk.press("1.62");
    count(&mut desk, 4).unwrap();
    desk.press("1.63");
    let run = production(&desk).run.clone().unwrap();
    assert_eq!((run.vouched, run.open()), (31, 4));
    arm(&mut desk, "day-last_off");
    desk.press("1.62");
    count(&mut desk, 2).unwrap();
    desk.press("1.63");
    assert_eq!(ranges(&desk), [(36, 37, HoldCause::NotSampled)]);
    assert!(production(&desk).run.is_none());
    follows(&desk);
}

#[test]
fn the_first_off_of_another_run_closes_the_open_one_and_holds_what_no_sample_vouches_for() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 20).unwrap();
    sample(&mut desk, "night-first_off", BAD);
    assert_eq!(production(&desk).run.as_ref().unwrap().settings.id, "day");
    sample(&mut desk, "night-first_off", GOOD);
    assert_eq!(production(&desk).run.as_ref().unwrap().settings.id, "night");
    assert_eq!(ranges(&desk), [(1, 20, HoldCause::NotSampled)]);
    let history = follows(&desk);
    let ends: Vec<_> = history
        .runs()
        .map(|run| run.closed.as_ref().map(|closed| closed.end))
        .collect();
    assert_eq!(ends, [Some(RunEnd::AnotherRun), None]);
}

#[test]
fn crimps_without_an_open_run_are_entered_and_said() {
    let mut desk = desk();
    count(&mut desk, 50).unwrap();
    sample(&mut desk, "day-in_process", GOOD);
    assert_eq!(production(&desk).without_run, 50);
    assert!(production(&desk).run.is_none());
    let history = follows(&desk);
    assert_eq!(history.without_run()["bench-1"], 50);
}

#[test]
fn held_crimps_are_settled_in_parts_and_no_more_than_are_left() {
    let mut desk = desk();
    let nothing = settle(&mut desk, None, None, Settlement::Scrap).unwrap_err();
    assert!(matches!(nothing, Refusal::NothingHeld { .. }));
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 10).unwrap();
    sample(&mut desk, "day-in_process", BAD);
    count(&mut desk, 5).unwrap();
    sample(&mut desk, "day-in_process", GOOD);
    let [(first, _), (second, _)] = held(&desk).try_into().unwrap();
    let which = settle(&mut desk, None, None, Settlement::Scrap).unwrap_err();
    let known = vec![(first, 10), (second, 5)];
    let station = "bench-1".to_owned();
    assert_eq!(which, Refusal::WhichHeld { station, known });
    let many = settle(&mut desk, Some(first), Some(11), Settlement::Scrap).unwrap_err();
    let want = Refusal::NotThatMany {
        got: 11,
        held: first,
        left: 10,
    };
    assert_eq!(many, want);
    settle(&mut desk, Some(first), Some(7), Settlement::Release).unwrap();
    settle(&mut desk, Some(first), None, Settlement::Scrap).unwrap();
    let gone = settle(&mut desk, Some(first), None, Settlement::Scrap).unwrap_err();
    assert!(matches!(gone, Refusal::NotHeld { .. }));
    desk.wait(Duration::from_secs(1));
    desk.input(Input::Bytes {
        instrument: "scanner-1",
        bytes: b"tj/settle/rework/crimped again\r",
    });
    assert_eq!(production(&desk).held(), 0);
    let history = follows(&desk);
    let run = history.runs().next().unwrap();
    let settled = Settlement::ALL.map(|how| run.settled(how));
    assert_eq!(settled, [7, 5, 3]);
    let fates: Vec<_> = run.spans().iter().map(|span| span.fate).collect();
    assert_eq!(fates, [Fate::Settled(first), Fate::Settled(second)]);
}

#[test]
fn a_sample_becomes_due_by_time_and_stays_due_when_the_clock_is_set_back() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 5).unwrap();
    desk.wait(Duration::from_secs(119 * 60));
    assert!(!production(&desk).run.as_ref().unwrap().is_due());
    desk.set_clock(-3 * 3600);
    desk.wait(Duration::from_secs(59));
    assert!(!production(&desk).run.as_ref().unwrap().is_due());
    desk.wait(Duration::from_secs(2));
    let text =
        "a sample is due: start day-in_process; the last good one was at least 120 minutes ago";
    assert_eq!(desk.prompt(), text);
    desk.set_clock(-3 * 3600);
    desk.restart();
    assert_eq!(desk.prompt(), text);
    sample(&mut desk, "day-in_process", GOOD);
    assert_eq!(desk.prompt(), "100 of 100 crimps until the next sample");
    follows(&desk);
}

#[test]
fn a_kill_between_a_bad_sample_and_its_hold_changes_nothing() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 10).unwrap();
    sample(&mut desk, "day-in_process", BAD);
    assert_eq!(desk.last().kind(), "held");
    let whole = desk.entries.pop().unwrap();
    desk.restart_with_what_is_kept();
    assert_eq!(ranges(&desk), [(1, 10, HoldCause::BadSample)], "{whole:?}");
    follows(&desk);
    // The same for a run that opens.
    let mut desk = self::desk();
    sample(&mut desk, "day-first_off", GOOD);
    assert_eq!(desk.last().kind(), "run_opened");
    desk.entries.pop();
    desk.restart_with_what_is_kept();
    assert!(production(&desk).run.is_some());
    follows(&desk);
}

#[test]
fn a_counter_counts_lines_and_closings_and_is_entered_at_most_once_a_second() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    let line = |desk: &mut Desk| {
        desk.input(Input::Bytes {
            instrument: "counter-1",
            bytes: b"crimp\r\n",
        });
    };
    let from = desk.entries.len();
    for _ in 0..5 {
        desk.wait(Duration::from_millis(100));
        line(&mut desk);
    }
    assert_eq!(desk.kinds_from(from), ["crimped"], "the first at once");
    desk.wait(Duration::from_secs(1));
    assert_eq!(desk.kinds_from(from), ["crimped", "crimped"]);
    assert_eq!(production(&desk).run.as_ref().unwrap().crimps, 5);
    line(&mut desk);
    arm(&mut desk, "day-in_process"); // enters what was counted before it
    assert_eq!(production(&desk).run.as_ref().unwrap().crimps, 6);
    desk.command(Command::Disarm { station: None }).unwrap();
    desk.wait(Duration::from_secs(2));
    for closed in [true, false, true, false] {
        desk.wait(Duration::from_millis(100));
        desk.input(Input::Contact {
            instrument: "counter-1",
            closed,
        });
    }
    line(&mut desk);
    desk.input(Input::Stopping { reason: "SIGTERM" });
    assert_eq!(production(&desk).run.as_ref().unwrap().crimps, 9);
    follows(&desk);
}

/// Changes each entry about runs.
fn change(entries: &mut [Stamped], how: impl Fn(&mut ProductionEntry)) {
    for stamped in entries {
        if let Entry::Production(entry) = &mut stamped.entry {
            how(entry);
        }
    }
}

/// What does not follow from the entries before it is named.
#[test]
fn a_forged_hold_or_settlement_is_found() {
    let mut desk = desk();
    sample(&mut desk, "day-first_off", GOOD);
    count(&mut desk, 10).unwrap();
    sample(&mut desk, "day-in_process", BAD);
    settle(&mut desk, None, Some(4), Settlement::Release).unwrap();
    count(&mut desk, 1).unwrap();
    let found = |forge: &dyn Fn(&mut Vec<Stamped>)| {
        let mut entries = desk.entries.clone();
        forge(&mut entries);
        let mut state = State::default();
        let mut found = Vec::new();
        for stamped in &entries {
            found.extend(audit(&state, stamped).into_iter().map(|one| one.what));
            state.apply(stamped);
        }
        found
    };
    assert!(found(&|_| {}).is_empty());
    let smaller = found(&|entries| {
        change(entries, |entry| {
            if let ProductionEntry::Held(held) = entry {
                held.last = 9;
            }
        });
    });
    assert_eq!(smaller, ["what follows from the sample"]);
    let gone = found(&|entries| {
        entries.retain(|stamped| stamped.entry.kind() != "held");
    });
    assert_eq!(
        gone,
        [
            "what follows from the sample",
            "held crimps",
            "what follows from the sample"
        ]
    );
    let more = found(&|entries| {
        change(entries, |entry| {
            if let ProductionEntry::Settled(Settled { crimps, .. }) = entry {
                *crimps = 11;
            }
        });
    });
    assert_eq!(more, ["settled crimps"]);
    let elsewhere = found(&|entries| {
        change(entries, |entry| {
            if let ProductionEntry::Crimped(crimped) = entry {
                crimped.run = None;
            }
        });
    });
    assert_eq!(elsewhere, ["run", "run"]);
}
