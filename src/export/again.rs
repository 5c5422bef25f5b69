//! Checks whether a Parquet file is, byte for byte, what this release writes for the same rows.
//!
//! In: the question of a file, and its rows as the journal gives them. Out: [`Bytes`].
//!
//! The rows alone are not enough, because engines read more from a file: units and meanings of columns, and the minimum
//! and maximum values of groups of rows, by which they skip groups.

use super::read::{ReadError, created_by};
use super::{ParquetTable, Question};
use crate::row::Row;
use sha2::{Digest as _, Sha256};
use std::fs::File;
use std::io::{self, Write};
use std::path::Path;

/// The result for a file whose rows agree with the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Bytes {
    /// The bytes are those that this release writes.
    Same,
    /// The bytes differ, although the file says that this release wrote it.
    Changed,
    /// The file says that this other program or release wrote it, so its bytes are not compared.
    By(String),
}

/// The file, made again.
pub struct AgainInBytes {
    table: ParquetTable<Hashing>,
    question: Question,
}

#[derive(Default)]
struct Hashing(Sha256);

impl AgainInBytes {
    /// Begins the file with this question: an export, or a file of a data set, whose station is in its path.
    ///
    /// # Errors
    /// If it cannot be written; nothing is written to disk.
    pub fn new(question: &Question) -> io::Result<Self> {
        let station = question.query.get("station").and_then(|name| name.as_str());
        let is_of_set = !question.columns.iter().any(|name| name == "station");
        let mut about = vec![("journal", question.journal.as_str())];
        about.extend(station.filter(|_| is_of_set).map(|name| ("station", name)));
        let without: &[&str] = if is_of_set { &["station"] } else { &[] };
        let mut question = question.clone();
        env!("CARGO_PKG_VERSION").clone_into(&mut question.tallyjaw);
        Ok(Self {
            table: ParquetTable::new(Hashing::default(), &about, without)?,
            question,
        })
    }

    /// Whether the file says that this release wrote it.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn is_named_in(path: &Path) -> Result<bool, ReadError> {
        Ok(created_by(path)?.as_deref() == Some(ParquetTable::<Hashing>::CREATED_BY))
    }

    /// Takes the next row.
    ///
    /// # Errors
    /// If a value has no place in a table.
    pub fn row(&mut self, row: &Row<'_>) -> io::Result<()> {
        self.table.row(row)
    }

    /// Compares the result with the file.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn finish(self, path: &Path) -> Result<Bytes, ReadError> {
        let by = created_by(path)?.unwrap_or_default();
        if by != ParquetTable::<Hashing>::CREATED_BY {
            return Ok(Bytes::By(by));
        }
        let want = self.table.finish(&self.question)?.0.finalize();
        let mut got = Hashing::default();
        io::copy(&mut File::open(path)?, &mut got)?;
        if got.0.finalize() == want {
            Ok(Bytes::Same)
        } else {
            Ok(Bytes::Changed)
        }
    }
}

impl Write for Hashing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
