//! Cursors read byte for byte, from any place, while the thread writes.

use super::bench::{
    Running, lines_on_disk, options, read_all, reopen, segment, shop, stopped, write,
};
use proptest::collection::vec;
use proptest::prelude::*;
use std::fs;
use tallyjaw::entry::{Entry, Segment, Seq, Stamped};
use tallyjaw::journal::{Announcement, Cursor, Line, Options, open};

fn numbered(lines: &[Vec<u8>], from: u64) -> Vec<Line> {
    (from..)
        .zip(lines)
        .map(|(seq, bytes)| Line {
            seq: Seq(seq),
            bytes: bytes.as_slice().into(),
        })
        .collect()
}

#[test]
fn a_cursor_gives_every_line_after_any_entry_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let lines = numbered(&lines_on_disk(folder.path()), 1);
    assert!(lines.len() > 25);
    for after in 0..=lines.len() + 2 {
        let mut cursor = Cursor::new(folder.path(), Seq(u64::try_from(after).unwrap())).unwrap();
        let rest = lines.get(after..).unwrap_or_default();
        assert_eq!(
            read_all(&mut cursor, Cursor::TO_THE_END),
            rest,
            "after {after}"
        );
        assert_eq!(cursor.next_line(Cursor::TO_THE_END).unwrap(), None);
    }
}

/// All lines up to the durable entry, read in blocks of this number of bytes.
fn in_blocks(cursor: &mut Cursor, durable: Seq, bytes: usize) -> Vec<Line> {
    let mut lines = Vec::new();
    while let Some(block) = cursor.next_block(durable, vec![0; bytes]).unwrap() {
        assert!(block.count() > 0);
        let before = lines.len();
        lines.extend(block.lines().map(Line::from));
        assert_eq!(lines.len() - before, block.count());
    }
    lines
}

proptest! {
    #[test]
    fn blocks_are_the_lines_that_a_cursor_gives_whatever_their_size(
        segments in vec(vec(vec(any::<u8>().prop_filter("a line", |byte| *byte != b'\n'), 0..300), 0..30), 1..4),
        unfinished in any::<bool>(),
        after in 0_u64..40,
        first_end in 0_u64..60,
        bytes in 1_usize..3000,
    ) {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("journal")).unwrap();
        for (number, lines) in (1..).zip(&segments) {
            let mut whole: Vec<u8> = lines.iter().flat_map(|line| [line, &b"\n"[..]].concat()).collect();
            if unfinished && usize::try_from(number).unwrap() == segments.len() {
                whole.extend(b"{\"v\":1,\"se");
            }
            fs::write(segment(folder.path(), number), whole).unwrap();
        }
        let mut whole = Cursor::new(folder.path(), Seq(after)).unwrap();
        let mut parted = Cursor::new(folder.path(), Seq(after)).unwrap();
        for durable in [Seq(first_end), Seq(first_end + 1), Cursor::TO_THE_END] {
            prop_assert_eq!(
                in_blocks(&mut parted, durable, bytes),
                read_all(&mut whole, durable)
            );
        }
    }
}

#[test]
fn a_cursor_never_goes_past_the_durable_entry() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let lines = numbered(&lines_on_disk(folder.path()), 1);
    let mut cursor = Cursor::new(folder.path(), Seq(0)).unwrap();
    let mut read = Vec::new();
    for durable in 0..=lines.len() {
        let new = read_all(&mut cursor, Seq(u64::try_from(durable).unwrap()));
        assert_eq!(new.len(), usize::from(durable > 0), "durable {durable}");
        read.extend(new);
    }
    assert_eq!(read, lines);
}

#[test]
fn a_cursor_finds_its_place_in_a_long_segment() {
    let folder = tempfile::tempdir().unwrap();
    let opened = reopen(folder.path());
    let entries: Vec<Stamped> = (2..=4000)
        .map(|seq| stopped(Seq(seq), &"x".repeat(usize::try_from(seq % 400).unwrap())))
        .collect();
    write(opened, &entries);
    let lines = numbered(&lines_on_disk(folder.path()), 1);
    assert!(fs::metadata(segment(folder.path(), 1)).unwrap().len() > 1_000_000);
    for after in (0..lines.len()).step_by(37) {
        let mut cursor = Cursor::new(folder.path(), Seq(u64::try_from(after).unwrap())).unwrap();
        let line = cursor.next_line(Cursor::TO_THE_END).unwrap();
        assert_eq!(line.as_ref(), lines.get(after), "after {after}");
    }
}

#[test]
fn what_stands_past_the_durable_entry_may_change_under_a_cursor() {
    let folder = tempfile::tempdir().unwrap();
    write(
        reopen(folder.path()),
        &[stopped(Seq(2), "a"), stopped(Seq(3), "b")],
    );
    let lines = lines_on_disk(folder.path());
    let path = segment(folder.path(), 1);
    let mut cursor = Cursor::new(folder.path(), Seq(0)).unwrap();
    assert_eq!(read_all(&mut cursor, Seq(2)).len(), 2);
    let kept = lines[0].len() + lines[1].len() + 2;
    let mut bytes = fs::read(&path).unwrap();
    bytes.truncate(kept);
    let other = tallyjaw::entry::line::encode(
        &stopped(Seq(3), "after a full disk"),
        tallyjaw::entry::line::Digest::of(&lines[1]),
    );
    bytes.extend_from_slice(&other);
    bytes.push(b'\n');
    fs::write(&path, bytes).unwrap();
    let read = read_all(&mut cursor, Seq(3));
    assert_eq!(read, numbered(&[other], 3));
}

#[test]
fn cursors_read_what_is_announced_while_the_thread_writes_and_changes_segments() {
    let folder = tempfile::tempdir().unwrap();
    let small = Options {
        segment_bytes_most: 20_000,
        sync: false,
        ..options()
    };
    let opened = open(folder.path(), small).unwrap();
    let mut state = opened.state.clone();
    let running = Running::start(opened);
    let mut eager = Cursor::new(folder.path(), Seq(0)).unwrap();
    let mut read = Vec::new();
    let mut announced = Vec::new();
    let mut last = 1;
    while last < 3000 {
        let batch = last % 7 + 1;
        for _ in 0..batch {
            last += 1;
            let stamped = stopped(Seq(last), &"y".repeat(usize::try_from(last % 50).unwrap()));
            state.apply(&stamped);
            running.handle.append(stamped).unwrap();
        }
        let mut full = false;
        while announced.last().is_none_or(|line: &Line| line.seq.0 < last) {
            match running.next() {
                Announcement::Durable {
                    lines,
                    segment_full,
                    ..
                } => {
                    full |= segment_full;
                    announced.extend(lines.into_iter().map(|line| Line {
                        seq: line.seq,
                        bytes: line.line,
                    }));
                }
                other => panic!("{other:?}"),
            }
            let durable = announced.last().unwrap().seq;
            read.extend(read_all(&mut eager, durable));
            assert_eq!(read.last().unwrap().seq, durable);
        }
        if full {
            last += 1;
            let stamped = Stamped {
                token: None,
                seq: Seq(last),
                at: super::bench::LATER,
                entry: Entry::from(Segment {
                    journal: state.journal.clone().unwrap(),
                    state: Box::new(state.clone()),
                }),
            };
            state.apply(&stamped);
            running.handle.append(stamped).unwrap();
        }
    }
    drop(running);
    assert_eq!(read[1..], announced);
    let lines = lines_on_disk(folder.path());
    assert_eq!(read, numbered(&lines[..read.len()], 1));
    assert!(
        segment(folder.path(), 10).exists(),
        "few segments were made"
    );
}

#[test]
fn old_segments_may_be_taken_away() {
    let folder = tempfile::tempdir().unwrap();
    let live = shop(folder.path());
    let all = numbered(&lines_on_disk(folder.path()), 1);
    let gone = fs::read(segment(folder.path(), 1)).unwrap();
    let gone = gone.split(|byte| *byte == b'\n').count() - 1;
    fs::remove_file(segment(folder.path(), 1)).unwrap();
    let mut cursor = Cursor::new(folder.path(), Seq(0)).unwrap();
    assert_eq!(read_all(&mut cursor, Cursor::TO_THE_END), all[gone..]);
    let opened = reopen(folder.path());
    assert_eq!(opened.state, live);
    assert_eq!(opened.first, all[gone].seq);
}

#[test]
fn a_damaged_line_in_an_old_segment_hides_nothing_behind_it() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let lines = lines_on_disk(folder.path());
    let path = segment(folder.path(), 1);
    for (from, to) in [
        ("\"seq\":5,", "\"seq\":9,"),
        ("\"seq\":5,", "?????"),
        ("\"seq\":1,", "##"),
    ] {
        let text = String::from_utf8(fs::read(&path).unwrap()).unwrap();
        fs::write(&path, text.replacen(from, to, 1)).unwrap();
        for after in 0..lines.len() {
            let seq = Seq(u64::try_from(after).unwrap());
            let mut cursor = Cursor::new(folder.path(), seq).unwrap();
            let read = read_all(&mut cursor, Cursor::TO_THE_END);
            assert_eq!(read.len(), lines.len() - after, "{to}, after {after}");
            assert_eq!(read[0].seq, seq.following());
        }
        fs::write(&path, text).unwrap();
    }
}
