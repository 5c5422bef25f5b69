//! Writes rows as Parquet: typed columns, zstd, and a description of every column in the metadata.
//!
//! - Values are collected by column. A full group of rows is written, so memory does not grow with the file. Texts are
//!   collected as indices of distinct texts.
//! - Every value is exact: whole nanometres and millinewtons, with decimals beside them.

use super::Question;
use crate::entry::Seq;
use crate::quantity::Decimal;
use crate::row::{Cell, Column, ColumnType, Row, Slot};
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as Physical, ZstdLevel};
use parquet::data_type::{ByteArray, ByteArrayType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::{Type, TypePtr};
use serde_json::{Map, Value, json};
use std::collections::{BTreeSet, HashMap};
use std::io::{self, Write};
use std::sync::Arc;

/// Number of rows in a group.
const GROUP: usize = 128 * 1024;
/// The writer counts the bytes of a file in a `usize`, which on a 32-bit processor begins again at 4 GiB, without a word.
const MOST_BYTES: usize = usize::MAX / 2;
/// Number of texts that are encoded at a time.
const BATCH: usize = 1024;
/// Maximum number of distinct specifications in the metadata.
const SPECS: usize = 256;
/// Key of the export's question in the metadata.
pub(super) const QUESTION: &str = "tallyjaw.question";
/// Number of digits of a decimal.
const PRECISION: i32 = 18;

/// A Parquet file that is being written.
pub struct ParquetTable<W: Write + Send> {
    writer: SerializedFileWriter<W>,
    columns: Vec<(&'static Column, Gathered)>,
    rows: usize,
    specs: BTreeSet<String>,
    specs_left_out: bool,
    /// Series and axis that were noted last.
    noted: Option<(Seq, String)>,
}

/// The values of a column in an incomplete group.
enum Gathered {
    Texts {
        known: HashMap<Box<str>, u32>,
        texts: Vec<ByteArray>,
        /// For each row the number of its text, from 1; 0 if it has none.
        rows: Vec<u32>,
    },
    Wholes {
        levels: Vec<i16>,
        values: Vec<i64>,
    },
}

impl<W: Write + Send> ParquetTable<W> {
    /// The program that has written a file, as its metadata say.
    pub const CREATED_BY: &str = concat!("tallyjaw ", env!("CARGO_PKG_VERSION"));

    /// Begins a file. `about` is added to the metadata: keys without `tallyjaw.`, with their values. The columns
    /// `without` are left out.
    pub fn new(target: W, about: &[(&str, &str)], without: &[&str]) -> io::Result<Self> {
        let kept = |column: &&Column| !without.contains(&column.name);
        let kept: Vec<&'static Column> = Column::of_typed().filter(kept).collect();
        let level = ZstdLevel::try_new(3).map_err(as_io)?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(level))
            .set_created_by(Self::CREATED_BY.to_owned())
            .build();
        let schema = schema(&kept).map_err(as_io)?;
        let mut writer =
            SerializedFileWriter::new(target, schema, Arc::new(properties)).map_err(as_io)?;
        for (name, says) in about {
            writer.append_key_value_metadata(metadata(name, (*says).to_owned()));
        }
        writer.append_key_value_metadata(metadata("columns", columns(&kept).to_string()));
        Ok(Self {
            writer,
            columns: kept
                .into_iter()
                .map(|column| (column, Gathered::new(column)))
                .collect(),
            rows: 0,
            specs: BTreeSet::new(),
            specs_left_out: false,
            noted: None,
        })
    }

    /// Notes the specification of the row for the metadata.
    fn note(&mut self, row: &Row<'_>) {
        let Some(slot) = &row.slot else {
            return;
        };
        let noted = self.noted.as_ref();
        if noted.is_some_and(|(series, axis)| *series == slot.series && axis == slot.axis) {
            return;
        }
        self.noted = Some((slot.series, slot.axis.to_owned()));
        let spec = spec(slot);
        if self.specs.len() < SPECS {
            self.specs.insert(spec);
        } else if !self.specs.contains(&spec) {
            self.specs_left_out = true;
        }
    }

    fn flush_group(&mut self) -> io::Result<()> {
        if std::mem::take(&mut self.rows) == 0 {
            return Ok(());
        }
        let mut group = self.writer.next_row_group().map_err(as_io)?;
        for (_, gathered) in &mut self.columns {
            let Some(mut writer) = group.next_column().map_err(as_io)? else {
                return Err(io::Error::other("a column is missing"));
            };
            gathered.write(&mut writer).map_err(as_io)?;
            writer.close().map_err(as_io)?;
        }
        group.close().map_err(as_io)?;
        if self.writer.bytes_written() > MOST_BYTES {
            return Err(io::Error::new(
                io::ErrorKind::FileTooLarge,
                format!(
                    "a Parquet file of more than {} GiB cannot be written on this processor; ask for fewer readings, or export CSV",
                    (MOST_BYTES >> 30) + 1
                ),
            ));
        }
        Ok(())
    }
    /// Names of the columns.
    pub fn columns(&self) -> impl Iterator<Item = &'static str> {
        self.columns.iter().map(|(column, _)| column.name)
    }

    /// Adds a row.
    pub fn row(&mut self, row: &Row<'_>) -> io::Result<()> {
        for (column, gathered) in &mut self.columns {
            gathered.add(column, (column.cell)(row))?;
        }
        self.note(row);
        self.rows += 1;
        if self.rows >= GROUP {
            self.flush_group()?;
        }
        Ok(())
    }

    /// Writes what is buffered, and the question. Returns the target.
    pub fn finish(mut self, question: &Question) -> io::Result<W> {
        self.flush_group()?;
        let asked = KeyValue::new(QUESTION.to_owned(), question.to_json().to_string());
        self.writer.append_key_value_metadata(asked);
        let specs: Vec<Value> = std::mem::take(&mut self.specs)
            .iter()
            .filter_map(|spec| serde_json::from_str(spec).ok())
            .collect();
        let specs = metadata("spec", Value::Array(specs).to_string());
        self.writer.append_key_value_metadata(specs);
        if self.specs_left_out {
            let more = metadata("spec_is_cut", format!("only the first {SPECS} are listed"));
            self.writer.append_key_value_metadata(more);
        }
        self.writer.into_inner().map_err(as_io)
    }
}

impl Gathered {
    fn new(column: &Column) -> Self {
        match column.kind {
            ColumnType::Text => Self::Texts {
                known: HashMap::new(),
                texts: Vec::new(),
                rows: Vec::new(),
            },
            ColumnType::Whole | ColumnType::Decimal(_) | ColumnType::Time => Self::Wholes {
                levels: Vec::new(),
                values: Vec::new(),
            },
        }
    }

    fn add(&mut self, column: &Column, cell: Option<Cell<'_>>) -> io::Result<()> {
        match self {
            Self::Texts { known, texts, rows } => {
                let Some(Cell::Text(text)) = cell else {
                    rows.push(0);
                    return Ok(());
                };
                // Most rows have the same text as the row before.
                let last = rows.last().copied().filter(|last| {
                    text_of(texts, *last).is_some_and(|before| before.data() == text.as_bytes())
                });
                let number = last.or_else(|| known.get(text).copied());
                let number = number.unwrap_or_else(|| {
                    texts.push(ByteArray::from(text.as_bytes().to_vec()));
                    let number = u32::try_from(texts.len()).unwrap_or(u32::MAX); // A group has fewer rows.
                    known.insert(text.into(), number);
                    number
                });
                rows.push(number);
            }
            Self::Wholes { levels, values } => {
                let value = match cell {
                    Some(Cell::Whole(number)) => Some(number),
                    Some(Cell::Time(at)) => Some(at.0),
                    Some(Cell::Decimal(number)) => Some(unscaled(column, number)?),
                    Some(Cell::Text(_)) | None => None,
                };
                levels.push(i16::from(value.is_some()));
                values.extend(value);
            }
        }
        Ok(())
    }

    /// Writes the values, and forgets them; their memory serves the next group.
    fn write(&mut self, writer: &mut SerializedColumnWriter<'_>) -> Result<(), ParquetError> {
        match self {
            Self::Wholes { levels, values } => {
                let typed = writer.typed::<Int64Type>();
                typed.write_batch(values, Some(levels), None)?;
                levels.clear();
                values.clear();
            }
            Self::Texts { texts, rows, known } => {
                let typed = writer.typed::<ByteArrayType>();
                let (mut values, mut levels) = (Vec::new(), Vec::new());
                for batch in rows.chunks(BATCH) {
                    values.clear();
                    levels.clear();
                    let text = |number: &u32| text_of(texts, *number).cloned();
                    values.extend(batch.iter().filter_map(text));
                    levels.extend(batch.iter().map(|number| i16::from(*number > 0)));
                    typed.write_batch(&values, Some(&levels), None)?;
                }
                texts.clear();
                rows.clear();
                known.clear();
            }
        }
        Ok(())
    }
}

/// The text with this number, from 1.
fn text_of(texts: &[ByteArray], number: u32) -> Option<&ByteArray> {
    texts.get(usize::try_from(number).ok()?.checked_sub(1)?)
}

/// A decimal as a whole number of the column's smallest step.
fn unscaled(column: &Column, number: Decimal) -> io::Result<i64> {
    let places = match column.kind {
        ColumnType::Decimal(places) => places,
        ColumnType::Text | ColumnType::Whole | ColumnType::Time => 0,
    };
    let scaled = places
        .checked_sub(number.decimals())
        .and_then(|missing| 10_i64.checked_pow(u32::from(missing)))
        .and_then(|factor| number.coefficient().checked_mul(factor));
    scaled.ok_or_else(|| {
        io::Error::other(format!(
            "{} {number} has more digits than the {places} after the point that a table has",
            column.name
        ))
    })
}

fn schema(kept: &[&Column]) -> Result<TypePtr, ParquetError> {
    let fields: Result<Vec<TypePtr>, ParquetError> = kept
        .iter()
        .map(|column| Ok(Arc::new(field(column)?)))
        .collect();
    let schema = Type::group_type_builder("reading")
        .with_fields(fields?)
        .build()?;
    Ok(Arc::new(schema))
}

fn field(column: &Column) -> Result<Type, ParquetError> {
    let (physical, logical) = match column.kind {
        ColumnType::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        ColumnType::Whole => (Physical::INT64, None),
        ColumnType::Decimal(places) => (
            Physical::INT64,
            Some(LogicalType::decimal(i32::from(places), PRECISION)),
        ),
        ColumnType::Time => (
            Physical::INT64,
            Some(LogicalType::timestamp(true, TimeUnit::MICROS)),
        ),
    };
    let mut builder = Type::primitive_type_builder(column.name, physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type(logical);
    if let ColumnType::Decimal(places) = column.kind {
        builder = builder
            .with_precision(PRECISION)
            .with_scale(i32::from(places));
    }
    builder.build()
}

fn metadata(name: &str, says: String) -> KeyValue {
    KeyValue::new(format!("tallyjaw.{name}"), says)
}

/// Description and unit of every column.
fn columns(kept: &[&Column]) -> Value {
    let fields = kept.iter().map(|column| {
        let mut says = Map::new();
        says.insert("says".to_owned(), json!(column.says));
        if let Some(unit) = column.unit {
            says.insert("unit".to_owned(), json!(unit));
        }
        (column.name.to_owned(), Value::Object(says))
    });
    Value::Object(fields.collect())
}

/// The specification of a row, as an object.
fn spec(slot: &Slot<'_>) -> String {
    let mut fields = Map::new();
    let wire = slot.wire.map(|wire| wire.area.to_string());
    let limits = slot.limits.to_string();
    let parts = [
        ("terminal", slot.terminal),
        ("wire", wire.as_deref()),
        ("axis", Some(slot.axis)),
        ("limits", Some(limits.as_str())),
    ];
    for (name, says) in parts {
        if let Some(says) = says {
            fields.insert(name.to_owned(), json!(says));
        }
    }
    Value::Object(fields).to_string()
}

/// The underlying error if it is one of writing, because the reader of a pipe may be gone.
fn as_io(error: ParquetError) -> io::Error {
    let ParquetError::External(cause) = error else {
        return io::Error::other(error);
    };
    match cause.downcast::<io::Error>() {
        Ok(cause) => *cause,
        Err(cause) => io::Error::other(cause),
    }
}
