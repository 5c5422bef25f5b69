//! Reads exports back as texts that can be compared, also after another program has saved them.
//!
//! In: a file. Out: its [`ExportFormat`], then its rows or lines one by one, in bounded memory ([`FileRows`]).
//!
//! - A spreadsheet may have changed the separator, quoted all cells, moved or left out columns, added a byte order
//!   mark, or removed trailing zeros. The row counts as the same.
//! - A file that is not an export is an error that says what it looks like.

use super::trapped::trapped;
use super::{parquet_table, unguarded};
use crate::entry::Seq;
use crate::entry::line::peek_seq;
use crate::quantity::{Decimal, WallMicros, safe};
use crate::row::{COLUMNS, Cell, Column, ColumnType, Row};
use parquet::errors::ParquetError;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::Field;
use parquet::record::reader::RowIter;
use std::fs::File;
use std::io::{self, BufRead as _, BufReader, Read as _, Seek as _, SeekFrom, Split};
use std::path::Path;

/// The format of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExportFormat {
    /// Rows of text, with this separator.
    Csv(u8),
    /// Rows of typed values.
    Parquet,
    /// Lines of a journal.
    Lines,
}

/// Why a file cannot be read as an export.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// Error of the system.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The file is empty.
    #[error("the file is empty; only an export of lines that found no entry is empty")]
    Empty,
    /// The file is not an export.
    #[error("got {got}, want an export (csv, jsonl or parquet) or a report")]
    Other {
        /// What it looks like.
        got: String,
    },
    /// The headings have columns of an export, but not the one that identifies the reading.
    #[error("got the columns {got}, want also seq, which says which reading a row is")]
    NoSeq {
        /// The headings.
        got: String,
    },
    /// A row is not valid UTF-8, or has no end.
    #[error("not a row: {cause}")]
    Csv {
        /// Message of the reader, with the place.
        cause: String,
    },
    /// The compression is not supported.
    #[error("a Parquet file compressed in a way that cannot be read here: {cause}")]
    Compression {
        /// Message of the reader.
        cause: String,
    },
    /// The file is truncated or damaged.
    #[error("a Parquet file that is not whole: {cause}")]
    Parquet {
        /// Message of the reader.
        cause: String,
    },
}

impl ReadError {
    /// What to do.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Io(_) | Self::Parquet { .. } => {
                "copy it again from where it was made, or export it again"
            }
            Self::Empty | Self::Other { .. } => {
                "make one: tallyjaw export csv -o FILE; a journal is a folder: tallyjaw verify STATE_DIR"
            }
            Self::NoSeq { .. } => {
                "keep the column seq when you remove columns; keep the column journal too, if you can"
            }
            Self::Compression { .. } => "save it with zstd, with snappy, or uncompressed",
            Self::Csv { .. } => "save it as CSV in UTF-8, or export it again",
        }
    }

    /// Whether the disk failed, and not the file.
    pub fn is_io(&self) -> bool {
        matches!(self, Self::Io(_))
    }
}

impl From<ParquetError> for ReadError {
    fn from(error: ParquetError) -> Self {
        let cause = error.to_string();
        // The reader distinguishes it only by its text.
        if cause.contains("feature at compile time") {
            Self::Compression { cause }
        } else {
            Self::Parquet { cause }
        }
    }
}

impl From<csv::Error> for ReadError {
    fn from(error: csv::Error) -> Self {
        let cause = error.to_string();
        if let csv::ErrorKind::Io(error) = error.into_kind() {
            Self::Io(error)
        } else {
            Self::Csv { cause }
        }
    }
}

/// A row or a line of an export.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileRow {
    /// Its number as a person counts it: the heading of a table of text is row 1, as in a spreadsheet; of other
    /// files the first row or line is.
    pub number: u64,
    /// The entry that it names.
    pub seq: Option<Seq>,
    /// Its content.
    pub content: Content,
}

/// The content of a row or a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Content {
    /// A text for each cell; there may be more or fewer than columns in a file that was changed by hand.
    ///
    /// Numbers have no trailing zeros, times are in UTC, texts have no guard, and an empty text is an unknown value.
    Cells(Vec<String>),
    /// A line, without its newline.
    Line(Vec<u8>),
}

/// The rows or lines of a file, one by one. A row that has only empty cells is skipped.
pub struct FileRows {
    /// The names in its heading.
    names: Vec<String>,
    /// For each name the column of that name, if there is one.
    columns: Vec<Option<&'static Column>>,
    number: u64,
    source: OpenFile,
}

enum OpenFile {
    Text(u8, csv::Reader<File>),
    Typed(RowIter<'static>),
    Lines(Split<BufReader<File>>),
}

/// A mark that some programs write before UTF-8 text.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

impl ExportFormat {
    /// The format, recognized by the first bytes of the file.
    ///
    /// # Errors
    /// If it is not an export; the error says what it looks like.
    pub fn of(path: &Path) -> Result<Self, ReadError> {
        let mut beginning = Vec::new();
        File::open(path)?
            .take(64 * 1024)
            .read_to_end(&mut beginning)?;
        if beginning.is_empty() {
            return Err(ReadError::Empty);
        }
        if beginning.starts_with(b"PAR1") {
            return Ok(Self::Parquet);
        }
        let text = beginning
            .strip_prefix(BYTE_ORDER_MARK)
            .unwrap_or(&beginning);
        let first = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
        if first.starts_with(b"{") {
            return match seq_of_line(first) {
                Some(_) => Ok(Self::Lines),
                None => Err(ReadError::Other {
                    got: "JSON that is no entry of a journal".to_owned(),
                }),
            };
        }
        Self::of_heading(first)
    }

    /// The format of a text with this first line.
    fn of_heading(first: &[u8]) -> Result<Self, ReadError> {
        if first.starts_with(b"\xff\xfe") || first.starts_with(b"\xfe\xff") {
            return Err(ReadError::Csv {
                cause: "the text is UTF-16, want UTF-8".to_owned(),
            });
        }
        let first = String::from_utf8_lossy(first);
        let cells = |delimiter: u8| -> Vec<String> {
            first
                .split(char::from(delimiter))
                .map(|cell| cell.trim().trim_matches('"').to_owned())
                .collect()
        };
        let known = |delimiter: &u8| {
            let is_column = |cell: &String| COLUMNS.iter().any(|column| column.name == cell);
            cells(*delimiter)
                .iter()
                .filter(|cell| is_column(cell))
                .count()
        };
        let delimiter = [b'\t', b';', b',']
            .into_iter()
            .max_by_key(known)
            .unwrap_or(b',');
        if known(&delimiter) < 2 {
            return Err(ReadError::Other { got: looks(&first) });
        }
        let names = cells(delimiter);
        if names.iter().any(|name| name == "seq") {
            Ok(Self::Csv(delimiter))
        } else {
            Err(ReadError::NoSeq {
                got: names.join(", "),
            })
        }
    }

    /// The name of the format for people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Csv(_) => "csv",
            Self::Parquet => "parquet",
            Self::Lines => "jsonl",
        }
    }
}

/// A file by its beginning, in words.
fn looks(first: &str) -> String {
    const SHOWN: usize = 40;
    if first.starts_with('<') {
        return "a page".to_owned();
    }
    if first.starts_with("PK\u{3}") {
        return "a ZIP file, such as a workbook of a spreadsheet".to_owned();
    }
    let mut shown: String = first.trim_end().chars().take(SHOWN).collect();
    if shown.chars().count() == SHOWN {
        shown.push('…');
    }
    format!("a file that begins with {shown:?}")
}

/// The number of the entry in a line, even if another program has rewritten the line.
fn seq_of_line(line: &[u8]) -> Option<u64> {
    peek_seq(line).map(|seq| seq.0).or_else(|| {
        let value: serde_json::Value = serde_json::from_slice(line).ok()?;
        value.get("seq")?.as_u64()
    })
}

impl FileRows {
    /// Opens a file of this format.
    ///
    /// # Errors
    /// If its heading cannot be read.
    pub fn open(path: &Path, form: ExportFormat) -> Result<Self, ReadError> {
        let mut file = File::open(path)?;
        let (names, source) = match form {
            ExportFormat::Csv(delimiter) => {
                let mut mark = [0; BYTE_ORDER_MARK.len()];
                let is_marked = file.read_exact(&mut mark).is_ok() && mark == BYTE_ORDER_MARK;
                file.seek(SeekFrom::Start(if is_marked { 3 } else { 0 }))?;
                let mut lines = csv::ReaderBuilder::new()
                    .flexible(true)
                    .delimiter(delimiter)
                    .from_reader(file);
                let names = lines.headers()?.iter();
                let names = names.map(|name| name.trim().to_owned()).collect();
                (names, OpenFile::Text(delimiter, lines))
            }
            ExportFormat::Parquet => {
                let reader = trapped(|| SerializedFileReader::new(file))??;
                let schema = reader.metadata().file_metadata().schema_descr();
                let names: Vec<String> = schema
                    .columns()
                    .iter()
                    .map(|column| column.name().to_owned())
                    .collect();
                (names, OpenFile::Typed(trapped(|| reader.into_iter())?))
            }
            ExportFormat::Lines => {
                let lines = BufReader::new(file).split(b'\n');
                (Vec::new(), OpenFile::Lines(lines))
            }
        };
        if form != ExportFormat::Lines && !names.iter().any(|name| name == "seq") {
            return Err(ReadError::NoSeq {
                got: names.join(", "),
            });
        }
        Ok(Self {
            columns: names.iter().map(|name| column(name)).collect(),
            names,
            number: u64::from(matches!(form, ExportFormat::Csv(_))),
            source,
        })
    }

    /// The names in the heading; empty for lines.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Number of the last row that was read, as a person counts it.
    pub(super) fn number(&self) -> u64 {
        self.number
    }

    /// The column for each name of the heading, if there is one.
    pub(super) fn columns(&self) -> &[Option<&'static Column>] {
        &self.columns
    }

    /// A cell of a row by the name of its column.
    pub(super) fn cell<'c>(&self, content: &'c Content, name: &str) -> Option<&'c str> {
        let Content::Cells(cells) = content else {
            return None;
        };
        let at = self.names.iter().position(|known| known == name)?;
        cells.get(at).map(String::as_str)
    }

    /// The next row or line.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn advance(&mut self) -> Result<Option<FileRow>, ReadError> {
        loop {
            let Some(content) = self.content()? else {
                return Ok(None);
            };
            self.number += 1;
            let (is_empty, seq) = match &content {
                Content::Line(line) => (line.is_empty(), seq_of_line(line)),
                Content::Cells(cells) => (
                    cells.iter().all(String::is_empty),
                    self.cell(&content, "seq").and_then(|seq| seq.parse().ok()),
                ),
            };
            if !is_empty {
                return Ok(Some(FileRow {
                    number: self.number,
                    seq: seq.map(Seq),
                    content,
                }));
            }
        }
    }

    fn content(&mut self) -> Result<Option<Content>, ReadError> {
        match &mut self.source {
            OpenFile::Text(delimiter, lines) => {
                let mut line = csv::StringRecord::new();
                if !lines.read_record(&mut line)? {
                    return Ok(None);
                }
                let columns = self.columns.iter().copied();
                let columns = columns.chain(std::iter::repeat(None));
                let cells = line.iter().zip(columns).map(|(cell, column)| {
                    same(
                        column.map(|column| column.kind),
                        unguarded(cell),
                        *delimiter,
                    )
                });
                Ok(Some(Content::Cells(cells.collect())))
            }
            OpenFile::Typed(rows) => {
                let row = trapped(|| rows.next())?.transpose()?;
                Ok(row.map(|row| {
                    let cells = row.get_column_iter().map(|(_, field)| shown(field));
                    Content::Cells(cells.collect())
                }))
            }
            OpenFile::Lines(lines) => {
                let line = lines.next().transpose()?;
                Ok(line.map(|mut line| {
                    line.pop_if(|byte| *byte == b'\r');
                    Content::Line(line)
                }))
            }
        }
    }
}

/// The question in the metadata of a Parquet file.
pub(super) fn carried(path: &Path) -> Result<Option<String>, ReadError> {
    let file = File::open(path)?;
    let reader = trapped(|| SerializedFileReader::new(file))??;
    let about = reader.metadata().file_metadata().key_value_metadata();
    let question = about
        .into_iter()
        .flatten()
        .find(|about| about.key == parquet_table::QUESTION);
    Ok(question.and_then(|about| about.value.clone()))
}

/// The program that has written a Parquet file, as the file says.
pub(super) fn created_by(path: &Path) -> Result<Option<String>, ReadError> {
    let file = File::open(path)?;
    let reader = trapped(|| SerializedFileReader::new(file))??;
    let by = reader.metadata().file_metadata().created_by();
    Ok(by.map(str::to_owned))
}

/// The text of a column in a row, in the form of [`Content::Cells`].
pub(super) fn cell_text(row: &Row<'_>, column: &Column) -> String {
    match (column.cell)(row) {
        None => String::new(),
        Some(Cell::Text(text)) => safe(text),
        Some(Cell::Whole(number)) => number.to_string(),
        Some(Cell::Decimal(number)) => short(number).to_string(),
        Some(Cell::Time(at)) => at.to_string(),
    }
}

fn column(name: &str) -> Option<&'static Column> {
    COLUMNS.iter().find(|column| column.name == name)
}

/// A cell in the form in which tallyjaw would have written it.
fn same(kind: Option<ColumnType>, cell: &str, delimiter: u8) -> String {
    let number = match kind {
        Some(ColumnType::Decimal(_) | ColumnType::Whole) if delimiter != b',' => {
            cell.trim().replace(',', ".")
        }
        Some(ColumnType::Decimal(_) | ColumnType::Whole) => cell.trim().to_owned(),
        Some(ColumnType::Time) => {
            let time = cell.trim().parse::<WallMicros>();
            return time.map_or_else(|_| cell.to_owned(), |at| at.to_string());
        }
        Some(ColumnType::Text) | None => return safe(cell),
    };
    match number.parse::<Decimal>() {
        Ok(number) => short(number).to_string(),
        Err(_) => cell.to_owned(),
    }
}

/// The number without trailing zeros.
fn short(number: Decimal) -> Decimal {
    let (mut coefficient, mut places) = (number.coefficient(), number.decimals());
    while places > 0 && coefficient % 10 == 0 {
        coefficient /= 10;
        places -= 1;
    }
    Decimal::new(coefficient, places)
}

fn shown(field: &Field) -> String {
    if let Field::Str(text) = field {
        safe(text)
    } else if let Field::Long(number) = field {
        number.to_string()
    } else if let Field::TimestampMicros(micros) = field {
        WallMicros(*micros).to_string()
    } else if let Field::Decimal(decimal) = field {
        let negative = decimal.data().first().is_some_and(|byte| *byte >= 0x80);
        let start = if negative { -1_i64 } else { 0 };
        let digits = decimal.data().iter();
        let unscaled = digits.fold(start, |sum, byte| (sum << 8) | i64::from(*byte));
        let places = u8::try_from(decimal.scale()).unwrap_or_default();
        short(Decimal::new(unscaled, places)).to_string()
    } else if let Field::Null = field {
        String::new()
    } else {
        field.to_string()
    }
}
