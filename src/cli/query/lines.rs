//! Reads the journal line by line.

use crate::cli::progress::Progress;
use crate::cli::{Failure, client};
use crate::config::DaemonConfig;
use crate::entry::line::LineError;
use crate::entry::{JournalId, Seq, Stamped, line};
use crate::journal::{Cursor, JournalError, Line};
use crate::message::reply::Status;
use std::ops::ControlFlow;

const LOOK_AT_IT: &str = "look what is wrong with it: tallyjaw verify";

/// Gives every durable line after entry `after` to `take`, until that breaks off. On a terminal, the progress in a long
/// journal is shown. Returns the last entry given out, or `after`.
pub(in crate::cli) fn each(
    daemon: &DaemonConfig,
    after: Seq,
    mut take: impl FnMut(&Line) -> Result<ControlFlow<()>, Failure>,
) -> Result<Seq, Failure> {
    let unreadable = |error: &JournalError| unreadable(daemon, error);
    let durable = durable_end(daemon);
    let mut cursor = Cursor::new(&daemon.state_dir, after).map_err(|error| unreadable(&error))?;
    let ahead = cursor.bytes_ahead().map_err(|error| unreadable(&error))?;
    let mut progress = Progress::of_bytes("reading the journal", ahead);
    let mut last = after;
    while let Some(line) = cursor
        .next_line(durable)
        .map_err(|error| unreadable(&error))?
    {
        last = line.seq;
        if take(&line)?.is_break() {
            break;
        }
        progress.advance(line.stored_len());
    }
    Ok(last)
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
        last = Some(line.clone());
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
pub(in crate::cli) fn decoded(daemon: &DaemonConfig, line: &Line) -> Result<Stamped, Failure> {
    let (stamped, _) = line::decode(&line.bytes).map_err(|error| not_understood(daemon, &error))?;
    Ok(stamped)
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
    let failure = cannot_be_read(daemon).because(error);
    match error {
        LineError::Newer { .. } | LineError::UnknownKind { .. } => {
            failure.with_remedy("use the release that wrote it, or a newer one")
        }
        LineError::NotAnEntry { .. } | LineError::NotADigest { .. } => {
            failure.with_remedy(LOOK_AT_IT)
        }
    }
}

/// The end that a running daemon reports as durable; without a daemon, the end of the files.
pub(in crate::cli) fn durable_end(daemon: &DaemonConfig) -> Seq {
    let socket = daemon.runtime_dir.join("control.sock");
    client::call_at(&socket, "status", &client::params([]))
        .and_then(|answer| client::read::<Status>(&answer))
        .ok()
        .and_then(|status| status.state.seq)
        .map_or(Cursor::TO_THE_END, Seq)
}
