//! Errors of a journal, with remedies.

use super::{JOURNAL_FOLDER, RolledBack};
use crate::durable::Failed;
use crate::entry::Seq;
use crate::entry::line::{LineError, NEWER_REMEDY};
use std::io;
use std::path::PathBuf;

/// An error of a journal.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// A file or folder could not be used.
    #[error(transparent)]
    Io(#[from] Failed),
    /// Another daemon uses this `state_dir`.
    #[error("{path} is held by another daemon{by}", path = path.display(), by = pid.map_or(String::new(), |pid| format!(", pid {pid}")))]
    Locked {
        /// The lock file.
        path: PathBuf,
        /// Process id that the holder wrote into the file.
        pid: Option<u32>,
    },
    /// A symbolic link, folder or device is in the place of a journal file.
    #[error("{path} is {got}, want {want}", path = path.display())]
    WrongKind {
        /// The path.
        path: PathBuf,
        /// What is there.
        got: &'static str,
        /// What is expected.
        want: &'static str,
    },
    /// A line that may have been announced was changed.
    #[error(transparent)]
    Damaged(#[from] Box<Damage>),
    /// A newer release wrote a line.
    #[error("{file}:{line}: {cause}")]
    Newer {
        /// The segment's file name.
        file: String,
        /// Its line, from 1.
        line: u64,
        /// The newer part of it.
        cause: LineError,
    },
    /// The user accepted damage from another entry on.
    #[error("--accept-damage got entry {asked}, but {}", found.map_or_else(|| "the last segment is intact".to_owned(), |seq| format!("the first damage is at entry {seq}")))]
    OtherDamage {
        /// The accepted entry.
        asked: Seq,
        /// The first damaged entry; `None` if nothing is damaged.
        found: Option<Seq>,
    },
    /// Others know more entries of this journal, or another journal.
    #[error(transparent)]
    RolledBack(#[from] Box<RolledBack>),
    /// The user accepted another rollback.
    #[error("--accept-rollback got entry {asked}, but {}", found.map_or_else(|| "no entry is missing at the journal's end".to_owned(), |seq| format!("the journal ends with entry {seq}")))]
    OtherRollback {
        /// The accepted entry.
        asked: Seq,
        /// The last entry of the journal; `None` if it was not rolled back.
        found: Option<Seq>,
    },
    /// A line between existing lines is missing.
    #[error("entry {seq} is not in the journal's files")]
    Missing {
        /// `seq` of the entry that was read or written.
        seq: Seq,
    },
    /// A line is not an entry.
    #[error("the line of entry {seq} cannot be read as an entry: {cause}")]
    NoEntry {
        /// The entry that should be there.
        seq: Seq,
        /// What is wrong with it.
        cause: LineError,
    },
    /// An entry is out of order.
    #[error("got entry {got}, want {want}")]
    OutOfOrder {
        /// Its number.
        got: Seq,
        /// The number that is next.
        want: Seq,
    },
    /// A write failed.
    #[error("cannot write entry {seq}: {cause}")]
    Write {
        /// The first entry that was not written.
        seq: Seq,
        /// Error of the system.
        cause: io::Error,
    },
    /// A sync failed.
    #[error("cannot make entry {seq} durable: {cause}")]
    Sync {
        /// The first entry that may not be on disk.
        seq: Seq,
        /// Error of the system.
        cause: io::Error,
    },
    /// The disk is full. The half-written line was cut off again.
    #[error("no room for entry {seq}: {cause}")]
    Full {
        /// The first entry that is not on disk.
        seq: Seq,
        /// Error of the system.
        cause: io::Error,
    },
    /// An earlier write or sync has failed, so no entry is written any more.
    #[error("the journal failed at entry {first}; no further entry is written")]
    Poisoned {
        /// The first entry that may not be on disk.
        first: Seq,
    },
}

/// A place where the journal is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}:{line}: {what}: got {got}, want {want}")]
pub struct Damage {
    /// The segment's file name.
    pub file: String,
    /// Its line, from 1.
    pub line: u64,
    /// The entry that is there, or should be.
    pub seq: Seq,
    /// What is wrong: `chain broken`, …
    pub what: &'static str,
    /// What is there.
    pub got: String,
    /// What is expected.
    pub want: String,
    /// The line cannot be read, but the next one holds its digest: it is as it was written.
    pub is_as_written: bool,
}

impl JournalError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> Option<String> {
        match self {
            Self::Io(Failed { path, cause, .. }) if cause.kind() == io::ErrorKind::NotFound => {
                path.ends_with(JOURNAL_FOLDER).then(|| {
                    "if nothing was ever recorded there: `tallyjaw serve` begins a journal; else name the right state_dir".to_owned()
                })
            }
            Self::Io(Failed { cause, .. }) => what_to_do_about(cause.kind()).map(str::to_owned),
            Self::OutOfOrder { .. } => None,
            Self::Locked { .. } => {
                Some("use the daemon that is running (tallyjaw status), or stop it first; a second daemon needs its own state_dir and runtime_dir".to_owned())
            }
            Self::WrongKind { .. } => Some("replace it with the file or folder itself".to_owned()),
            Self::Damaged(damage) if damage.is_as_written => Some(format!(
                "the next line holds its digest, so it is as it was written, most likely by a newer release: use that one, or a newer one; only if there is none: `tallyjaw verify`, then `tallyjaw serve --accept-damage {}`",
                damage.seq
            )),
            Self::Damaged(damage) => Some(format!(
                "look at all of it with `tallyjaw verify`, then start with `tallyjaw serve --accept-damage {}`",
                damage.seq
            )),
            Self::RolledBack(found) if found.end == Seq(0) => Some(
                "put the journal back from where it was moved or copied; if it is lost for good, begin another one that says so: `tallyjaw serve --accept-rollback 0`".to_owned(),
            ),
            Self::RolledBack(found) => Some(format!(
                "put the newest copy of the journal back; if what is missing is lost for good: `tallyjaw serve --accept-rollback {}`, which enters it and goes on behind the last entry that is known",
                found.end
            )),
            Self::OtherRollback { found, .. } => Some(match found {
                Some(seq) => format!("look at it with `tallyjaw verify`, then --accept-rollback {seq}"),
                None => "start without --accept-rollback".to_owned(),
            }),
            Self::Newer { .. } => Some(NEWER_REMEDY.to_owned()),
            Self::OtherDamage { found, .. } => Some(match found {
                Some(seq) => {
                    format!("look at it with `tallyjaw verify`, then --accept-damage {seq}")
                }
                None => "start without --accept-damage".to_owned(),
            }),
            Self::Write { .. } | Self::Sync { .. } | Self::Poisoned { .. } => Some(
                "check the disk, then start the daemon again: it reports which entries are on the disk".to_owned(),
            ),
            Self::Missing { .. } => Some("try again; if it is still missing, find the damage: tallyjaw verify".to_owned()),
            Self::NoEntry { .. } => Some("find the damage: tallyjaw verify".to_owned()),
            Self::Full { .. } => Some("make room on the disk of state_dir".to_owned()),
        }
    }
}

fn what_to_do_about(kind: io::ErrorKind) -> Option<&'static str> {
    if kind == io::ErrorKind::ReadOnlyFilesystem {
        Some("mount the file system so that it can be written to, or name another state_dir")
    } else if kind == io::ErrorKind::PermissionDenied {
        Some(
            "give this user write permission for state_dir and all files in it, or run as their owner",
        )
    } else if matches!(
        kind,
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded
    ) {
        Some("make room on the disk of state_dir")
    } else {
        None
    }
}
