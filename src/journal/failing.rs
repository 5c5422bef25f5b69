//! Tests of the writer and its thread on a disk that fails at a given step.

use super::dir::Dir;
use super::writer::{Manner, Position};
use super::{
    Announcement, JOURNAL_FOLDER, JournalError, NotTaken, Options, SegmentNumber, Storage, Writer,
    open, spawn, verify,
};
use crate::entry::line::Digest;
use crate::entry::{
    Begun, Entry, JournalEntry, JournalId, Segment, Seq, Stamped, State, Stopped, strategies,
};
use crate::quantity::WallMicros;
use proptest::prelude::*;
use std::collections::VecDeque;
use std::fs::{self, File};
use std::io;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

const NO_ROOM: i32 = 28; // ENOSPC
const IO_ERROR: i32 = 5; // EIO

/// An operation of [`Storage`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Create,
    Write,
    Sync,
    Cut,
    SyncDir,
    Remove,
}

/// The operation, how many times it still succeeds, and the error after that.
type Fails = (Step, usize, i32);

/// The real disk, with failures where a test wants them.
struct Failing {
    real: Dir,
    fails: Vec<Fails>,
    /// Maximum number of bytes in one write.
    write_most: usize,
    syncs: Arc<AtomicUsize>,
}

impl Failing {
    fn step(&mut self, step: Step) -> io::Result<()> {
        for (at, left, error) in &mut self.fails {
            if *at == step {
                match left.checked_sub(1) {
                    Some(fewer) => *left = fewer,
                    None => return Err(io::Error::from_raw_os_error(*error)),
                }
            }
        }
        Ok(())
    }
}

impl Storage for Failing {
    type File = File;

    fn create(&mut self, number: SegmentNumber) -> io::Result<File> {
        self.step(Step::Create)?;
        self.real.create(number)
    }

    fn write(&mut self, file: &mut File, bytes: &[u8]) -> io::Result<usize> {
        self.step(Step::Write)?;
        let most = bytes.len().min(self.write_most);
        self.real.write(file, &bytes[..most])
    }

    fn sync_data(&mut self, file: &mut File) -> io::Result<()> {
        self.step(Step::Sync)?;
        self.syncs.fetch_add(1, Ordering::SeqCst);
        self.real.sync_data(file)
    }

    fn cut(&mut self, file: &mut File, len: u64) -> io::Result<()> {
        self.step(Step::Cut)?;
        self.real.cut(file, len)
    }

    fn sync_dir(&mut self) -> io::Result<()> {
        self.step(Step::SyncDir)?;
        self.real.sync_dir()
    }

    fn remove(&mut self, number: SegmentNumber) -> io::Result<()> {
        self.step(Step::Remove)?;
        self.real.remove(number)
    }
}

fn stamped(seq: u64, entry: Entry) -> Stamped {
    Stamped {
        token: None,
        seq: Seq(seq),
        at: WallMicros(0),
        entry,
    }
}

fn begun() -> Stamped {
    let journal = JournalId("0".repeat(32));
    stamped(1, Entry::from(Begun { journal }))
}

fn stopped(seq: u64) -> Stamped {
    let reason = "x".repeat(100);
    stamped(
        seq,
        Entry::Journal(JournalEntry::Stopped(Stopped { reason })),
    )
}

fn segment(seq: u64) -> Stamped {
    let journal = JournalId("0".repeat(32));
    let mut state = State::default();
    state.apply(&begun());
    state.last = Some(Seq(seq - 1));
    stamped(
        seq,
        Entry::Journal(JournalEntry::Segment(Segment {
            journal,
            state: Box::new(state),
        })),
    )
}

/// A journal with entries 1 to 3, on a disk that may fail from then on.
fn writer(state_dir: &Path, fails: &[Fails]) -> Writer<Failing> {
    let storage = Failing {
        real: Dir::open_or_make(&state_dir.join(JOURNAL_FOLDER)).unwrap(),
        fails: Vec::new(),
        write_most: usize::MAX,
        syncs: Arc::default(),
    };
    let position = Position {
        segment: SegmentNumber::NONE,
        segment_bytes: 0,
        opening_bytes: 0,
        last: None,
        prev: Digest::NONE,
    };
    let manner = Manner {
        sync: true,
        segment_bytes_most: u64::MAX,
    };
    let mut writer = Writer::new(storage, None, position, manner, None);
    append(&mut writer, vec![begun(), stopped(2), stopped(3)]).unwrap();
    writer.storage_mut().fails = fails.to_vec();
    writer
}

fn append(writer: &mut Writer<Failing>, entries: Vec<Stamped>) -> Result<Seq, JournalError> {
    let mut waiting = VecDeque::from(entries);
    let lines = writer.append(&mut waiting)?;
    assert!(waiting.is_empty());
    Ok(lines.last().unwrap().seq)
}

fn size(state_dir: &Path) -> u64 {
    let path = state_dir.join("journal/00000001.jsonl");
    fs::metadata(path).unwrap().len()
}

#[test]
fn a_short_write_is_gone_on_with() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path(), &[]);
    writer.storage_mut().write_most = 7;
    assert_eq!(
        append(&mut writer, vec![stopped(4), stopped(5)]).unwrap(),
        Seq(5)
    );
    let report = verify(folder.path(), None, |_| {}).unwrap();
    assert!(report.is_intact() && report.entries == 5, "{report:?}");
}

#[test]
fn a_failed_write_or_sync_poisons_for_good() {
    let cases: [(&[Fails], &str); 4] = [
        (&[(Step::Write, 0, IO_ERROR)], "cannot write entry 4"),
        (&[(Step::Sync, 0, IO_ERROR)], "cannot make entry 4 durable"),
        (&[(Step::Sync, 0, NO_ROOM)], "cannot make entry 4 durable"),
        (
            &[(Step::Write, 0, NO_ROOM), (Step::Cut, 0, IO_ERROR)],
            "cannot make entry 4 durable",
        ),
    ];
    for (fails, said) in cases {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = writer(folder.path(), fails);
        let error = append(&mut writer, vec![stopped(4), stopped(5)]).unwrap_err();
        assert!(error.to_string().starts_with(said), "{fails:?}: {error}");
        writer.storage_mut().fails.clear(); // The disk works again, but an earlier success cannot be trusted.
        for _ in 0..2 {
            let error = append(&mut writer, vec![stopped(4)]).unwrap_err();
            let poisoned = matches!(error, JournalError::Poisoned { first: Seq(4) });
            assert!(poisoned, "{fails:?}: {error}");
        }
    }
}

#[test]
fn a_failure_while_a_segment_is_made_poisons_and_the_journal_still_opens() {
    for step in [Step::Create, Step::Write, Step::Sync, Step::SyncDir] {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = writer(folder.path(), &[(step, 0, IO_ERROR)]);
        append(&mut writer, vec![segment(4), stopped(5)]).unwrap_err();
        let error = append(&mut writer, vec![segment(4)]).unwrap_err();
        assert!(
            matches!(error, JournalError::Poisoned { .. }),
            "{step:?}: {error}"
        );
        drop(writer);
        let opened = open(folder.path(), Options::at(WallMicros(0))).unwrap();
        // Data that reached the disk without being announced may be there; earlier data is not lost.
        assert!(
            [Seq(3), Seq(5)].contains(&opened.tail.0),
            "{step:?}: {:?}",
            opened.tail
        );
    }
}

#[test]
fn without_room_the_half_line_is_cut_off_and_the_same_entry_can_be_tried_again() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path(), &[(Step::Write, 1, NO_ROOM)]);
    writer.storage_mut().write_most = 50; // Half of the line fits, then the disk is full.
    let before = size(folder.path());
    let error = append(&mut writer, vec![stopped(4)]).unwrap_err();
    assert!(
        matches!(error, JournalError::Full { seq: Seq(4), .. }),
        "{error}"
    );
    assert_eq!(size(folder.path()), before);
    writer.storage_mut().fails.clear();
    assert_eq!(append(&mut writer, vec![stopped(4)]).unwrap(), Seq(4));
    assert!(verify(folder.path(), None, |_| {}).unwrap().is_intact());
}

#[test]
fn without_room_for_a_segment_the_one_before_goes_on() {
    for step in [Step::Create, Step::Write] {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = writer(folder.path(), &[(step, 0, NO_ROOM)]);
        let error = append(&mut writer, vec![segment(4)]).unwrap_err();
        assert!(
            matches!(error, JournalError::Full { .. }),
            "{step:?}: {error}"
        );
        writer.storage_mut().fails.clear();
        append(&mut writer, vec![stopped(4)]).unwrap();
        append(&mut writer, vec![segment(5), stopped(6)]).unwrap();
        let report = verify(folder.path(), None, |_| {}).unwrap();
        assert!(
            report.is_intact() && report.segments == 2,
            "{step:?}: {report:?}"
        );
    }
    let folder = tempfile::tempdir().unwrap();
    let fails = [(Step::Write, 0, NO_ROOM), (Step::Remove, 0, IO_ERROR)];
    let mut writer = writer(folder.path(), &fails);
    append(&mut writer, vec![segment(4)]).unwrap_err();
    let error = append(&mut writer, vec![stopped(4)]).unwrap_err();
    assert!(matches!(error, JournalError::Poisoned { .. }), "{error}");
}

#[test]
fn the_thread_says_once_that_it_has_failed_and_what_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let writer = writer(folder.path(), &[(Step::Sync, 1, IO_ERROR)]);
    let (sender, said) = crossbeam_channel::unbounded();
    let handle = spawn(writer, move |announcement| {
        sender.send(announcement).unwrap();
    });
    handle.append(stopped(4)).unwrap();
    assert!(matches!(said.recv().unwrap(), Announcement::Durable { .. }));
    handle.append(stopped(5)).unwrap();
    match said.recv().unwrap() {
        Announcement::Failed {
            error,
            first_lost,
            entries_lost,
        } => {
            assert_eq!(
                error,
                "cannot make entry 5 durable: Input/output error (os error 5)"
            );
            assert_eq!((first_lost, entries_lost), (Seq(5), 1));
        }
        other @ (Announcement::Durable { .. }
        | Announcement::Full { .. }
        | Announcement::Resumed { .. }) => panic!("{other:?}"),
    }
    assert!(matches!(
        handle.append(stopped(6)),
        Err(NotTaken::Failed { first: Seq(5) })
    ));
    let closed = handle.shutdown().unwrap();
    assert_eq!((closed.last, closed.entries_lost), (Some(Seq(4)), 1));
    assert!(said.recv().is_err(), "nothing is announced after a failure");
}

#[test]
fn entries_that_wait_are_synced_together() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = writer(folder.path(), &[]);
    let syncs = Arc::clone(&writer.storage_mut().syncs);
    let before = syncs.load(Ordering::SeqCst);
    append(&mut writer, (4..104).map(stopped).collect()).unwrap();
    assert_eq!(syncs.load(Ordering::SeqCst), before + 1);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any entries in batches of any size, with new segments at any place.
    #[test]
    fn what_is_written_amounts_to_the_same_when_it_is_read(
        batches in proptest::collection::vec(
            proptest::collection::vec(strategies::inner_entry(), 1..6), 1..6
        )
    ) {
        let folder = tempfile::tempdir().unwrap();
        let options = Options { sync: false, ..Options::at(WallMicros(0)) };
        let mut opened = open(folder.path(), options).unwrap();
        let mut state = opened.state.clone();
        for batch in batches {
            let journal = opened.journal.clone();
            let opens = Entry::from(Segment { journal, state: Box::new(state.clone()) });
            let mut waiting = VecDeque::new();
            for entry in std::iter::once(opens).chain(batch) {
                let next = stamped(state.last.unwrap().0 + 1, entry);
                state.apply(&next);
                waiting.push_back(next);
            }
            opened.writer.append(&mut waiting).unwrap();
            prop_assert!(waiting.is_empty());
        }
        drop(opened);
        let again = open(folder.path(), options).unwrap();
        prop_assert_eq!(again.state, state);
    }
}
