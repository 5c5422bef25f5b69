//! Readings as files that other programs read.
//!
//! In: rows. Out: CSV for people and spreadsheets, Parquet for engines; a [`Mark`] remembers how far somebody has
//! been given the journal, a [`Question`] says what a file answers. And back: a [`Check`] holds a file against the
//! rows and lines that the journal gives.
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
mod question;
mod read;

pub use check::{Check, Given};
pub use csv_table::{CsvTable, guarded, unguarded};
pub use mark::{Mark, MarkError, Marks, known as known_by_marks};
pub use parquet_table::ParquetTable;
pub use question::{Question, QuestionError};
pub use read::{Content, ExportFormat, FileRow, FileRows, ReadError};
