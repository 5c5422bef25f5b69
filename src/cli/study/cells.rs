//! Finds the needed columns of a CSV file, and reads their cells.
//!
//! Lines before the headings that begin with `#` are remarks; after the headings `#` is data. A line with another
//! number of cells than the headings is refused.

use crate::cli::Failure;
use crate::quantity::did_you_mean;
use csv::StringRecord;
use std::io::{self, Read, Seek, SeekFrom};

/// Positions of the needed columns.
pub(super) struct Columns {
    value: usize,
    keys: Vec<(String, usize)>,
    count: usize,
    /// Line of the headings, from 1.
    heading: u64,
    /// Whether the column to the right of the readings has no heading.
    pub(super) beside_is_unnamed: bool,
}

/// The needed cells of a line.
pub(super) struct Line {
    /// Number of the line, from 1.
    pub(super) number: u64,
    pub(super) value: String,
    /// The cell to the right of the value.
    pub(super) beside: String,
    pub(super) keys: Vec<String>,
}

impl Columns {
    /// Finds the line of headings and the position of every column.
    pub(super) fn find<S: Read + ?Sized>(
        source: &mut S,
        shown: &str,
        column: &str,
        keys: &[&str],
    ) -> Result<Self, Failure> {
        let mut records = reader(source);
        let mut record = StringRecord::new();
        loop {
            let more = records.read_record(&mut record);
            if !more.map_err(|error| no_csv(shown, &error))? {
                return Err(
                    Failure::usage(format!("{shown} has no heading line")).with_remedy(format!(
                        "its first line names the columns, one of them {column:?}"
                    )),
                );
            }
            let is_remark = record.get(0).is_some_and(|cell| cell.starts_with('#'));
            if !is_remark || record.iter().any(|cell| cell == column) {
                break;
            }
        }
        let place = |name: &str| place(&record, shown, name);
        let value = place(column)?;
        let keys = keys.iter().map(|key| Ok(((*key).to_owned(), place(key)?)));
        Ok(Self {
            value,
            keys: keys.collect::<Result<_, Failure>>()?,
            count: record.len(),
            heading: record.position().map_or(0, csv::Position::line),
            beside_is_unnamed: record.get(value + 1).is_some_and(str::is_empty),
        })
    }
}

fn place(headings: &StringRecord, shown: &str, name: &str) -> Result<usize, Failure> {
    let mut places = headings
        .iter()
        .enumerate()
        .filter(|(_, heading)| *heading == name);
    let Some((first, _)) = places.next() else {
        let known: Vec<&str> = headings.iter().collect();
        let failure = Failure::usage(format!("{shown} has no column {name:?}"));
        let others = [';', '\t'];
        let parted = known.len() == 1
            && others
                .iter()
                .any(|by| known.iter().any(|one| one.contains(*by)));
        return Err(failure.with_remedy(if parted {
            "save it with commas between the cells, and with points in the numbers".to_owned()
        } else {
            did_you_mean(name, &known)
        }));
    };
    match places.next() {
        None => Ok(first),
        Some(_) => Err(Failure::usage(format!("{shown} has two columns {name:?}"))
            .with_remedy("give one of them another heading")),
    }
}

type Records<'s, S> = csv::Reader<PlainEnds<'s, S>>;

fn reader<S: Read + ?Sized>(source: &mut S) -> Records<'_, S> {
    csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .has_headers(false)
        .flexible(true)
        .from_reader(PlainEnds {
            source,
            after_return: false,
        })
}

/// A source whose lines all end with a line feed. The reader of records counts line feeds only, and that of a `\r\n` not
/// before the next record, so its numbers of lines are otherwise wrong.
struct PlainEnds<'s, S: Read + ?Sized> {
    source: &'s mut S,
    after_return: bool,
}

impl<S: Read + ?Sized> Read for PlainEnds<'_, S> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            let count = self.source.read(into)?;
            let mut kept = 0;
            for at in 0..count {
                let Some(byte) = into.get(at).copied() else {
                    break;
                };
                let second_half = byte == b'\n' && self.after_return;
                self.after_return = byte == b'\r';
                if second_half {
                    continue;
                }
                if let Some(place) = into.get_mut(kept) {
                    *place = if self.after_return { b'\n' } else { byte };
                    kept += 1;
                }
            }
            if kept > 0 || count == 0 {
                return Ok(kept);
            }
        }
    }
}

fn no_csv(shown: &str, error: &csv::Error) -> Failure {
    if let csv::ErrorKind::Io(_) = error.kind() {
        return Failure::io(format!("{shown} cannot be read")).because(error);
    }
    Failure::usage(format!("{shown} is no CSV file")).because(error)
}

/// The lines after the headings.
pub(super) struct Cells<'s, S: Read + ?Sized> {
    records: Records<'s, S>,
    record: StringRecord,
    columns: &'s Columns,
    shown: &'s str,
}

impl<'s, S: Read + Seek + ?Sized> Cells<'s, S> {
    /// Begins at the first line after the headings.
    pub(super) fn new(
        source: &'s mut S,
        columns: &'s Columns,
        shown: &'s str,
    ) -> Result<Self, Failure> {
        let begun = source.seek(SeekFrom::Start(0));
        begun.map_err(|error| Failure::io(format!("{shown} cannot be read")).because(&error))?;
        Ok(Self {
            records: reader(source),
            record: StringRecord::new(),
            columns,
            shown,
        })
    }

    /// The next line; `None` at the end.
    pub(super) fn next(&mut self) -> Result<Option<Line>, Failure> {
        let Self {
            records,
            record,
            columns,
            shown,
        } = self;
        loop {
            let more = records.read_record(record);
            if !more.map_err(|error| no_csv(shown, &error))? {
                return Ok(None);
            }
            let number = record.position().map_or(0, csv::Position::line);
            if number <= columns.heading {
                continue;
            }
            if record.len() != columns.count {
                return Err(unlike_heading(shown, number, record.len(), columns.count));
            }
            let cell = |at: usize| record.get(at).unwrap_or_default().to_owned();
            let value = cell(columns.value);
            let unnamed = columns.keys.iter().find(|(_, at)| cell(*at).is_empty());
            if let (false, Some((key, _))) = (value.is_empty(), unnamed) {
                return Err(Failure::usage(format!(
                    "{shown}:{number}: the cell under {key:?} is empty"
                ))
                .with_remedy("fill it in, or take the line out"));
            }
            return Ok(Some(Line {
                number,
                value,
                beside: cell(columns.value + 1),
                keys: columns.keys.iter().map(|(_, at)| cell(*at)).collect(),
            }));
        }
    }
}

fn unlike_heading(shown: &str, number: u64, got: usize, want: usize) -> Failure {
    let failure =
        Failure::usage(format!("{shown} is no CSV file")).because(&Unlike { number, got, want });
    failure.with_remedy(
        "every line needs as many cells as the heading line has; a decimal comma parts a number into two cells: write a point",
    )
}

#[derive(Debug, thiserror::Error)]
#[error("line {number} has {got} cells, the heading line has {want}")]
struct Unlike {
    number: u64,
    got: usize,
    want: usize,
}
