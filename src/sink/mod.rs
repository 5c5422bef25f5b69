//! Sinks: they read the journal, each with its own cursor, and send entries elsewhere.
//!
//! In: durable lines in order, each once. Out: the output of the sink. A sink that fails is tried again from the end of
//! its output. The journal does not wait for it.
#![expect(clippy::disallowed_methods, reason = "edge: sinks write files")]

pub(crate) mod announce;
pub(crate) mod attempts;
pub(crate) mod cursor;
pub(crate) mod data_set;
pub(crate) mod log;
pub(crate) mod mqtt;
pub(crate) mod outlet;
pub(crate) mod postgres;
pub(crate) mod timestamp;
pub(crate) mod webhook;

use crate::config::DataSetConfig;
use crate::durable::{Failed, failed, make_folder};
use crate::entry::{JournalId, Seq, Stamped};
use crate::journal::{Follow, JournalError, Line, Witness, blocking};
use crate::quantity::WallMicros;
use crate::signing::KeyError;
use attempts::{Attempts, Tell};
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

#[derive(Debug)]
pub(crate) struct SinkKind {
    /// Name for messages, and for `kind` in the configuration.
    pub name: &'static str,
    /// Opens the sink at the end of its output.
    pub open: fn(&SinkContext) -> Result<Box<dyn Sink>, SinkError>,
}

/// The data set if it is configured, otherwise the verdict log, which always exists. Outlets ([`outlet`]) and
/// authorities ([`timestamp`]) are apart, because they wait for answers.
pub(crate) fn kind(data_set: Option<&DataSetConfig>) -> &'static SinkKind {
    match data_set {
        None => &log::VERDICT_LOG,
        Some(_) => &data_set::DATA_SET,
    }
}

/// The journal of a sink, and its settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SinkContext {
    /// Folder that contains the journal and the log.
    pub state_dir: PathBuf,
    /// Identity of the journal.
    pub journal: String,
    /// Name of the sink.
    pub name: String,
    /// Settings of a data set; `None` for other kinds.
    pub data_set: Option<DataSetConfig>,
}

/// An open sink.
pub(crate) trait Sink: Send {
    /// The last entry that the sink has taken.
    fn after(&self) -> Seq;

    /// Takes the entries that follow.
    fn take(&mut self, entries: &[Stamped]) -> Result<(), SinkError>;

    /// The last entry that was delivered. It is behind [`Sink::after`] in a sink that collects entries.
    fn arrived(&self) -> Seq {
        self.after()
    }

    /// Time after which [`Sink::settle`] must be called even without new entries; `None` if that is not needed.
    fn due(&self) -> Option<Duration> {
        None
    }

    /// All durable entries were taken. If the daemon is `stopping`, no more will come.
    fn settle(&mut self, stopping: bool) -> Result<(), SinkError> {
        let _ = stopping;
        Ok(())
    }
}

/// Why a sink fails.
#[derive(Debug, thiserror::Error)]
pub(crate) enum SinkError {
    /// Its output cannot be written or read.
    #[error(transparent)]
    Io(#[from] Failed),
    /// The journal cannot be read.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Its output cannot be signed.
    #[error(transparent)]
    Key(#[from] KeyError),
}

/// Remedy for each of these.
const REMEDY: &str = "check the disk and the permissions of the file or folder that is named";

/// What sinks, exports and the verdict log know about the journal of this folder; opening compares it.
pub(crate) fn witnesses(state_dir: &Path) -> Vec<Witness> {
    let known = cursor::SinkCursor::known(state_dir)
        .into_iter()
        .chain(crate::export::known_by_marks(state_dir))
        .chain(log::known(state_dir));
    let witness = |(path, journal, seq)| Witness {
        path,
        journal: JournalId(journal),
        seq,
        digest: None,
        is_of_this_folder: false, // It may be left from an earlier journal.
    };
    known.map(witness).collect()
}

/// The folder of cursors in `state_dir`. It is created if it is missing.
fn cursors(state_dir: &Path) -> Result<PathBuf, SinkError> {
    let folder = state_dir.join("sinks");
    make_folder(&folder, 0o700).map_err(failed("make", &folder))?;
    Ok(folder)
}

/// The text of a file that holds one line: a password, a secret.
fn one_line(path: &Path) -> Result<Vec<u8>, Failed> {
    let mut bytes = std::fs::read(path).map_err(failed("read", path))?;
    while bytes.last().is_some_and(|last| b"\r\n".contains(last)) {
        bytes.pop();
    }
    Ok(bytes)
}

/// The time of a failure, for the status of a sink.
fn now() -> WallMicros {
    WallMicros(jiff::Timestamp::now().as_microsecond())
}

/// Moves a sink along with the durable end of the journal, until the sender of `stopped` is dropped. Entries that are
/// durable by then are still delivered.
pub(crate) async fn run(
    place: SinkContext,
    mut follow: Follow,
    mut stopped: watch::Receiver<()>,
    tell: Tell,
) {
    let kind = kind(place.data_set.as_ref());
    let mut attempts = Attempts::new(&place.name, kind.name, tell);
    let mut open = None;
    let mut stopping = false;
    loop {
        let pause = match moved(kind, &place, open.take(), &mut follow, stopping).await {
            Ok((sink, caught_up)) => {
                let due = sink.due();
                attempts.delivered(sink.arrived());
                open = Some(sink);
                if !caught_up {
                    continue;
                }
                due
            }
            Err(error) => Some(attempts.failed(now(), &error, REMEDY)),
        };
        if stopping {
            return;
        }
        tokio::select! {
            biased;
            _ = stopped.changed() => stopping = true,
            () = until(pause.map(|pause| Instant::now() + pause)) => {}
            () = follow.changed(), if !attempts.is_failing() => {}
        }
    }
}

async fn until(moment: Option<Instant>) {
    match moment {
        Some(moment) => sleep_until(moment).await,
        None => std::future::pending().await,
    }
}

/// Gives a sink the next entries, or settles it if there are none. Returns whether there were none.
async fn moved(
    kind: &'static SinkKind,
    place: &SinkContext,
    open: Option<Box<dyn Sink>>,
    follow: &mut Follow,
    stopping: bool,
) -> Result<(Box<dyn Sink>, bool), SinkError> {
    let mut sink = if let Some(sink) = open {
        sink
    } else {
        let place = place.clone();
        blocking(move || (kind.open)(&place)).await?
    };
    follow.go_to(sink.after());
    let lines = follow.lines().await?;
    if lines.is_empty() && !stopping && sink.due().is_none() {
        return Ok((sink, true));
    }
    blocking(move || {
        if lines.is_empty() {
            sink.settle(stopping)?;
            return Ok((sink, true));
        }
        let entries: Result<Vec<_>, _> = lines.iter().map(Line::entry).collect();
        sink.take(&entries?)?;
        Ok((sink, false))
    })
    .await
}
