//! Pictures at a station: which series and piece they are of, that they follow from the journal, and that a closed or
//! resumed series keeps them.

use super::desk::{Desk, HEIGHT, plan};
use std::time::Duration;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::line::Digest;
use tallyjaw::entry::{
    Entry, MOST_PICTURES, Means, PictureFile, Pictured, Seq, SeriesEntry, Stamped, State,
};
use tallyjaw::pictures::PictureFormat;
use tallyjaw::spec::{AxisName, Plan};
use tallyjaw::station::{Command, Picture};

pub(crate) fn file(name: &str) -> PictureFile {
    PictureFile {
        picture: Digest::of(name.as_bytes()),
        format: PictureFormat::Jpeg,
        size_bytes: 204_800,
        width_px: 1600,
        height_px: 1200,
        shown: Digest::of(format!("small {name}").as_bytes()),
        file_name: name.to_owned(),
    }
}

pub(crate) fn take(
    desk: &mut Desk,
    name: &str,
    series: Option<Seq>,
    piece: Option<u32>,
) -> Result<(), String> {
    let command = Command::Picture(Picture {
        station: None,
        series,
        piece,
        file: file(name),
        by: Means::Command,
    });
    desk.command(command)
        .map_err(|refusal| format!("{refusal}; {}", refusal.remedy()))
}

fn heights(pieces: u32) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        ..plan()
    }
}

/// Of each picture its name, series and piece.
fn pictures(desk: &Desk) -> Vec<(&str, u64, Option<u32>)> {
    let entries = desk.entries.iter();
    let of = |stamped: &'_ Stamped| match &stamped.entry {
        Entry::Series(SeriesEntry::Pictured(pictured)) => Some(pictured.clone()),
        _ => None,
    };
    let all: Vec<Pictured> = entries.filter_map(of).collect();
    let all = all.into_iter().map(|one| {
        let name: &'static str = Box::leak(one.file_name.into_boxed_str());
        (name, one.series.0, one.piece)
    });
    all.collect()
}

fn follows(desk: &Desk) {
    let mut state = State::default();
    for stamped in &desk.entries {
        assert_eq!(audit(&state, stamped), [], "{stamped:?}");
        state.apply(stamped);
    }
    assert_eq!(state, *desk.core.state());
}

/// The series of this desk, in order.
fn series(desk: &Desk) -> Vec<Seq> {
    let entries = desk.entries.iter();
    let armed = entries.filter(|one| one.entry.kind() == "armed");
    armed.map(|one| one.seq).collect()
}

#[test]
fn a_picture_is_of_the_piece_measured_last_or_of_the_one_that_is_named() {
    let mut desk = Desk::new();
    let nothing = take(&mut desk, "early", None, None).unwrap_err();
    assert_eq!(
        nothing,
        "no series is open at bench-1, and none was closed within ten minutes; name it: tallyjaw picture FILE --series NUMBER"
    );
    desk.arm(heights(3)).unwrap();
    take(&mut desk, "set-up", None, None).unwrap();
    for value in ["0.00", "1.62", "1.61"] {
        desk.press(value);
    }
    take(&mut desk, "last", None, None).unwrap();
    take(&mut desk, "first", None, Some(1)).unwrap();
    let id = series(&desk)[0];
    assert_eq!(
        take(&mut desk, "third", None, Some(3)).unwrap_err(),
        format!(
            "piece 3 of series {id} was not measured; measure the piece first, or name one that was measured"
        )
    );
    desk.restart();
    for value in ["1.60", "0.00"] {
        desk.press(value);
    }
    take(&mut desk, "after", None, None).unwrap();
    take(&mut desk, "whole", Some(id), None).unwrap();
    desk.wait(Duration::from_secs(601));
    take(&mut desk, "late", None, None).unwrap_err();
    take(&mut desk, "cut", Some(id), Some(2)).unwrap();
    let wanted = [
        ("set-up", None),
        ("last", Some(2)),
        ("first", Some(1)),
        ("after", Some(3)),
        ("whole", None),
        ("cut", Some(2)),
    ];
    assert_eq!(
        pictures(&desk),
        wanted.map(|(name, piece)| (name, id.0, piece))
    );
    let kept = &desk.core.state().stations["bench-1"].last_pictures;
    assert_eq!(kept.len(), wanted.len(), "the outcome shows all of them");
    follows(&desk);
}

#[test]
fn a_picture_changes_no_outcome_and_a_resumed_series_has_those_that_came_meanwhile() {
    let mut desk = Desk::new();
    desk.arm(heights(2)).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    take(&mut desk, "before", None, None).unwrap();
    desk.arm(heights(2)).unwrap();
    let [first, second] = series(&desk)[..] else {
        panic!("two series");
    };
    take(&mut desk, "meanwhile", Some(first), Some(1)).unwrap();
    desk.command(Command::Resume {
        station: None,
        by: Means::Command,
    })
    .unwrap();
    let open = desk.core.state().stations["bench-1"]
        .series
        .as_ref()
        .unwrap();
    assert_eq!((open.id, open.pictures.len()), (first, 2));
    take(&mut desk, "of the other", Some(second), None).unwrap();
    for value in ["1.61", "0.00"] {
        desk.press(value);
    }
    assert_eq!(desk.prompt(), "start a plan");
    follows(&desk);
}

#[test]
fn a_spent_piece_may_be_pictured_and_an_open_series_has_an_end_of_pictures() {
    let mut desk = Desk::new();
    desk.arm(Plan {
        axes: vec![AxisName::new("pull_force")],
        pieces: 1,
        ..plan()
    })
    .unwrap();
    for value in ["0", "187"] {
        desk.press_on("gauge-1", value);
    }
    desk.command(Command::Retract {
        station: None,
        seq: None,
        reason: Some("slipped in the grips".to_owned()),
        by: Means::Command,
    })
    .unwrap();
    for _ in 0..MOST_PICTURES {
        take(&mut desk, "grip", None, Some(1)).unwrap();
    }
    let id = series(&desk)[0];
    assert_eq!(
        take(&mut desk, "more", None, Some(1)).unwrap_err(),
        format!(
            "series {id} has 100 pictures already, the most for one series; take fewer, or start the next series"
        )
    );
    follows(&desk);
}

#[test]
fn the_audit_finds_a_picture_of_a_series_or_a_piece_that_is_not_there() {
    let mut desk = Desk::new();
    desk.arm(heights(2)).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    take(&mut desk, "cut", None, None).unwrap();
    let entered = desk.entries.last().unwrap().clone();
    let mut state = State::default();
    for stamped in &desk.entries[..desk.entries.len() - 1] {
        state.apply(stamped);
    }
    let Entry::Series(SeriesEntry::Pictured(good)) = &entered.entry else {
        panic!("{entered:?}");
    };
    let found = |pictured: Pictured| {
        let found = audit(
            &state,
            &Stamped {
                entry: Entry::from(pictured),
                ..entered.clone()
            },
        );
        let what = found.iter().map(|one| one.what);
        what.collect::<Vec<_>>()
    };
    assert_eq!(found(good.clone()), Vec::<&str>::new());
    let piece = Some(2);
    assert_eq!(
        found(Pictured {
            piece,
            ..good.clone()
        }),
        ["piece"]
    );
    let series = Seq(999);
    assert_eq!(
        found(Pictured {
            series,
            ..good.clone()
        }),
        ["series"]
    );
    let station = "bench-2".to_owned();
    assert_eq!(
        found(Pictured {
            station,
            ..good.clone()
        }),
        ["station"]
    );
}
