//! How far an export of a given name has got in the journal: `state_dir/exports/NAME.json`.
//!
//! A mark moves after the export is complete and durable. If the program is killed between the two, the next export
//! repeats readings. Each reading is given at least once, and `journal` with `seq` identifies repeats.

use crate::durable::{Access, Failed, failed, make_folder, put};
use crate::entry::Seq;
use crate::system;
use serde_json::{Value, json};
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Folder of the marks in `state_dir`.
const FOLDER: &str = "exports";
/// Maximum length of a name.
const MOST: usize = 64;

/// How far an export of a given name has got in the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// Identity of the journal.
    pub journal: String,
    /// The options in words. Other options need another name.
    pub asked: String,
    /// Every reading up to this entry was exported,
    pub after: u64,
    /// except those of series that were open there. They are found after this entry.
    pub from: u64,
}

impl Mark {
    /// The mark before the first entry of a journal.
    pub fn new(journal: &str, asked: &str) -> Self {
        Self {
            journal: journal.to_owned(),
            asked: asked.to_owned(),
            after: 0,
            from: 0,
        }
    }

    /// The content of its file, with the version of the format.
    fn to_json(&self) -> Value {
        json!({
            "v": 1,
            "journal": self.journal,
            "asked": self.asked,
            "after": self.after,
            "from": self.from,
        })
    }

    /// Reads the content of a file; `None` if it was not written by [`Mark::to_json`].
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

    /// The mark after the entries from `from` to `after` were exported.
    #[must_use]
    pub fn moved(self, after: Seq, from: Seq) -> Self {
        Self {
            after: after.0,
            from: from.0,
            ..self
        }
    }
}

/// All marks: path, journal, and last exported entry.
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

/// Why a mark cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum MarkError {
    /// The name is not valid.
    #[error("{got:?} is no name of a mark, want at most {MOST} letters, digits, - or _")]
    Name {
        /// The name.
        got: String,
    },
    /// Another process uses it.
    #[error("another export under the name {name} is running")]
    Busy {
        /// The name.
        name: String,
    },
    /// The file cannot be read or written.
    #[error(transparent)]
    Io(#[from] Failed),
}

/// The file of a mark, locked so that no other process moves it.
#[derive(Debug)]
pub struct Marks {
    path: PathBuf,
    _held: File,
}

impl Marks {
    /// Locks the mark of this name. [`Marks::read`] returns whether there is one.
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
        let held = system::lock_file(&lock).map_err(failed("open", &lock))?;
        if held.try_lock().is_err() {
            return Err(MarkError::Busy {
                name: name.to_owned(),
            });
        }
        Ok(Self {
            path: folder.join(format!("{name}.json")),
            _held: held,
        })
    }

    /// Path of the file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The mark; `None` if nothing was exported yet.
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

    /// Replaces the mark, durably.
    pub fn write(&self, mark: &Mark) -> Result<(), MarkError> {
        let text = format!("{}\n", mark.to_json());
        let written = put(&self.path, text.as_bytes(), true, Access::Usual);
        Ok(written.map_err(failed("write", &self.path))?)
    }
}
