//! Exports read back, as texts that can be compared: also when another program has saved them anew.
//!
//! In: a file. Out: its [`Form`], then its rows or lines, one by one, in bounded memory.
//!
//! - A spreadsheet may have put another character between cells, quoted all of them, moved or left out columns,
//!   put a mark before the first, taken zeros off the end of numbers: the row is the same.
//! - What cannot be read as an export is told with what it looks like.

use super::unguarded;
use crate::entry::line::peek_seq;
use crate::quantity::{Decimal, WallMicros, safe};
use crate::row::{COLUMNS, Cell, Kind, Row};
use parquet::errors::ParquetError;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::Field;
use std::fs::File;
use std::io::{self, BufRead as _, BufReader, Read as _, Seek as _, SeekFrom};
use std::path::Path;

/// What an export is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Rows of text, with this character between the cells.
    Csv(u8),
    /// Rows of typed values.
    Parquet,
    /// Lines of a journal.
    Lines,
}

/// Why a file cannot be read as an export.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The disk.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// Nothing is in it.
    #[error("the file is empty, as only an export of lines is that found none")]
    Empty,
    /// It is something else.
    #[error("got {got}, want an export (csv, jsonl or parquet) or a report")]
    Other {
        /// What it looks like.
        got: String,
    },
    /// Its heading has columns of an export, but not the one that says which reading a row is.
    #[error("got the columns {got}, want also seq, which says which reading a row is")]
    NoSeq {
        /// The columns.
        got: String,
    },
    /// A row of text is not UTF-8, or cannot be told from the next.
    #[error("not a row: {cause}")]
    Csv {
        /// What the reader says, with the place.
        cause: String,
    },
    /// Compressed in a way that is not built in.
    #[error("a Parquet file compressed in a way that cannot be read here: {cause}")]
    Compression {
        /// What the reader says.
        cause: String,
    },
    /// Cut, or changed behind the back of its own lengths and sums.
    #[error("a Parquet file that is not whole: {cause}")]
    Parquet {
        /// What the reader says.
        cause: String,
    },
}

impl ReadError {
    /// What a person can do.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Io(_) | Self::Parquet { .. } => {
                "copy it again from where it was made, or export it anew"
            }
            Self::Empty | Self::Other { .. } => {
                "make one: tallyjaw export csv -o FILE; a journal is a folder: tallyjaw verify STATE_DIR"
            }
            Self::NoSeq { .. } => "keep the column seq when a table is cut, and best journal too",
            Self::Compression { .. } => "save it with zstd, with snappy, or uncompressed",
            Self::Csv { .. } => "save it as CSV in UTF-8, or export it anew",
        }
    }

    /// Whether the disk is to blame, and not what was given.
    pub fn is_io(&self) -> bool {
        matches!(self, Self::Io(_))
    }
}

impl From<ParquetError> for ReadError {
    fn from(error: ParquetError) -> Self {
        let cause = error.to_string();
        // the reader tells it by its words alone
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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece<'p> {
    /// A row: the names of the columns, and a text for each cell.
    Row {
        /// The columns.
        names: &'p [String],
        /// Its cells; more or fewer than names in a file that was changed by hand.
        cells: &'p [String],
    },
    /// A line, without its newline.
    Line(&'p [u8]),
}

/// A mark that some programs put before UTF-8.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

impl Form {
    /// Of the file, told from its beginning.
    ///
    /// # Errors
    /// What it looks like instead.
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

    /// Of text whose first line is this.
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

    /// What a person calls it.
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

/// The number of the entry in a line, also where another program has written it anew.
pub(super) fn seq_of_line(line: &[u8]) -> Option<u64> {
    peek_seq(line).map(|seq| seq.0).or_else(|| {
        let value: serde_json::Value = serde_json::from_slice(line).ok()?;
        value.get("seq")?.as_u64()
    })
}

/// Hands each row or line to `each`, with its number as a person counts it: the heading of a table of text is
/// row 1, as in a spreadsheet; of other files the first row or line is.
///
/// Numbers are without zeros at their end, times in UTC, texts without their guard; an empty text is an unknown
/// value. A row of empty cells only is passed over.
///
/// # Errors
/// If the file cannot be read to its end.
pub fn pieces(
    path: &Path,
    form: Form,
    mut each: impl FnMut(u64, Piece<'_>),
) -> Result<(), ReadError> {
    match form {
        Form::Csv(delimiter) => of_text(path, delimiter, each),
        Form::Parquet => of_typed(path, each),
        Form::Lines => {
            let lines = BufReader::new(File::open(path)?).split(b'\n');
            for (line, number) in lines.zip(1..) {
                let line = line?;
                let line = line.strip_suffix(b"\r").unwrap_or(&line);
                if !line.is_empty() {
                    each(number, Piece::Line(line));
                }
            }
            Ok(())
        }
    }
}

fn of_text(
    path: &Path,
    delimiter: u8,
    mut each: impl FnMut(u64, Piece<'_>),
) -> Result<(), ReadError> {
    let mut file = File::open(path)?;
    let mut mark = [0; BYTE_ORDER_MARK.len()];
    let is_marked = file.read_exact(&mut mark).is_ok() && mark == BYTE_ORDER_MARK;
    file.seek(SeekFrom::Start(if is_marked { 3 } else { 0 }))?;
    let mut lines = csv::ReaderBuilder::new()
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(file);
    let names: Vec<String> = lines
        .headers()?
        .iter()
        .map(|name| name.trim().to_owned())
        .collect();
    let kinds: Vec<Option<Kind>> = names.iter().map(|name| kind_of(name)).collect();
    let mut line = csv::StringRecord::new();
    let mut number = 1;
    while lines.read_record(&mut line)? {
        number += 1;
        let kinds = kinds.iter().copied().chain(std::iter::repeat(None));
        let cells: Vec<String> = line
            .iter()
            .zip(kinds)
            .map(|(cell, kind)| same(kind, unguarded(cell), delimiter))
            .collect();
        if cells.iter().any(|cell| !cell.is_empty()) {
            let (names, cells) = (&names[..], &cells[..]);
            each(number, Piece::Row { names, cells });
        }
    }
    Ok(())
}

fn of_typed(path: &Path, mut each: impl FnMut(u64, Piece<'_>)) -> Result<(), ReadError> {
    let reader = SerializedFileReader::new(File::open(path)?)?;
    let schema = reader.metadata().file_metadata().schema_descr();
    let names: Vec<String> = schema
        .columns()
        .iter()
        .map(|column| column.name().to_owned())
        .collect();
    if !names.iter().any(|name| name == "seq") {
        return Err(ReadError::NoSeq {
            got: names.join(", "),
        });
    }
    for (row, number) in reader.get_row_iter(None)?.zip(1..) {
        let row = row?;
        let cells: Vec<String> = row
            .get_column_iter()
            .map(|(_, field)| shown(field))
            .collect();
        let (names, cells) = (&names[..], &cells[..]);
        each(number, Piece::Row { names, cells });
    }
    Ok(())
}

/// What stands in a row under a name, as [`pieces`] tells it; none if there is no such column.
pub(super) fn told(row: &Row<'_>, name: &str) -> Option<String> {
    let column = COLUMNS.iter().find(|column| column.name == name)?;
    Some(match (column.cell)(row) {
        None => String::new(),
        Some(Cell::Text(text)) => safe(text),
        Some(Cell::Whole(number)) => number.to_string(),
        Some(Cell::Decimal(number)) => short(number).to_string(),
        Some(Cell::Time(at)) => at.to_string(),
    })
}

fn kind_of(name: &str) -> Option<Kind> {
    let column = COLUMNS.iter().find(|column| column.name == name);
    column.map(|column| column.kind)
}

/// A cell, as it is if nobody but us has written it.
fn same(kind: Option<Kind>, cell: &str, delimiter: u8) -> String {
    let number = match kind {
        Some(Kind::Decimal(_) | Kind::Whole) if delimiter != b',' => cell.trim().replace(',', "."),
        Some(Kind::Decimal(_) | Kind::Whole) => cell.trim().to_owned(),
        Some(Kind::Time) => {
            let time = cell.trim().parse::<WallMicros>();
            return time.map_or_else(|_| cell.to_owned(), |at| at.to_string());
        }
        Some(Kind::Text) | None => return safe(cell),
    };
    match number.parse::<Decimal>() {
        Ok(number) => short(number).to_string(),
        Err(_) => cell.to_owned(),
    }
}

/// Without zeros at the end of its fraction.
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
