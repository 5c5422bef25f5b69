//! Reads the journal line by line, on all processors if that is worth it.

use crate::cli::progress::Progress;
use crate::cli::{Failure, bench};
use crate::config::DaemonConfig;
use crate::entry::line::{LineError, NEWER_REMEDY};
use crate::entry::{JournalId, Seq, Stamped, line};
use crate::journal::{Block, Cursor, JournalError, Line, StoredLine};
use crate::workers::Workers;
use std::cell::RefCell;
use std::ops::ControlFlow;

const LOOK_AT_IT: &str = "find out what is wrong with it: tallyjaw verify";

/// Gives every durable line after entry `after` to `take`, until that breaks off. On a terminal, the progress in a long
/// journal is shown. Returns the last entry that was given, or `after`.
pub(in crate::cli) fn each(
    daemon: &DaemonConfig,
    after: Seq,
    mut take: impl FnMut(StoredLine<'_>) -> Result<ControlFlow<()>, Failure>,
) -> Result<Seq, Failure> {
    let work = |_: &[u8]| ();
    walk(daemon, after, Workers::ONE, work, |line, ()| take(line))
}

/// As [`each`], with `work` done on the lines by all processors. `take` gets each line in order, with the result of
/// `work`, so the outcome is the same on any machine. `work` is done ahead: it may see lines that `take` never gets.
pub(in crate::cli) fn each_with<W: Send>(
    daemon: &DaemonConfig,
    after: Seq,
    work: impl Fn(&[u8]) -> W + Sync,
    take: impl FnMut(StoredLine<'_>, W) -> Result<ControlFlow<()>, Failure>,
) -> Result<Seq, Failure> {
    walk(daemon, after, Workers::of_machine(), work, take)
}

fn walk<W: Send>(
    daemon: &DaemonConfig,
    after: Seq,
    workers: Workers,
    work: impl Fn(&[u8]) -> W + Sync,
    mut take: impl FnMut(StoredLine<'_>, W) -> Result<ControlFlow<()>, Failure>,
) -> Result<Seq, Failure> {
    let failed = |error: JournalError| unreadable(daemon, &error);
    let durable = durable_end(daemon);
    let mut cursor = Cursor::new(&daemon.state_dir, after).map_err(failed)?;
    let ahead = cursor.bytes_ahead().map_err(failed)?;
    let next = |buffer| cursor.next_block(durable, buffer);
    let mut last = after;
    each_block(daemon, ahead, workers, next, work, |line, done| {
        last = line.seq;
        take(line, done)
    })?;
    Ok(last)
}

/// Gives every line of the blocks that `next` reads to `take`, as [`each_with`] does. `next` gets memory to read into;
/// `ahead` is the number of bytes that it will read, for the progress.
pub(super) fn each_block<W: Send>(
    daemon: &DaemonConfig,
    ahead: u64,
    workers: Workers,
    mut next: impl FnMut(Vec<u8>) -> Result<Option<Block>, JournalError>,
    work: impl Fn(&[u8]) -> W + Sync,
    mut take: impl FnMut(StoredLine<'_>, W) -> Result<ControlFlow<()>, Failure>,
) -> Result<(), Failure> {
    let unreadable = |error: &JournalError| unreadable(daemon, error);
    let mut progress = Progress::of_bytes("reading the journal", ahead);
    let spare = RefCell::new(Vec::new());
    let next = || {
        let mut buffer: Vec<u8> = spare.borrow_mut().pop().unwrap_or_default();
        buffer.resize(workers.block_bytes, 0);
        next(buffer).transpose()
    };
    let work = |block: Result<Block, JournalError>| {
        block.map(|block| {
            let done: Vec<W> = block.lines().map(|line| work(line.bytes)).collect();
            (block, done)
        })
    };
    workers.in_order(next, work, |block: Result<_, JournalError>| {
        let (block, done) = block.map_err(|error| unreadable(&error))?;
        for (line, done) in block.lines().zip(done) {
            if take(line, done)?.is_break() {
                return Ok::<_, Failure>(ControlFlow::Break(()));
            }
        }
        progress.advance(block.stored_len());
        spare.borrow_mut().push(block.into_buffer());
        Ok(ControlFlow::Continue(()))
    })
}

/// Number of the last durable entry; 0 if there is none.
pub(in crate::cli) fn last(daemon: &DaemonConfig) -> Result<Seq, Failure> {
    Ok(last_line(daemon)?.map_or(Seq(0), |line| line.seq))
}

/// The last durable line; `None` if there is none.
pub(in crate::cli) fn last_line(daemon: &DaemonConfig) -> Result<Option<Line>, Failure> {
    let newest = Cursor::before_the_newest_segment(&daemon.state_dir);
    let before = newest.map_err(|error| unreadable(daemon, &error))?;
    let mut last = None;
    each(daemon, before, |line| {
        last = Some(Line::from(line));
        Ok(ControlFlow::Continue(()))
    })?;
    Ok(last)
}

/// Identity of the journal, from its first line.
pub(in crate::cli) fn journal(daemon: &DaemonConfig) -> Result<JournalId, Failure> {
    let mut name = None;
    each(daemon, Seq(0), |line| {
        name = decoded(daemon, line)?.entry.opens().cloned();
        Ok(ControlFlow::Break(()))
    })?;
    name.ok_or_else(|| {
        Failure::usage(format!(
            "the journal in {} has no entry yet",
            daemon.state_dir.display()
        ))
        .with_remedy("start the daemon, which begins it: tallyjaw serve")
    })
}

/// The entry in a line.
pub(in crate::cli) fn decoded(
    daemon: &DaemonConfig,
    line: StoredLine<'_>,
) -> Result<Stamped, Failure> {
    let (stamped, _) = understood(daemon, line::decode(line.bytes))?;
    Ok(stamped)
}

/// The entry in a line that was decoded elsewhere.
pub(in crate::cli) fn understood<T>(
    daemon: &DaemonConfig,
    decoded: Result<T, LineError>,
) -> Result<T, Failure> {
    decoded.map_err(|error| not_understood(daemon, &error))
}

/// The failure if the journal cannot be read.
pub(in crate::cli) fn unreadable(daemon: &DaemonConfig, error: &JournalError) -> Failure {
    let remedy = error.remedy();
    cannot_be_read(daemon)
        .because(error)
        .with_remedy(remedy.as_deref().unwrap_or(LOOK_AT_IT))
}

fn cannot_be_read(daemon: &DaemonConfig) -> Failure {
    let folder = daemon.state_dir.display();
    Failure::io(format!("the journal in {folder} cannot be read"))
}

/// The failure for an entry that cannot be read: this release is too old, or the entry is damaged.
fn not_understood(daemon: &DaemonConfig, error: &LineError) -> Failure {
    let remedy = if error.is_newer() {
        NEWER_REMEDY
    } else {
        LOOK_AT_IT
    };
    cannot_be_read(daemon).because(error).with_remedy(remedy)
}

/// The end that a running daemon reports as durable; without a daemon, the end of the files.
pub(in crate::cli) fn durable_end(daemon: &DaemonConfig) -> Seq {
    bench::durable_end(daemon).unwrap_or(Cursor::TO_THE_END)
}
