//! Readings as files that other programs read.
//!
//! In: rows. Out: CSV for people and spreadsheets, Parquet for engines; a [`Mark`] remembers how far somebody has been given the journal. And back: a [`Check`] holds
//! a file against the rows and lines that the journal gives.
//!
//! - Rows are written as they come, in bounded memory.
//! - Nothing is changed on the way: whole numbers and decimals stay exact.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: files for others, and how far they have been given"
)]

pub mod check;
mod csv_table;
mod mark;
mod parquet_table;
mod read;

pub use check::Check;
pub use csv_table::{CsvTable, guarded, unguarded};
pub use mark::{Mark, MarkError, Marks, known as known_by_marks};
pub use parquet_table::ParquetTable;
pub use read::{Form, Piece, ReadError, pieces};

use crate::row::Row;
use std::io;

/// A table that is being written.
pub trait Table {
    /// What the table is written to.
    type Target;

    /// Adds a row.
    fn row(&mut self, row: &Row<'_>) -> io::Result<()>;

    /// Writes what is left; gives back what was written to.
    fn finish(self) -> io::Result<Self::Target>;
}
