//! The question of an export and the journal that it was made from: in a Parquet file's metadata, else in a file beside it.
//!
//! In: an object of JSON. Out: a [`Question`]; and back. Whoever has it can make the same export again from the
//! journal, and so see what is missing.
//!
//! - It proves nothing: whoever changes a file can change its question. It is a claim, shown to whoever checks the
//!   file.

use super::parquet_table;
use super::read::{ExportFormat, ReadError, carried};
use crate::durable::WholeFile;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::fs::File;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

/// The version of this form.
const VERSION: u64 = 1;
/// A question with ten thousand series is shorter.
const MOST_BYTES: u64 = 1024 * 1024;

/// The question of an export, and the journal that it was made from.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// The release that made it.
    pub tallyjaw: String,
    /// Random id, in the first entry of every segment.
    pub journal: String,
    /// Whether it has lines of the journal, and not rows.
    pub of_lines: bool,
    /// The columns of its rows.
    pub columns: Vec<String>,
    /// Which readings.
    pub query: Map<String, Value>,
    /// Only those that count.
    pub counted: bool,
    /// Only what an entry behind this one settled: of series, when nothing more was said about them; of readings
    /// that belong to no series, at once. What is not settled waits.
    pub settled_after: Option<u64>,
    /// The name of the pull that it was part of.
    pub since_last: Option<String>,
    /// The first entry that was read for it.
    pub first: u64,
    /// `seq` of the last entry that was read.
    pub last: u64,
    /// Of the last one's line.
    pub digest: String,
    /// How many rows or lines it has.
    pub rows: u64,
}

/// Why a question cannot be understood.
#[derive(Debug, thiserror::Error)]
pub enum QuestionError {
    /// It is there, and cannot be read.
    #[error("cannot read {}: {cause}", path.display())]
    Io {
        /// Where it is.
        path: PathBuf,
        /// Why not.
        cause: io::Error,
    },
    /// The file in which it would stand cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Not as it is written by us.
    #[error("the question is not as it was written: {cause}")]
    Other {
        /// What is wrong.
        cause: String,
    },
}

impl Question {
    /// Where the question of a file stands beside it: `november.csv.question.json`.
    pub fn beside(file: &Path) -> PathBuf {
        let mut name = file.as_os_str().to_owned();
        name.push(".question.json");
        name.into()
    }

    /// The question of an export: in the file `named`, if one is; else in the export itself; else in that beside it.
    /// With what says so, for a person.
    ///
    /// # Errors
    /// If it is there and cannot be understood.
    pub fn of(
        file: &Path,
        form: ExportFormat,
        named: Option<&Path>,
    ) -> Result<Option<(Self, String)>, QuestionError> {
        if named.is_none()
            && form == ExportFormat::Parquet
            && let Some(text) = carried(file)?
        {
            let says = format!("{} in its metadata", parquet_table::QUESTION);
            return Ok(Some((Self::from_text(&text)?, says)));
        }
        let beside = Self::beside(file);
        let path = named.unwrap_or(&beside);
        let mut text = Vec::new();
        let read = File::open(path).and_then(|file| file.take(MOST_BYTES).read_to_end(&mut text));
        match read {
            Err(error) if named.is_none() && error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(cause) => Err(QuestionError::Io {
                path: path.to_owned(),
                cause,
            }),
            Ok(_) => {
                let question = Self::from_text(&String::from_utf8_lossy(&text))?;
                Ok(Some((question, path.display().to_string())))
            }
        }
    }

    /// As it is written, in one line.
    pub fn to_json(&self) -> Value {
        json!({
            "v": VERSION,
            "tallyjaw": self.tallyjaw,
            "journal": self.journal,
            "of_lines": self.of_lines,
            "columns": self.columns,
            "query": self.query,
            "counted": self.counted,
            "settled_after": self.settled_after,
            "since_last": self.since_last,
            "first": self.first,
            "last": self.last,
            "digest": self.digest,
            "rows": self.rows,
        })
    }

    fn from_text(text: &str) -> Result<Self, QuestionError> {
        let other = |cause: String| QuestionError::Other { cause };
        let not_json = |error: serde_json::Error| other(error.to_string());
        let mut object: Map<String, Value> = serde_json::from_str(text).map_err(not_json)?;
        let whole = Value::Object(object.clone());
        let version = object.remove("v").unwrap_or_default();
        if version != VERSION {
            return Err(other(format!("got version {version}, want {VERSION}")));
        }
        let question: Self = serde_json::from_value(Value::Object(object)).map_err(not_json)?;
        if question.to_json() == whole {
            Ok(question)
        } else {
            Err(other("a field is left out".to_owned()))
        }
    }

    /// Puts it into a file of its own.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn write(&self, mut file: WholeFile) -> io::Result<()> {
        writeln!(file, "{}", self.to_json())?;
        file.commit()
    }
}
