//! What reads the journal with a cursor of its own and puts it somewhere else.
//!
//! In: durable lines, in order, each once. Out: whatever the sink makes of them. A sink that fails
//! is tried again from where its own output ends; the journal does not wait for it.
#![expect(clippy::disallowed_methods, reason = "edge: sinks write files")]

pub(crate) mod announce;
pub(crate) mod attempts;
pub(crate) mod cursor;
pub(crate) mod data_set;
pub(crate) mod log;
pub(crate) mod mqtt;

use crate::config::DataSetConfig;
use crate::durable::{Failed, failed, make_folder};
use crate::entry::{JournalId, Seq, Stamped};
use crate::journal::{Follow, JournalError, Line, Witness, blocking};
use crate::quantity::WallMicros;
use attempts::{Attempts, Tell};
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

#[derive(Debug)]
pub(crate) struct SinkKind {
    /// Its name, for messages and in `kind` of a configuration.
    pub name: &'static str,
    /// Opens it where its own output ends.
    pub open: fn(&SinkContext) -> Result<Box<dyn Sink>, SinkError>,
}

/// A data set where one is configured, else the verdict log, which is always there. A broker is no such sink: it
/// waits for answers, see [`mqtt`].
pub(crate) fn kind(data_set: Option<&DataSetConfig>) -> &'static SinkKind {
    match data_set {
        None => &log::VERDICT_LOG,
        Some(_) => &data_set::DATA_SET,
    }
}

/// Where a sink's journal is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SinkContext {
    /// The folder of the journal and the log.
    pub state_dir: PathBuf,
    /// The journal's name.
    pub journal: String,
    /// The sink's own name.
    pub name: String,
    /// What was configured of a data set.
    pub data_set: Option<DataSetConfig>,
}

/// A sink, open.
pub(crate) trait Sink: Send {
    /// The last entry that it is done with.
    fn after(&self) -> Seq;

    /// Takes the entries that follow.
    fn take(&mut self, entries: &[Stamped]) -> Result<(), SinkError>;

    /// The last entry that has arrived where it shall be read; behind [`Sink::after`] where a sink gathers.
    fn arrived(&self) -> Seq {
        self.after()
    }

    /// After how long it wants [`Sink::settle`] although nothing new has come; none if it does not.
    fn due(&self) -> Option<Duration> {
        None
    }

    /// Everything durable was taken; if the daemon stops, nothing more will come.
    fn settle(&mut self, stopping: bool) -> Result<(), SinkError> {
        let _ = stopping;
        Ok(())
    }
}

/// Why a sink does not go on.
#[derive(Debug, thiserror::Error)]
pub(crate) enum SinkError {
    /// Its output cannot be written or read back.
    #[error(transparent)]
    Io(#[from] Failed),
    /// The journal cannot be read.
    #[error(transparent)]
    Journal(#[from] JournalError),
}

/// What a person can do about each of these.
const REMEDY: &str = "check the disk and the permissions of the file or folder that is named";

/// What sinks, exports and the verdict log know of the journal of this folder, for its opening to compare.
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
        is_of_this_folder: false, // it may be left over from a journal before
    };
    known.map(witness).collect()
}

/// The folder of cursors in `state_dir`, made if it is not there.
fn cursors(state_dir: &Path) -> Result<PathBuf, SinkError> {
    let folder = state_dir.join("sinks");
    make_folder(&folder, 0o700).map_err(failed("make", &folder))?;
    Ok(folder)
}

/// For the status of a sink: when something went wrong.
fn now() -> WallMicros {
    WallMicros(jiff::Timestamp::now().as_microsecond())
}

/// Moves one sink along with the durable end of the journal, until the sender of `stopped` is
/// dropped; what is durable by then is still taken.
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

/// Gives a sink the next entries, or settles it where it has all; whether it has.
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
