//! The files of a data set, or one export, as the readings of series in order.
//!
//! In: a folder or a file. Out: the rows of each series together ([`StoredSet::next_series`]), series by series in the
//! order of their last readings. One file gives its rows in its own order, which is that of the journal.
//!
//! - The files of one station and journal are one after the other in the order of their days; only one of them is open.
//! - What is no export is a fault with its file, never passed over. Only hidden files, signatures and questions beside
//!   exports are.
//! - A file with fewer or more rows than its question says is a fault.

use super::read::{Content, ExportFormat, FileRows, ReadError};
use super::stored::{Header, RowFault, StoredRow};
use super::{Question, QuestionError};
use percent_encoding::percent_decode_str;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::rc::Rc;

/// Levels of folders that are searched.
const DEEPEST: usize = 8;
/// Files, or stations of journals, that are read beside each other.
const MOST_STREAMS: usize = 500;

/// What to do where there is nothing to read.
const NAME_IT: &str = "name the folder of a [[sink]] of kind parquet, or of exports";

/// What is wrong with a data set, and where.
#[derive(Debug, thiserror::Error)]
#[error("{}{}: {fault}", path.display(), line.map(|line| format!(":{line}")).unwrap_or_default())]
pub struct SetError {
    /// The file or folder.
    pub path: PathBuf,
    /// The row as a person counts it.
    pub line: Option<u64>,
    /// What is wrong.
    pub fault: SetFault,
}

/// What is wrong with a data set.
#[derive(Debug, thiserror::Error)]
pub enum SetFault {
    /// The file is no export, or cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Its question cannot be read.
    #[error(transparent)]
    Question(#[from] QuestionError),
    /// A row is no reading.
    #[error(transparent)]
    Row(#[from] RowFault),
    /// It has lines of a journal instead of rows.
    #[error("got lines of a journal, want rows (csv or parquet)")]
    Lines,
    /// It has not as many rows as were exported.
    #[error("got {got} rows, want {want} by its question")]
    Rows {
        /// Number of rows in the file.
        got: u64,
        /// Number of rows that were exported.
        want: u64,
    },
    /// The rows were sorted by something.
    #[error("entry {got} after entry {before} of the same series, want the order of the export")]
    Order {
        /// The entry of the row.
        got: u64,
        /// That of the row before.
        before: u64,
    },
    /// No export below the folder.
    #[error("no export (csv or parquet) in this folder")]
    NoFile,
    /// More folders within each other, or more files, than are searched.
    #[error("{0}")]
    TooMany(&'static str),
}

impl SetError {
    fn new(path: &Path, fault: impl Into<SetFault>) -> Self {
        Self {
            path: path.to_owned(),
            line: None,
            fault: fault.into(),
        }
    }

    fn io(path: &Path, error: std::io::Error) -> Self {
        Self::new(path, ReadError::Io(error))
    }

    /// What to do.
    pub fn remedy(&self) -> &'static str {
        match &self.fault {
            SetFault::Read(error) => match error {
                ReadError::Io(error) if error.kind() == std::io::ErrorKind::NotFound => NAME_IT,
                ReadError::Empty | ReadError::Other { .. } => {
                    "move it out of the folder, or export it again: tallyjaw export csv -o FILE"
                }
                ReadError::Io(_)
                | ReadError::NoSeq { .. }
                | ReadError::Csv { .. }
                | ReadError::Compression { .. }
                | ReadError::Parquet { .. } => error.remedy(),
            },
            SetFault::Row(fault) => fault.remedy(),
            SetFault::Lines => {
                "export rows: tallyjaw export parquet -o FILE; or study the journal itself"
            }
            SetFault::Rows { .. } => {
                "export it again; or, if rows were left out on purpose, remove its question"
            }
            SetFault::Question(_) => "export it again, or remove its question",
            SetFault::Order { .. } => "export it again, and do not sort its rows",
            SetFault::NoFile => NAME_IT,
            SetFault::TooMany(_) => {
                "name a folder with fewer files, or one that a [[sink]] of kind parquet has made"
            }
        }
    }

    /// Whether the disk failed, and not the file.
    pub fn is_io(&self) -> bool {
        matches!(&self.fault, SetFault::Read(error) if error.is_io())
            || matches!(&self.fault, SetFault::Question(QuestionError::Io { .. }))
    }
}

/// Rows of one series that follow each other.
pub struct StoredSeries {
    /// Number of their file, from 0; see [`StoredSet::path`].
    pub file: usize,
    /// The rows, in order.
    pub rows: Vec<StoredRow>,
}

/// The readings of a data set.
pub struct StoredSet {
    paths: Vec<PathBuf>,
    /// Each with its next series.
    streams: Vec<(Stream, Option<StoredSeries>)>,
}

impl StoredSet {
    /// Opens a folder of exports, or one export.
    ///
    /// # Errors
    /// If there is none, or one of them cannot be read.
    pub fn open(path: &Path) -> Result<Self, SetError> {
        let mut paths = Vec::new();
        if fs::metadata(path)
            .map_err(|error| SetError::io(path, error))?
            .is_dir()
        {
            find(path, 0, &mut paths)?;
            paths.sort();
        } else {
            paths.push(path.to_owned());
        }
        if paths.is_empty() {
            return Err(SetError::new(path, SetFault::NoFile));
        }
        let mut streams: BTreeMap<PathBuf, Vec<usize>> = BTreeMap::new();
        for (at, file) in paths.iter().enumerate() {
            streams.entry(without_day(file)).or_default().push(at);
        }
        if streams.len() > MOST_STREAMS {
            let many = "more than 500 files or stations are in this folder";
            return Err(SetError::new(path, SetFault::TooMany(many)));
        }
        let mut set = Self {
            paths,
            streams: Vec::new(),
        };
        for (_, files) in streams {
            let mut stream = Stream::new(files);
            let first = stream.next_series(&set.paths)?;
            set.streams.push((stream, first));
        }
        Ok(set)
    }

    /// The path of a file.
    pub fn path(&self, file: usize) -> &Path {
        self.paths.get(file).map_or(Path::new(""), PathBuf::as_path)
    }

    /// The rows of the next series.
    ///
    /// # Errors
    /// If a file cannot be read further.
    pub fn next_series(&mut self) -> Result<Option<StoredSeries>, SetError> {
        let last = |series: &StoredSeries| series.rows.last().map(|row| (row.at.0, row.journal));
        let next = self
            .streams
            .iter_mut()
            .filter(|(_, series)| series.is_some())
            .min_by_key(|(_, series)| series.as_ref().and_then(last));
        let Some((stream, series)) = next else {
            return Ok(None);
        };
        let following = stream.next_series(&self.paths)?;
        Ok(std::mem::replace(series, following))
    }
}

/// Finds the exports below a folder.
fn find(folder: &Path, depth: usize, paths: &mut Vec<PathBuf>) -> Result<(), SetError> {
    let failed = |error| SetError::io(folder, error);
    if depth > DEEPEST {
        let deep = "more than 8 folders within each other";
        return Err(SetError::new(folder, SetFault::TooMany(deep)));
    }
    for item in fs::read_dir(folder).map_err(failed)? {
        let item = item.map_err(failed)?;
        let (name, path) = (item.file_name(), item.path());
        let name = name.to_string_lossy();
        if name.starts_with('.') || name.ends_with(".sig") || name.ends_with(".question.json") {
            continue;
        }
        if fs::metadata(&path)
            .map_err(|error| SetError::io(&path, error))?
            .is_dir()
        {
            find(&path, depth + 1, paths)?;
        } else {
            paths.push(path);
        }
    }
    Ok(())
}

/// The path without the folder of its day: the same for all files of one station and journal.
fn without_day(path: &Path) -> PathBuf {
    let parts = path.components();
    parts
        .filter(|part| !part.as_os_str().to_string_lossy().starts_with("day="))
        .collect()
}

/// The station in the path of a file, as hive writes it: `station=bench-1`.
fn station(path: &Path) -> Option<String> {
    let parts = path.components().rev();
    let mut folders = parts.map(|part| part.as_os_str().to_string_lossy().into_owned());
    let encoded = folders.find_map(|name| name.strip_prefix("station=").map(str::to_owned))?;
    let station = percent_decode_str(&encoded).decode_utf8().ok()?;
    Some(station.into_owned())
}

/// Files that follow each other.
struct Stream {
    files: std::vec::IntoIter<usize>,
    current: Option<OpenFile>,
    /// The first row of the next series.
    next: Option<(usize, StoredRow)>,
}

impl Stream {
    fn new(files: Vec<usize>) -> Self {
        Self {
            files: files.into_iter(),
            current: None,
            next: None,
        }
    }

    fn next_series(&mut self, paths: &[PathBuf]) -> Result<Option<StoredSeries>, SetError> {
        let first = match self.next.take() {
            Some(first) => Some(first),
            None => self.row(paths)?,
        };
        let Some((file, first)) = first else {
            return Ok(None);
        };
        let (journal, series) = (first.journal, first.series);
        let (mut last, mut rows) = (first.seq.0, vec![first]);
        while let Some((other, row)) = self.row(paths)? {
            if other != file || (row.journal, row.series) != (journal, series) {
                self.next = Some((other, row));
                break;
            }
            if row.seq.0 < last {
                let (got, before) = (row.seq.0, last);
                let path = paths.get(file).cloned().unwrap_or_default();
                return Err(SetError {
                    path,
                    line: Some(row.number),
                    fault: SetFault::Order { got, before },
                });
            }
            last = row.seq.0;
            rows.push(row);
        }
        Ok(Some(StoredSeries { file, rows }))
    }

    /// The next row of a series, with the number of its file.
    fn row(&mut self, paths: &[PathBuf]) -> Result<Option<(usize, StoredRow)>, SetError> {
        loop {
            if self.current.is_none() {
                let Some(at) = self.files.next() else {
                    return Ok(None);
                };
                let path = paths.get(at).cloned().unwrap_or_default();
                self.current = Some(OpenFile::open(at, path)?);
            }
            let Some(current) = &mut self.current else {
                return Ok(None);
            };
            match current.row()? {
                Some(row) => return Ok(Some((current.at, row))),
                None => self.current = None,
            }
        }
    }
}

/// A file that is being read.
struct OpenFile {
    at: usize,
    path: PathBuf,
    rows: FileRows,
    header: Rc<Header>,
    count: u64,
    /// Number of rows by its question.
    wanted: Option<u64>,
}

impl OpenFile {
    fn open(at: usize, path: PathBuf) -> Result<Self, SetError> {
        let failed = |error: ReadError| SetError::new(&path, error);
        let form = ExportFormat::of(&path).map_err(failed)?;
        if form == ExportFormat::Lines {
            return Err(SetError::new(&path, SetFault::Lines));
        }
        let rows = FileRows::open(&path, form).map_err(failed)?;
        let header = Header::new(rows.names().to_vec(), station(&path));
        let header = header.map_err(|fault| SetError {
            line: (form != ExportFormat::Parquet).then_some(1),
            ..SetError::new(&path, fault)
        })?;
        let question = Question::of(&path, form, None);
        let question = question.map_err(|error| SetError::new(&path, error))?;
        Ok(Self {
            wanted: question.map(|(question, _)| question.rows),
            header: Rc::new(header),
            count: 0,
            at,
            rows,
            path,
        })
    }

    fn row(&mut self) -> Result<Option<StoredRow>, SetError> {
        loop {
            let row = self.rows.advance();
            let row = row.map_err(|error| SetError {
                line: Some(self.rows.number() + 1),
                ..SetError::new(&self.path, error)
            })?;
            let Some(row) = row else {
                return match self.wanted {
                    Some(want) if want != self.count => {
                        let got = self.count;
                        Err(SetError::new(&self.path, SetFault::Rows { got, want }))
                    }
                    Some(_) | None => Ok(None),
                };
            };
            self.count += 1;
            let cells = match row.content {
                Content::Cells(cells) => cells,
                Content::Line(_) => Vec::new(),
            };
            let stored = StoredRow::of(&self.header, cells, row.number);
            let stored = stored.map_err(|fault| SetError {
                line: Some(row.number),
                ..SetError::new(&self.path, fault)
            })?;
            if stored.is_some() {
                return Ok(stored);
            }
        }
    }
}
