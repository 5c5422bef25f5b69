//! Appending: order, group commit, segments, the thread's end.

use super::bench::{
    LATER, NOW, Running, job, lines_on_disk, names, options, reopen, shop, stopped, verified, write,
};
use std::collections::BTreeSet;
use std::os::unix::fs::PermissionsExt as _;
use tallyjaw::entry::line::{Digest, decode};
use tallyjaw::entry::{Begun, Entry, Segment, Seq, Stamped};
use tallyjaw::journal::{Announcement, NotTaken, Options, open};

#[test]
fn a_new_journal_begins_with_its_name_and_goes_on_from_there() {
    let folder = tempfile::tempdir().unwrap();
    let state_dir = folder.path().join("state");
    let opened = reopen(&state_dir);
    assert_eq!(opened.journal.0.len(), 32);
    assert_eq!((opened.first, opened.tail.0), (Seq(1), Seq(1)));
    assert_eq!(opened.state.last, Some(Seq(1)));
    for made in [&state_dir, &state_dir.join("journal")] {
        let mode = std::fs::metadata(made).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o700, "{}", made.display());
    }
    let journal = opened.journal.clone();
    drop(opened);
    let again = reopen(&state_dir);
    assert_eq!(again.journal, journal);
    let lines = lines_on_disk(&state_dir);
    assert_eq!(lines.len(), 1);
    assert_eq!(again.tail, (Seq(1), Digest::of(&lines[0])));
    let begun = Stamped {
        token: None,
        seq: Seq(1),
        at: NOW,
        entry: Entry::from(Begun { journal }),
    };
    assert_eq!(decode(&lines[0]).unwrap(), (begun, Digest::NONE));
}

#[test]
fn what_is_announced_is_what_was_appended_and_what_is_on_disk() {
    let folder = tempfile::tempdir().unwrap();
    let opened = reopen(folder.path());
    let desk = job(opened.state.clone());
    let announced = write(opened, &desk.entries);
    let entries: Vec<Stamped> = announced
        .iter()
        .map(|line| (*line.stamped).clone())
        .collect();
    assert_eq!(entries, desk.entries);
    let on_disk = lines_on_disk(folder.path());
    let lines: Vec<Vec<u8>> = announced.iter().map(|line| line.line.to_vec()).collect();
    assert_eq!(lines, on_disk[1..]);
    assert_eq!(
        names(folder.path()),
        ["00000001.jsonl", "00000002.jsonl", "00000003.jsonl"]
    );
    assert!(verified(folder.path()).is_intact());
}

#[test]
fn what_waits_while_the_disk_is_busy_becomes_durable_together() {
    let folder = tempfile::tempdir().unwrap();
    let opened = reopen(folder.path());
    let (sender, said) = crossbeam_channel::unbounded();
    let (open_gate, gate) = crossbeam_channel::bounded::<()>(0);
    let handle = tallyjaw::journal::spawn(opened.writer, move |announcement| {
        sender.send(announcement).unwrap();
        gate.recv().ok(); // the thread is held until the test has appended everything
    });
    let room = handle.room();
    for seq in 2..=501 {
        handle.append(stopped(Seq(seq), "x")).unwrap();
    }
    drop(open_gate);
    assert_eq!(handle.shutdown().unwrap().last, Some(Seq(501)));
    let batches: Vec<usize> = said
        .iter()
        .map(|announcement| match announcement {
            Announcement::Durable { lines, .. } => lines.len(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert!(room >= 1000, "room for {room}");
    assert_eq!(batches.iter().sum::<usize>(), 500);
    assert!(
        batches.len() <= 3,
        "{} syncs for 500 entries: {batches:?}",
        batches.len()
    );
}

#[test]
fn a_full_channel_gives_the_entry_back() {
    let folder = tempfile::tempdir().unwrap();
    let opened = reopen(folder.path());
    let (open_gate, gate) = crossbeam_channel::bounded::<()>(0);
    let (announced, hears) = crossbeam_channel::unbounded();
    let handle = tallyjaw::journal::spawn(opened.writer, move |_| {
        announced.send(()).unwrap();
        gate.recv().ok();
    });
    handle.append(stopped(Seq(2), "x")).unwrap();
    hears.recv().unwrap(); // the thread now stands at the gate
    let mut taken = 0;
    let refused = loop {
        match handle.try_append(stopped(Seq(3 + taken), "x")) {
            Ok(()) => taken += 1,
            Err(refused) => break refused,
        }
    };
    assert_eq!(taken, 1024);
    assert_eq!(handle.room(), 0);
    match refused {
        NotTaken::NoRoom(stamped) => assert_eq!(stamped.seq, Seq(3 + taken)),
        other => panic!("{other}"),
    }
    drop(open_gate);
    assert_eq!(handle.shutdown().unwrap().last, Some(Seq(2 + taken)));
}

#[test]
fn a_full_segment_is_said_once_and_the_next_entry_of_its_kind_opens_the_next() {
    let folder = tempfile::tempdir().unwrap();
    let small = Options {
        segment_bytes_most: 1000,
        ..options()
    };
    let opened = open(folder.path(), small).unwrap();
    let mut state = opened.state.clone();
    let running = Running::start(opened);
    let mut said_full = Vec::new();
    for seq in 2..=20 {
        let stamped = match said_full.as_slice() {
            [.., (at, _)] if *at == seq - 1 => Stamped {
                token: None,
                seq: Seq(seq),
                at: LATER,
                entry: Entry::from(Segment {
                    journal: state.journal.clone().unwrap(),
                    state: Box::new(state.clone()),
                }),
            },
            _ => stopped(Seq(seq), "x"),
        };
        state.apply(&stamped);
        running.handle.append(stamped).unwrap();
        match running.next() {
            Announcement::Durable {
                segment_bytes,
                segment_full,
                ..
            } => {
                if segment_full {
                    said_full.push((seq, segment_bytes));
                }
            }
            other => panic!("{other:?}"),
        }
    }
    drop(running);
    assert!(said_full.len() >= 2, "{said_full:?}");
    assert!(said_full.iter().all(|(_, bytes)| *bytes >= 1000));
    assert_eq!(names(folder.path()).len(), said_full.len() + 1);
    assert_eq!(reopen(folder.path()).state, state);
    assert!(verified(folder.path()).is_intact());
}

#[test]
fn a_state_longer_than_a_segment_does_not_fill_one_segment_after_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let tiny = || Options {
        segment_bytes_most: 10,
        ..options()
    };
    let opened = open(folder.path(), tiny()).unwrap();
    let mut state = opened.state.clone();
    let mut running = Running::start(opened);
    let mut full = false;
    let mut segments = 1;
    for seq in 2..=60 {
        let stamped = if full {
            segments += 1;
            Stamped {
                token: None,
                seq: Seq(seq),
                at: LATER,
                entry: Entry::from(Segment {
                    journal: state.journal.clone().unwrap(),
                    state: Box::new(state.clone()),
                }),
            }
        } else {
            stopped(Seq(seq), "x")
        };
        let opens = full;
        state.apply(&stamped);
        running.handle.append(stamped).unwrap();
        match running.next() {
            Announcement::Durable { segment_full, .. } => full = segment_full,
            other => panic!("{other:?}"),
        }
        assert!(!(opens && full), "entry {seq} opens a segment and fills it");
        if seq == 40 {
            // How long the opening line is, is known after a restart too.
            drop(running);
            running = Running::start(open(folder.path(), tiny()).unwrap());
            full = false;
        }
    }
    drop(running);
    assert!(segments > 2);
    assert_eq!(names(folder.path()).len(), segments);
    assert_eq!(reopen(folder.path()).state, state);
}

#[test]
fn an_entry_out_of_order_is_refused_and_nothing_is_announced_any_more() {
    let folder = tempfile::tempdir().unwrap();
    let running = Running::start(reopen(folder.path()));
    running.handle.append(stopped(Seq(3), "too early")).unwrap();
    match running.next() {
        Announcement::Failed {
            error,
            first_lost,
            entries_lost,
        } => {
            assert_eq!(error, "got entry 3, want 2");
            assert_eq!((first_lost, entries_lost), (Seq(2), 1));
        }
        other => panic!("{other:?}"),
    }
    let refused = running.handle.append(stopped(Seq(2), "late"));
    assert!(
        matches!(refused, Err(NotTaken::Failed { first: Seq(2) })),
        "{refused:?}"
    );
    assert_eq!(running.handle.shutdown().unwrap().entries_lost, 1);
    assert_eq!(lines_on_disk(folder.path()).len(), 1);
}

#[test]
fn a_restart_amounts_to_the_live_state() {
    let folder = tempfile::tempdir().unwrap();
    let live = shop(folder.path());
    let opened = reopen(folder.path());
    assert_eq!(opened.state, live);
    assert_eq!(Some(opened.tail.0), live.last);
    assert_eq!(opened.torn, None);
    let kinds: BTreeSet<String> = lines_on_disk(folder.path())
        .iter()
        .map(|line| decode(line).unwrap().0.entry.kind().to_owned())
        .collect();
    for kind in [
        "armed",
        "zeroed",
        "reading",
        "unread",
        "doubted",
        "retracted",
        "completed",
        "segment",
    ] {
        assert!(kinds.contains(kind), "the job has no {kind}: {kinds:?}");
    }
}
