//! How far somebody has been given the journal: `state_dir/exports/NAME.json`.
//!
//! A mark moves after what it speaks of is complete and durable elsewhere. A kill between the two gives the
//! same again: each reading at least once, and `journal` with `seq` tells a double.

use crate::durable::{Access, Failed, failed, make_folder, put};
use crate::entry::Seq;
use rustix::fs::{FlockOperation, OFlags};
use serde_json::{Value, json};
use std::fs::{File, OpenOptions};
use std::io;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

/// The folder of marks in `state_dir`.
const FOLDER: &str = "exports";
/// The longest name.
const MOST: usize = 64;

/// How far somebody has been given the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// Random id, in the first entry of every segment.
    pub journal: String,
    /// The question in words; another question needs another name.
    pub asked: String,
    /// Everything up to this entry has been given,
    pub after: u64,
    /// but for the series that were open there; they are found from behind this entry on.
    pub from: u64,
}

impl Mark {
    /// Of a journal, before its first entry.
    pub fn new(journal: &str, asked: &str) -> Self {
        Self {
            journal: journal.to_owned(),
            asked: asked.to_owned(),
            after: 0,
            from: 0,
        }
    }

    /// As it stands in its file, with the version of this form.
    fn to_json(&self) -> Value {
        json!({
            "v": 1,
            "journal": self.journal,
            "asked": self.asked,
            "after": self.after,
            "from": self.from,
        })
    }

    /// None if it is not as [`Mark::to_json`] wrote it.
    fn from_json(text: &[u8]) -> Option<Self> {
        let object: Value = serde_json::from_slice(text).ok()?;
        let text = |name: &str| Some(object.get(name)?.as_str()?.to_owned());
        let number = |name: &str| object.get(name)?.as_u64();
        (number("v") == Some(1)).then_some(())?;
        Some(Self {
            journal: text("journal")?,
            asked: text("asked")?,
            after: number("after")?,
            from: number("from")?,
        })
    }

    /// The same mark once the entries from `from` to `after` are exported.
    #[must_use]
    pub fn moved(self, after: Seq, from: Seq) -> Self {
        Self {
            after: after.0,
            from: from.0,
            ..self
        }
    }
}

/// What all marks know: where each stands, its journal and the last entry that was given.
pub fn known(state_dir: &Path) -> Vec<(PathBuf, String, Seq)> {
    let Ok(folder) = std::fs::read_dir(state_dir.join(FOLDER)) else {
        return Vec::new(); // nobody has one
    };
    let paths = folder.filter_map(|item| Some(item.ok()?.path()));
    let marks = paths.filter(|path| path.extension().is_some_and(|end| end == "json"));
    let known = marks.filter_map(|path| {
        let mark = Mark::from_json(&std::fs::read(&path).ok()?)?;
        Some((path, mark.journal, Seq(mark.after)))
    });
    known.collect()
}

/// Why there is no mark.
#[derive(Debug, thiserror::Error)]
pub enum MarkError {
    /// Not a name.
    #[error("{got:?} is no name of a mark, want at most {MOST} letters, digits, - or _")]
    Name {
        /// The name.
        got: String,
    },
    /// Somebody else is at it.
    #[error("another export under the name {name} is running")]
    Busy {
        /// As given by `--name`.
        name: String,
    },
    /// It cannot be read or written.
    #[error(transparent)]
    Io(#[from] Failed),
}

/// The place of one mark, held so that nobody else moves it.
#[derive(Debug)]
pub struct Marks {
    path: PathBuf,
    _held: File,
}

impl Marks {
    /// Holds the mark of this name; whether there is one is what [`Marks::read`] returns.
    pub fn hold(state_dir: &Path, name: &str) -> Result<Self, MarkError> {
        let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-_".contains(&byte);
        if name.is_empty() || name.len() > MOST || !name.bytes().all(plain) {
            return Err(MarkError::Name {
                got: name.to_owned(),
            });
        }
        let folder = state_dir.join(FOLDER);
        make_folder(&folder, 0o700).map_err(failed("make", &folder))?;
        let lock = folder.join(format!("{name}.lock"));
        let flags = i32::try_from(OFlags::NOFOLLOW.bits()).unwrap_or_default();
        let held = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .custom_flags(flags)
            .open(&lock)
            .map_err(failed("open", &lock))?;
        if rustix::fs::flock(&held, FlockOperation::NonBlockingLockExclusive).is_err() {
            return Err(MarkError::Busy {
                name: name.to_owned(),
            });
        }
        Ok(Self {
            path: folder.join(format!("{name}.json")),
            _held: held,
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The mark; none if nothing was given yet.
    pub fn read(&self) -> Result<Option<Mark>, MarkError> {
        let text = match std::fs::read(&self.path) {
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Ok(None),
            other => other.map_err(failed("read", &self.path))?,
        };
        let mark = Mark::from_json(&text).ok_or_else(|| {
            let cause = io::Error::other(
                "got no mark of this release; remove the file to start from the first entry",
            );
            failed("read", &self.path)(cause)
        })?;
        Ok(Some(mark))
    }

    /// Puts a mark in the place of the one before, durably.
    pub fn write(&self, mark: &Mark) -> Result<(), MarkError> {
        let text = format!("{}\n", mark.to_json());
        let written = put(&self.path, text.as_bytes(), true, Access::Usual);
        Ok(written.map_err(failed("write", &self.path))?)
    }
}
