//! Readings as files that other programs read.
//!
//! In: rows. Out: CSV for people and spreadsheets, and Parquet for query engines. A [`Mark`] stores how far an export
//! has got in the journal; a [`Question`] stores its options. A [`Check`] compares a file with the rows and lines of
//! the journal. A [`StoredSet`] gives the readings of many files back.
//!
//! - Rows are written as they come, in bounded memory.
//! - Values are not changed: whole numbers and decimals stay exact.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: files for others, and how far they have been given"
)]

mod again;
pub mod check;
mod csv_table;
mod folder;
mod mark;
mod parquet_table;
mod question;
mod read;
mod seen;
pub(crate) mod sql_table;
mod stored;
mod trapped;

pub use again::{AgainInBytes, Bytes};
pub use check::{Check, Given};
pub use csv_table::{CsvTable, guarded, unguarded};
pub use folder::{SetError, SetFault, StoredSeries, StoredSet};
pub use mark::{Mark, MarkError, Marks, known as known_by_marks};
pub use parquet_table::ParquetTable;
pub use question::{Question, QuestionError};
pub use read::{Content, ExportFormat, FileRow, FileRows, ReadError};
pub use seen::{Before, Seen};
pub use stored::{Header, RowFault, StoredRow};
