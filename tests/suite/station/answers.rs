//! Visual checks and pull modes: asked after the measurements, answered by card or command, and counted in the outcome.

use super::desk::{Desk, HEIGHT, catalog, plan};
use std::time::Duration;
use tallyjaw::entry::JournalId;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::{Answer, Completed, Entry, LookTally, Means, Outcome, SeriesEntry, State};
use tallyjaw::row::Gather;
use tallyjaw::spec::{AxisName, Look, LooksPer, Plan, PullMode, Questions, Signal, SignalKind};
use tallyjaw::station::{Command, Input};

fn desk() -> Desk {
    let mut catalog = catalog();
    catalog.signals.push(Signal {
        name: "scanner-1".to_owned(),
        station: "bench-1".to_owned(),
        kind: SignalKind::Scanner { line_end: true },
    });
    Desk::with(catalog)
}

/// Two heights, and two checks of each piece.
fn looked_at(looks_per: LooksPer) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces: 2,
        questions: Questions {
            looks: vec![
                Look::customary("strands_in").unwrap(),
                Look::of_its_own("Is the label on the lead?".to_owned()),
            ],
            looks_per,
            pull_mode: false,
        },
        ..plan()
    }
}

fn pulled(pieces: u32) -> Plan {
    Plan {
        axes: vec![AxisName::new("pull_force")],
        pieces,
        questions: Questions {
            pull_mode: true,
            ..Questions::default()
        },
        ..plan()
    }
}

fn scan(desk: &mut Desk, card: &str) {
    desk.wait(Duration::from_secs(1));
    desk.input(Input::Bytes {
        instrument: "scanner-1",
        bytes: format!("{card}\r").as_bytes(),
    });
}

fn look(desk: &mut Desk, look: u32, piece: Option<u32>, answer: Answer) -> Result<(), String> {
    let by = Means::Command;
    let command = Command::Look {
        station: None,
        look,
        piece,
        answer,
        by,
    };
    desk.command(command)
        .map_err(|refusal| format!("{refusal}; {}", refusal.remedy()))
}

fn completed(desk: &Desk) -> Option<&Completed> {
    desk.entries
        .iter()
        .rev()
        .find_map(|stamped| match &stamped.entry {
            Entry::Series(SeriesEntry::Completed(completed)) => Some(completed),
            _ => None,
        })
}

/// Every entry follows from those before it, and they amount to the live state.
fn follows(desk: &Desk) {
    let mut state = State::default();
    for stamped in &desk.entries {
        assert_eq!(audit(&state, stamped), [], "{stamped:?}");
        state.apply(stamped);
    }
    assert_eq!(state, *desk.core.state());
}

#[test]
fn checks_are_asked_after_their_piece_by_card_and_one_that_is_bad_rejects() {
    let mut desk = desk();
    desk.arm(looked_at(LooksPer::Piece)).unwrap();
    desk.press("0.00");
    desk.press("1.62");
    assert_eq!(
        desk.prompt(),
        "piece 1: visual check 1 of 2: Are all strands in the core crimp? Answer good or bad (card tj/look/1/good, button, or tallyjaw look 1 good)"
    );
    scan(&mut desk, "tj/look/1/good");
    assert!(
        desk.prompt()
            .starts_with("piece 1: visual check 2 of 2: Is the label on the lead?")
    );
    // A measurement that comes first counts all the same.
    assert!(desk.reading("1.60").is_ok());
    desk.restart();
    assert!(
        desk.prompt().starts_with("piece 1: visual check 2 of 2"),
        "{}",
        desk.prompt()
    );
    scan(&mut desk, "tj/look/2/bad");
    scan(&mut desk, "tj/look/1/good");
    desk.press("0.00");
    assert_eq!(completed(&desk), None, "one check has no answer");
    scan(&mut desk, "tj/look/2/good");
    let completed = completed(&desk).unwrap();
    assert_eq!(completed.outcome, Outcome::Rejected);
    assert_eq!(completed.looks, Some(LookTally { good: 3, bad: 1 }));
    assert_eq!((completed.tally.passed, completed.tally.failed), (2, 0));
    follows(&desk);
}

#[test]
fn an_answer_can_be_given_again_until_the_series_is_over() {
    let mut desk = desk();
    desk.arm(looked_at(LooksPer::Series)).unwrap();
    for value in ["0.00", "1.62", "1.61", "0.00"] {
        desk.press(value);
    }
    assert!(
        desk.prompt().starts_with("visual check 1 of 2: "),
        "{}",
        desk.prompt()
    );
    look(&mut desk, 1, None, Answer::Bad).unwrap();
    look(&mut desk, 1, None, Answer::Good).unwrap();
    look(&mut desk, 2, None, Answer::Good).unwrap();
    let completed = completed(&desk).unwrap();
    assert_eq!(completed.outcome, Outcome::Accepted);
    assert_eq!(completed.looks, Some(LookTally { good: 2, bad: 0 }));
    follows(&desk);
}

#[test]
fn what_is_not_asked_cannot_be_answered() {
    let mut desk = desk();
    let refused =
        |desk: &mut Desk, number, piece| look(desk, number, piece, Answer::Good).unwrap_err();
    assert_eq!(
        refused(&mut desk, 1, None),
        "no series is open at bench-1; start one: tallyjaw arm PLAN"
    );
    desk.arm(looked_at(LooksPer::Piece)).unwrap();
    let series = desk.entries.last().unwrap().seq;
    assert_eq!(
        refused(&mut desk, 3, None),
        format!(
            "no visual check 3 in series {series}, want 1 to 2; tallyjaw status lists the visual checks"
        )
    );
    assert_eq!(
        refused(&mut desk, 1, None),
        format!(
            "no piece of series {series} waits for visual check 1; measure the piece first, or name it: --piece NUMBER"
        )
    );
    assert_eq!(
        refused(&mut desk, 1, Some(3)),
        format!(
            "the plan of series {series} has no visual check of piece 3, want one of the pieces 1 to 2; name a piece of the series; for a check of the series as a whole, name none"
        )
    );
    let pull = Command::Pulled {
        station: None,
        piece: None,
        mode: PullMode::Other,
        by: Means::Command,
    };
    assert_eq!(
        desk.command(pull).unwrap_err().to_string(),
        format!("no piece of series {series} has a counted pull force")
    );
    follows(&desk);
}

#[test]
fn a_pull_test_is_over_when_it_is_said_how_each_pull_failed() {
    let mut desk = desk();
    desk.arm(pulled(2)).unwrap();
    desk.press_on("gauge-1", "0");
    desk.press_on("gauge-1", "187");
    assert_eq!(
        desk.prompt(),
        "piece 1: how did the pull fail? Answer pulled_out, broke_at_crimp, broke_in_wire, other (card tj/pulled/MODE, button, or tallyjaw pulled MODE)"
    );
    scan(&mut desk, "tj/pulled/broke_in_wire");
    desk.press_on("gauge-1", "191");
    // The piece is spent, and so is its answer: the next piece is asked for its own.
    scan(&mut desk, "tj/pulled/other");
    scan(&mut desk, "tj/retract/slipped in the grips");
    desk.press_on("gauge-1", "195");
    desk.press_on("gauge-1", "0");
    assert_eq!(completed(&desk), None);
    assert!(
        desk.prompt().starts_with("piece 3: how did the pull fail?"),
        "{}",
        desk.prompt()
    );
    scan(&mut desk, "tj/pulled/pulled_out");
    assert_eq!(completed(&desk).unwrap().outcome, Outcome::Accepted);
    follows(&desk);
    let mut gather = Gather::new(JournalId("0".repeat(32)));
    let mut modes = Vec::new();
    for stamped in &desk.entries {
        let told: Result<(), ()> = gather.take(stamped, |row| {
            let piece = row.slot.as_ref().map(|slot| slot.piece);
            modes.push((
                piece,
                row.standing.name(),
                row.pull_mode.map(PullMode::name),
            ));
            Ok(())
        });
        told.unwrap();
    }
    assert_eq!(
        modes,
        [
            (Some(1), "counted", Some("broke_in_wire")),
            (Some(2), "retracted", Some("other")),
            (Some(3), "counted", Some("pulled_out")),
        ]
    );
}

#[test]
fn a_forged_answer_or_outcome_is_found() {
    let mut desk = desk();
    desk.arm(looked_at(LooksPer::Series)).unwrap();
    for value in ["0.00", "1.62", "1.61", "0.00"] {
        desk.press(value);
    }
    look(&mut desk, 1, None, Answer::Bad).unwrap();
    look(&mut desk, 2, None, Answer::Good).unwrap();
    let found = |at: usize, forged: Entry| {
        let mut state = State::default();
        for stamped in &desk.entries[..at] {
            state.apply(stamped);
        }
        let forged = tallyjaw::entry::Stamped {
            entry: forged,
            ..desk.entries[at].clone()
        };
        audit(&state, &forged).len()
    };
    for (at, stamped) in desk.entries.iter().enumerate() {
        match &stamped.entry {
            Entry::Series(SeriesEntry::Completed(completed)) => {
                assert_eq!(found(at, completed.clone().into()), 0);
                let mut forged = completed.clone();
                forged.outcome = Outcome::Accepted;
                assert_eq!(found(at, forged.into()), 1);
                let mut forged = completed.clone();
                forged.looks = Some(LookTally { good: 2, bad: 0 });
                assert_eq!(found(at, forged.into()), 1);
                // The answer of the last check is left out.
                assert!(found(at - 1, completed.clone().into()) >= 1);
            }
            Entry::Series(SeriesEntry::Looked(looked)) => {
                let mut forged = looked.clone();
                forged.question = "Is it blue?".to_owned();
                assert_eq!(found(at, forged.into()), 1);
                let mut forged = looked.clone();
                forged.look = 3;
                assert!(found(at, forged.into()) >= 1);
            }
            _ => {}
        }
    }
}
