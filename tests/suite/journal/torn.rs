//! A process that was killed, or a machine that lost power, in the middle of a write.

use super::bench::{
    copy, in_memory, lines_on_disk, names, reopen, segment, shop, stopped, verified, write,
};
use crate::harness::every;
use std::fs;
use tallyjaw::entry::line::{Digest, decode};
use tallyjaw::entry::{Seq, State};
use tallyjaw::journal::Torn;

fn fold(lines: &[Vec<u8>]) -> State {
    let mut state = State::default();
    for line in lines {
        state.apply(&decode(line).unwrap().0);
    }
    state
}

#[test]
fn a_journal_cut_at_any_byte_of_its_last_lines_opens_with_everything_before_intact() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let lines = lines_on_disk(folder.path());
    let whole = fs::read(segment(folder.path(), 3)).unwrap();
    let three: usize = lines[lines.len() - 3..]
        .iter()
        .map(|line| line.len() + 1)
        .sum();
    for len in (whole.len() - three..=whole.len()).step_by(every(3)) {
        let cut = in_memory();
        copy(folder.path(), cut.path());
        fs::write(segment(cut.path(), 3), &whole[..len]).unwrap();
        let good = whole[..len]
            .iter()
            .rposition(|byte| *byte == b'\n')
            .unwrap()
            + 1;

        let opened = reopen(cut.path());
        let left = lines_on_disk(cut.path());
        assert_eq!(left, lines[..left.len()], "cut at {len}");
        assert_eq!(fs::read(segment(cut.path(), 3)).unwrap(), whole[..good]);
        assert_eq!(opened.state, fold(&left));
        assert_eq!(opened.tail.1, Digest::of(left.last().unwrap()));
        let torn = (good < len).then(|| Torn {
            file: "00000003.torn-1".to_owned(),
            bytes: u64::try_from(len - good).unwrap(),
        });
        assert_eq!(opened.torn, torn);
        if torn.is_some() {
            let kept = fs::read(cut.path().join("journal/00000003.torn-1")).unwrap();
            assert_eq!(kept, whole[good..len]);
        }
        // the journal continues where it was cut
        let next = opened.tail.0.following();
        write(opened, &[stopped(next, "after the crash")]);
        assert!(verified(cut.path()).is_intact(), "cut at {len}");
    }
}

#[test]
fn a_new_segment_cut_in_its_first_line_gives_way_to_the_one_before() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let second = segment(folder.path(), 2);
    let third = fs::read(segment(folder.path(), 3)).unwrap();
    let first_line = third.iter().position(|byte| *byte == b'\n').unwrap();
    let before: Vec<Vec<u8>> = {
        let all = lines_on_disk(folder.path());
        let third_lines = third.split(|byte| *byte == b'\n').count() - 1;
        all[..all.len() - third_lines].to_vec()
    };
    for len in [0, 1, first_line / 2, first_line] {
        let cut = tempfile::tempdir().unwrap();
        copy(folder.path(), cut.path());
        fs::write(segment(cut.path(), 3), &third[..len]).unwrap();
        let opened = reopen(cut.path());
        assert_eq!(opened.state, fold(&before));
        let torn = opened.torn.clone().unwrap();
        assert_eq!(torn.bytes, u64::try_from(len).unwrap());
        assert_eq!(torn.file, "00000003.torn-1");
        assert_eq!(
            names(cut.path()),
            ["00000001.jsonl", "00000002.jsonl", "00000003.torn-1"]
        );
        assert_eq!(
            fs::read(&second).unwrap(),
            fs::read(segment(cut.path(), 2)).unwrap()
        );
        let next = opened.tail.0.following();
        write(opened, &[stopped(next, "after the crash")]);
        assert!(verified(cut.path()).is_intact());
    }
}

#[test]
fn a_journal_cut_in_its_very_first_line_begins_anew() {
    let folder = tempfile::tempdir().unwrap();
    let first = reopen(folder.path()).journal;
    let line = fs::read(segment(folder.path(), 1)).unwrap();
    fs::write(segment(folder.path(), 1), &line[..40]).unwrap();
    // It was torn before the lock file knew it.
    fs::remove_file(folder.path().join("lock")).unwrap();
    let opened = reopen(folder.path());
    assert_ne!(opened.journal, first);
    assert_eq!(opened.torn.unwrap().bytes, 40);
    assert_eq!(names(folder.path()), ["00000001.jsonl", "00000001.torn-1"]);
    assert_eq!(lines_on_disk(folder.path()).len(), 1);
}

#[test]
fn what_was_set_aside_before_is_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    drop(reopen(folder.path()));
    for attempt in 1..=3 {
        let mut bytes = fs::read(segment(folder.path(), 1)).unwrap();
        bytes.extend_from_slice(format!("half {attempt}").as_bytes());
        fs::write(segment(folder.path(), 1), bytes).unwrap();
        let torn = reopen(folder.path()).torn.unwrap();
        assert_eq!(torn.file, format!("00000001.torn-{attempt}"));
    }
    for attempt in 1..=3 {
        let path = folder
            .path()
            .join(format!("journal/00000001.torn-{attempt}"));
        assert_eq!(fs::read_to_string(path).unwrap(), format!("half {attempt}"));
    }
    assert_eq!(reopen(folder.path()).tail.0, Seq(1));
}
