//! A state folder with a journal in it, written by the real thread.

use crate::station::desk::{Desk, plan};
use crossbeam_channel::{Receiver, RecvTimeoutError};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tallyjaw::entry::{Entry, Seq, Stamped, State, Stopped};
use tallyjaw::journal::{
    Announcement, Cursor, DurableLine, Handle, JournalError, Line, Opened, Options, Report, open,
    spawn, verify,
};
use tallyjaw::quantity::WallMicros;
use tallyjaw::spec::Plan;
use tallyjaw::station::{Command, Input};

/// A limit for failing; nothing waits for this long.
const LIMIT: Duration = Duration::from_secs(20);

pub(super) const NOW: WallMicros = WallMicros(1_763_999_999_120_456);

/// A time after everything that a desk enters.
pub(super) const LATER: WallMicros = WallMicros(NOW.0 + 86_400_000_000);

/// A folder in memory where there is one: for hundreds of journals that are about bytes, so that nothing waits for a disk.
pub(super) fn in_memory() -> tempfile::TempDir {
    tempfile::tempdir_in("/dev/shm")
        .or_else(|_| tempfile::tempdir())
        .unwrap()
}

pub(super) fn options() -> Options {
    Options::at(NOW)
}

/// A thread that writes, with its announcements.
pub(super) struct Running {
    pub(super) handle: Handle,
    pub(super) said: Receiver<Announcement>,
}

impl Running {
    pub(super) fn start(opened: Opened) -> Self {
        let (sender, said) = crossbeam_channel::unbounded();
        let handle = spawn(opened.writer, move |announcement| {
            sender.send(announcement).unwrap();
        });
        Self { handle, said }
    }

    pub(super) fn next(&self) -> Announcement {
        match self.said.recv_timeout(LIMIT) {
            Ok(announcement) => announcement,
            Err(RecvTimeoutError::Timeout) => panic!("nothing was announced in {LIMIT:?}"),
            Err(RecvTimeoutError::Disconnected) => panic!("the thread has ended"),
        }
    }

    /// Everything that becomes durable up to `last`.
    pub(super) fn durable_up_to(&self, last: Seq) -> Vec<DurableLine> {
        let mut all: Vec<DurableLine> = Vec::new();
        while all.last().is_none_or(|line| line.seq < last) {
            match self.next() {
                Announcement::Durable { lines, .. } => all.extend(lines),
                other => panic!("{other:?}"),
            }
        }
        all
    }
}

/// Appends to a journal and closes it. Returns the announced lines.
pub(super) fn write(opened: Opened, entries: &[Stamped]) -> Vec<DurableLine> {
    let running = Running::start(opened);
    for stamped in entries {
        running.handle.append(stamped.clone()).unwrap();
    }
    let lines = match entries.last() {
        Some(last) => running.durable_up_to(last.seq),
        None => Vec::new(),
    };
    let closed = running.handle.shutdown().unwrap();
    assert_eq!(closed.entries_lost, 0);
    lines
}

pub(super) fn reopen(state_dir: &Path) -> Opened {
    open(state_dir, options()).unwrap()
}

pub(super) fn reopen_error(state_dir: &Path) -> JournalError {
    match open(state_dir, options()) {
        Ok(opened) => panic!("opened after {:?}", opened.tail),
        Err(error) => error,
    }
}

/// A whole job: two series, a zero that is off, a slip retracted, a bad crimp, segments between.
pub(super) fn job(state: State) -> Desk {
    let mut desk = Desk::going_on(state);
    desk.arm(plan()).unwrap();
    for value in ["+0.00", "+1.63", "+1.61", "+1.72", "2.41", "+9.99"] {
        desk.press(value);
    }
    desk.retract(None).unwrap();
    desk.input(Input::SegmentFull);
    for value in ["+2.39", "?", "2.44", "+0.02", "0.00"] {
        desk.press(value);
    }
    desk.command(Command::Note {
        station: None,
        text: "wiped the jaws: \"µ\"".to_owned(),
    })
    .unwrap();
    desk.arm(Plan {
        pieces: 1,
        ..plan()
    })
    .unwrap();
    desk.input(Input::SegmentFull);
    for value in ["0.00", "1.60", "2.40", "0.00"] {
        desk.press(value);
    }
    desk.command(Command::Disarm { station: None }).ok();
    desk
}

/// Makes a journal with the whole job in three segments. Returns the state after it.
pub(super) fn shop(state_dir: &Path) -> State {
    let opened = reopen(state_dir);
    let desk = job(opened.state.clone());
    write(opened, &desk.entries);
    desk.core.state().clone()
}

pub(super) fn segment(state_dir: &Path, number: u32) -> PathBuf {
    state_dir.join(format!("journal/{number:08}.jsonl"))
}

/// The names in the folder of the journal, in order.
pub(super) fn names(state_dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(state_dir.join("journal"))
        .unwrap()
        .map(|item| item.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Every line of every segment, as a plain read of the files gives them.
pub(super) fn lines_on_disk(state_dir: &Path) -> Vec<Vec<u8>> {
    let mut lines = Vec::new();
    for name in names(state_dir) {
        if Path::new(&name).extension() == Some("jsonl".as_ref()) {
            let bytes = fs::read(state_dir.join("journal").join(name)).unwrap();
            let text = bytes.strip_suffix(b"\n").unwrap();
            lines.extend(text.split(|byte| *byte == b'\n').map(<[u8]>::to_vec));
        }
    }
    lines
}

/// All lines that a cursor returns.
pub(super) fn read_all(cursor: &mut Cursor, durable: Seq) -> Vec<Line> {
    std::iter::from_fn(|| cursor.next_line(durable).unwrap()).collect()
}

pub(super) fn verified(state_dir: &Path) -> Report {
    verify(state_dir, None, |_| {}).unwrap()
}

/// An entry that is valid anywhere.
pub(super) fn stopped(seq: Seq, reason: &str) -> Stamped {
    Stamped {
        token: None,
        seq,
        at: LATER,
        entry: Entry::from(Stopped {
            reason: reason.to_owned(),
        }),
    }
}

/// A few entries of every sort, in two segments.
pub(super) fn small_shop(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on(opened.state.clone());
    desk.arm(Plan {
        pieces: 1,
        axes: plan().axes[..1].to_vec(),
        ..plan()
    })
    .unwrap();
    desk.press("0.00");
    desk.press("1.63");
    desk.press("0.00");
    desk.input(Input::SegmentFull);
    desk.press("1.62");
    desk.press("1.61");
    write(opened, &desk.entries);
}

/// Copies a state folder, so that each of many cuts begins with the same files.
pub(super) fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to.join("journal")).unwrap();
    for name in names(from) {
        let name = Path::new("journal").join(name);
        fs::copy(from.join(&name), to.join(&name)).unwrap();
    }
}
