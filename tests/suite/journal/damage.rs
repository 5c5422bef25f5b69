//! Announced lines that were changed: they are refused, then accepted by a person.

use super::bench::{
    copy, in_memory, lines_on_disk, names, options, reopen, reopen_error, segment, shop, stopped,
    verified, write,
};
use crate::harness::every;
use std::fs;
use std::path::Path;
use tallyjaw::entry::line::decode;
use tallyjaw::entry::{DamageAccepted, Entry, JournalEntry, Seq};
use tallyjaw::journal::{JournalError, Opened, Options, open};

/// Replaces text in the line of an entry.
fn change(state_dir: &Path, number: u32, seq: u64, from: &str, to: &str) {
    let path = segment(state_dir, number);
    let text = fs::read_to_string(&path).unwrap();
    let mark = format!("\"seq\":{seq},");
    let lines: Vec<String> = text
        .lines()
        .map(|line| match line.split_once(&mark) {
            Some((v, rest)) if v == "{\"v\":1," => {
                assert!(line.contains(from), "{from} is not in {line}");
                let (head, tail) = (format!("{v}{mark}"), rest);
                format!("{head}{tail}").replacen(from, to, 1)
            }
            _ => line.to_owned(),
        })
        .collect();
    let changed = lines.join("\n") + "\n";
    assert_ne!(changed, text);
    fs::write(path, changed).unwrap();
}

fn accept(state_dir: &Path, seq: Seq) -> Result<Opened, JournalError> {
    open(
        state_dir,
        Options {
            accept_damage: Some(seq),
            ..options()
        },
    )
}

fn last_of(state_dir: &Path, number: u32) -> (u64, u64) {
    let text = fs::read_to_string(segment(state_dir, number)).unwrap();
    let seq = |line: &str| decode(line.as_bytes()).unwrap().0.seq.0;
    (
        seq(text.lines().next().unwrap()),
        seq(text.lines().last().unwrap()),
    )
}

#[test]
fn a_changed_value_is_refused_with_its_place_and_the_remedy() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let (first, _) = last_of(folder.path(), 3);
    // changes the reading of 1.60 mm to one that is consistent in itself
    let seq = first + 2;
    change(
        folder.path(),
        3,
        seq,
        "\"value_nm\":1600000,\"value\":1.60",
        "\"value_nm\":1700000,\"value\":1.70",
    );
    let before = fs::read(segment(folder.path(), 3)).unwrap();
    let error = reopen_error(folder.path());
    let JournalError::Damaged(damage) = &error else {
        panic!("{error}");
    };
    assert_eq!((damage.file.as_str(), damage.line), ("00000003.jsonl", 3));
    assert_eq!(damage.seq, Seq(seq));
    assert!(
        error
            .to_string()
            .contains("line is not as it was when the next one was written")
    );
    assert_eq!(
        error.remedy().unwrap(),
        format!(
            "look at all of it with `tallyjaw verify`, then start with `tallyjaw serve --accept-damage {seq}`"
        )
    );
    assert_eq!(
        fs::read(segment(folder.path(), 3)).unwrap(),
        before,
        "nothing is written"
    );
}

#[test]
fn accepted_damage_is_entered_and_the_rest_of_the_journal_still_counts() {
    let folder = tempfile::tempdir().unwrap();
    let live = shop(folder.path());
    let (first, last) = last_of(folder.path(), 3);
    let seq = first + 2;
    change(
        folder.path(),
        3,
        seq,
        "\"value_nm\":1600000,\"value\":1.60",
        "\"value_nm\":1700000,\"value\":1.70",
    );
    let damaged = fs::read(segment(folder.path(), 3)).unwrap();

    let wrong = accept(folder.path(), Seq(seq - 1)).unwrap_err();
    assert_eq!(
        wrong.to_string(),
        format!(
            "--accept-damage got entry {}, but the first damage is at entry {seq}",
            seq - 1
        )
    );

    let opened = accept(folder.path(), Seq(seq)).unwrap();
    assert_eq!(opened.journal, live.journal.unwrap());
    assert_eq!(opened.tail.0, Seq(last + 2), "numbers go on without a gap");
    let lines = lines_on_disk(folder.path());
    let [.., segment_line, accepted_line] = lines.as_slice() else {
        panic!("{} lines", lines.len());
    };
    assert!(matches!(
        decode(segment_line).unwrap().0.entry,
        Entry::Journal(JournalEntry::Segment(_))
    ));
    match decode(accepted_line).unwrap().0.entry {
        Entry::Journal(JournalEntry::DamageAccepted(DamageAccepted { seq: at, reason })) => {
            assert_eq!(at, Seq(seq));
            assert!(
                reason.ends_with(&format!("left out of the state: {seq}")),
                "{reason}"
            );
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(
        fs::read(segment(folder.path(), 3)).unwrap(),
        damaged,
        "the evidence stays"
    );
    assert_eq!(names(folder.path()).len(), 4);

    let next = opened.tail.0.following();
    let state = opened.state.clone();
    write(opened, &[stopped(next, "goes on")]);
    let again = reopen(folder.path());
    assert_eq!(again.state.stations, state.stations);
    let report = verified(folder.path());
    assert!(!report.is_intact());
    for finding in &report.findings {
        assert_eq!(finding.seq, Some(Seq(seq)), "{finding:?}");
        assert_eq!(finding.accepted_in, Some(Seq(last + 2)), "{finding:?}");
    }
}

#[test]
fn an_intact_journal_has_no_damage_to_accept() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let error = accept(folder.path(), Seq(3)).unwrap_err();
    assert_eq!(
        error.to_string(),
        "--accept-damage got entry 3, but the last segment is intact"
    );
}

/// Any damage in the last segment is refused. After it was accepted the journal opens and continues, and no number is
/// used again.
#[test]
fn any_damaged_byte_in_the_last_segment_is_refused_and_can_be_accepted() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let (_, last) = last_of(folder.path(), 3);
    let whole = fs::read(segment(folder.path(), 3)).unwrap();
    let last_line = whole[..whole.len() - 1]
        .iter()
        .rposition(|byte| *byte == b'\n')
        .unwrap();
    for at in (0..last_line).step_by(17 * every(3)) {
        for flip in [1_u8, b'\n' ^ whole[at]] {
            if flip == 0 {
                continue; // it is a newline
            }
            let dir = in_memory();
            copy(folder.path(), dir.path());
            let mut bytes = whole.clone();
            bytes[at] ^= flip;
            fs::write(segment(dir.path(), 3), &bytes).unwrap();
            let place = format!("byte {at} ^ {flip}");
            let damage = match reopen_error(dir.path()) {
                JournalError::Damaged(damage) => damage,
                // the version or kind was changed, so the line looks like one of a later release
                JournalError::Newer { .. } => continue,
                error => panic!("{place}: {error}"),
            };
            let opened =
                accept(dir.path(), damage.seq).unwrap_or_else(|error| panic!("{place}: {error}"));
            let segment_entry = opened.tail.0.0 - 1;
            assert!(
                segment_entry > last,
                "{place}: {segment_entry} was given before"
            );
            let next = opened.tail.0.following();
            write(opened, &[stopped(next, "goes on")]);
            let again = reopen(dir.path());
            assert_eq!(again.tail.0, next, "{place}");
            let report = verified(dir.path());
            assert!(!report.findings.is_empty(), "{place}");
            for finding in &report.findings {
                assert_eq!(
                    finding.accepted_in,
                    Some(Seq(segment_entry + 1)),
                    "{place}: {finding:?}"
                );
            }
        }
    }
}

#[test]
fn a_segment_swapped_with_another_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    for (one, other) in [(2, 3), (1, 3)] {
        let dir = tempfile::tempdir().unwrap();
        copy(folder.path(), dir.path());
        fs::rename(segment(dir.path(), one), segment(dir.path(), 9)).unwrap();
        fs::rename(segment(dir.path(), other), segment(dir.path(), one)).unwrap();
        fs::rename(segment(dir.path(), 9), segment(dir.path(), other)).unwrap();
        let error = reopen_error(dir.path());
        assert!(
            matches!(error, JournalError::Damaged(_)),
            "{one} and {other}: {error}"
        );
        assert!(!verified(dir.path()).is_intact());
    }
}

#[test]
fn the_first_line_of_the_last_segment_can_be_lost_too() {
    let folder = tempfile::tempdir().unwrap();
    let live = shop(folder.path());
    let (first, _) = last_of(folder.path(), 3);
    change(
        folder.path(),
        3,
        first,
        "\"kind\":\"segment\"",
        "\"kind\":\"segment",
    );
    let error = reopen_error(folder.path());
    let JournalError::Damaged(damage) = error else {
        panic!("{error}");
    };
    assert_eq!(damage.seq, Seq(first));
    let opened = accept(folder.path(), damage.seq).unwrap();
    // the state comes from the segment before, and nothing else was lost
    assert_eq!(opened.state.stations, live.stations);
    assert_eq!(opened.state.instruments, live.instruments);
}

#[test]
fn a_kind_that_was_changed_on_the_disk_is_damage_and_no_newer_release() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let (first, _) = last_of(folder.path(), 3);
    let seq = first + 2;
    change(folder.path(), 3, seq, "\"reading\"", "\"reeding\"");
    let error = reopen_error(folder.path());
    let JournalError::Damaged(damage) = &error else {
        panic!("{error}");
    };
    assert_eq!((damage.seq, damage.is_as_written), (Seq(seq), false));
    let opened = accept(folder.path(), Seq(seq)).unwrap();
    assert_eq!(opened.state.journal.unwrap(), opened.journal);
}
