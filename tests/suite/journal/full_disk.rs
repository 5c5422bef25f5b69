//! A full disk: a small file system in memory, if this user may mount one.

use super::bench::{LATER, NOW, Running, lines_on_disk, options, reopen, stopped, verified};
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use tallyjaw::entry::{Entry, Gap, Segment, Seq, Stamped};
use tallyjaw::journal::{Announcement, open};

/// A mounted file system of 256 KiB; unmounted when dropped.
struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    fn mount() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=256k,mode=0700", "tallyjaw-test"])
            .arg(folder.path())
            .output();
        match mounted {
            Ok(output) if output.status.success() => Some(Self(folder)),
            other => {
                // printed past the test harness, which hides the output of tests that pass
                let said = "SKIPPED: no small disk could be mounted, root is needed";
                writeln!(std::io::stderr(), "{said}: {other:?}").unwrap();
                None
            }
        }
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    /// Fills the disk except for `left` bytes.
    fn fill(&self, left: u64) {
        let text = Command::new("stat")
            .args(["-f", "-c", "%f %S"])
            .arg(self.path())
            .output();
        let text = String::from_utf8(text.unwrap().stdout).unwrap();
        let (blocks, size) = text.trim().split_once(' ').unwrap();
        let free = blocks.parse::<u64>().unwrap() * size.parse::<u64>().unwrap();
        let ballast = vec![0; usize::try_from(free - left).unwrap()];
        fs::write(self.path().join("ballast"), ballast).unwrap();
    }

    fn make_room(&self) {
        fs::remove_file(self.path().join("ballast")).unwrap();
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Lazily: a process that another test starts just now holds our open files until its exec.
        let unmounted = Command::new("umount").arg("-l").arg(self.0.path()).status();
        assert!(unmounted.unwrap().success());
    }
}

/// Appends entries of 500 bytes until the disk is full. Returns the number of the first lost entry.
fn fill_up(running: &Running, from: u64) -> Seq {
    let mut seq = from;
    loop {
        running
            .handle
            .append(stopped(Seq(seq), &"x".repeat(500)))
            .unwrap();
        match running.next() {
            Announcement::Durable { lines, .. } => {
                assert_eq!(lines.last().unwrap().seq, Seq(seq));
                seq += 1;
            }
            Announcement::Full {
                error,
                first_lost,
                entries_lost,
            } => {
                assert_eq!((first_lost, entries_lost), (Seq(seq), 1));
                assert!(error.contains("No space left on device"), "{error}");
                return first_lost;
            }
            other => panic!("{other:?}"),
        }
        assert!(seq < 2000, "the disk is never full");
    }
}

fn gap(seq: Seq, frames: u64) -> Stamped {
    Stamped {
        token: None,
        seq,
        at: LATER,
        entry: Entry::from(Gap {
            since: NOW,
            frames,
            reason: "the disk was full".to_owned(),
        }),
    }
}

#[test]
fn a_full_disk_loses_nothing_that_was_announced_and_the_journal_goes_on_when_there_is_room() {
    let Some(disk) = SmallDisk::mount() else {
        return;
    };
    let opened = reopen(disk.path());
    disk.fill(20_000);
    let running = Running::start(opened);
    let first_lost = fill_up(&running, 2);
    let lines = lines_on_disk(disk.path());
    assert_eq!(
        u64::try_from(lines.len()).unwrap(),
        first_lost.0 - 1,
        "the half line is gone"
    );

    // Entries that come meanwhile are discarded and counted.
    for _ in 0..3 {
        let lost = stopped(first_lost.following(), "lost");
        running.handle.append(lost).unwrap();
    }
    // Too early: the disk is still full.
    running.handle.resume().unwrap();
    match running.next() {
        Announcement::Resumed { entries_lost } => assert_eq!(entries_lost, 4),
        other => panic!("{other:?}"),
    }
    let large = stopped(first_lost, &"y".repeat(30_000));
    running.handle.append(large).unwrap();
    match running.next() {
        Announcement::Full { entries_lost, .. } => assert_eq!(entries_lost, 5),
        other => panic!("{other:?}"),
    }

    disk.make_room();
    running.handle.resume().unwrap();
    assert!(matches!(
        running.next(),
        Announcement::Resumed { entries_lost: 5 }
    ));
    running.handle.append(gap(first_lost, 5)).unwrap();
    assert_eq!(running.durable_up_to(first_lost).len(), 1);
    let closed = running.handle.shutdown().unwrap();
    assert_eq!((closed.last, closed.entries_lost), (Some(first_lost), 5));
    assert!(verified(disk.path()).is_intact());
    assert_eq!(reopen(disk.path()).tail.0, first_lost);
}

#[test]
fn a_segment_for_which_there_is_no_room_leaves_no_trace() {
    let Some(disk) = SmallDisk::mount() else {
        return;
    };
    let opened = open(disk.path(), options()).unwrap();
    let state = opened.state.clone();
    let journal = opened.journal.clone();
    disk.fill(0);
    let running = Running::start(opened);
    let segment = Stamped {
        token: None,
        seq: Seq(2),
        at: LATER,
        entry: Entry::from(Segment {
            journal,
            state: Box::new(state),
        }),
    };
    running.handle.append(segment.clone()).unwrap();
    assert!(matches!(
        running.next(),
        Announcement::Full {
            first_lost: Seq(2),
            ..
        }
    ));
    assert_eq!(super::bench::names(disk.path()), ["00000001.jsonl"]);
    disk.make_room();
    running.handle.resume().unwrap();
    assert!(matches!(running.next(), Announcement::Resumed { .. }));
    running.handle.append(segment).unwrap();
    running.durable_up_to(Seq(2));
    drop(running);
    assert_eq!(super::bench::names(disk.path()).len(), 2);
    assert!(verified(disk.path()).is_intact());
}
