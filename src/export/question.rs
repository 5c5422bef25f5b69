//! The options of an export and the journal that it was made from, stored in the metadata of Parquet or in a file
//! beside it.
//!
//! In: a JSON object. Out: a [`Question`]. The other direction is here too. With it the same export can be made again
//! from the journal, which shows what is missing.
//!
//! - It proves nothing, because whoever changes the file can change the question. It is a claim, shown to the user who
//!   verifies the file.

use super::parquet_table;
use super::read::{ExportFormat, ReadError, carried};
use crate::durable::WholeFile;
use crate::entry::{Anchor, JournalId, Seq};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::fs::File;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

/// Version of the format.
const VERSION: u64 = 1;
/// Maximum size of the file. A question with ten thousand series is smaller.
const MOST_BYTES: u64 = 1024 * 1024;

/// The options of an export, and the journal that it was made from.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// Release that made the export.
    pub tallyjaw: String,
    /// Identity of the journal.
    pub journal: String,
    /// Whether it holds lines of the journal instead of rows.
    pub of_lines: bool,
    /// Names of the columns.
    pub columns: Vec<String>,
    /// The options that choose readings.
    pub query: Map<String, Value>,
    /// Only readings that count.
    pub counted: bool,
    /// Only series that became final after this entry, and readings outside a series after it. Series that may still
    /// change are left out.
    pub settled_after: Option<u64>,
    /// Name of the incremental export that it was part of.
    pub since_last: Option<String>,
    /// First entry that was read.
    pub first: u64,
    /// Last entry that was read.
    pub last: u64,
    /// Digest of the last entry's line.
    pub digest: String,
    /// Number of rows or lines.
    pub rows: u64,
}

/// Why a question cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum QuestionError {
    /// The file exists, but cannot be read.
    #[error("cannot read {}: {cause}", path.display())]
    Io {
        /// Path of the file.
        path: PathBuf,
        /// Error of the system.
        cause: io::Error,
    },
    /// The export that should contain it cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It was not written by this program.
    #[error("the question is not as it was written: {cause}")]
    Other {
        /// What is wrong.
        cause: String,
    },
}

impl Question {
    /// Path of the question beside an export: `november.csv.question.json`.
    pub fn beside(file: &Path) -> PathBuf {
        let mut name = file.as_os_str().to_owned();
        name.push(".question.json");
        name.into()
    }

    /// The question of an export: in the file `named` if given, otherwise in the export itself, otherwise in the file
    /// beside it. Also returns where it was found, in words.
    ///
    /// # Errors
    /// If it exists and cannot be read.
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

    /// The question as one line of JSON.
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

    /// The last entry that was read, as an anchor; `None` if the question was changed.
    pub fn anchor(&self) -> Option<Anchor> {
        Some(Anchor {
            journal: Some(JournalId(self.journal.clone())),
            seq: Some(Seq(self.last)).filter(|last| *last >= Seq::FIRST)?,
            digest: self.digest.parse().ok()?,
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

    /// Writes it to a file of its own.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn write(&self, mut file: WholeFile) -> io::Result<()> {
        writeln!(file, "{}", self.to_json())?;
        file.commit()
    }
}
