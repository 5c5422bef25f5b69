//! Writes an export in its format to a file or to standard output.

use super::Format;
use crate::cli::Failure;
use crate::durable::{Access, WholeFile};
use crate::entry::JournalId;
use crate::export::{CsvTable, Given, ParquetTable, Question};
use crate::row::Column;
use crate::system;
use std::io::{self, BufWriter, ErrorKind, IsTerminal as _, Write};
use std::path::Path;

/// An export that is being written.
pub(super) enum Writer {
    Csv(Box<CsvTable<Target>>),
    Parquet(Box<ParquetTable<Target>>),
    Lines(Target),
}

impl Writer {
    pub(super) fn new(format: Format, target: Target, journal: &JournalId) -> io::Result<Self> {
        Ok(match format {
            Format::Csv => Self::Csv(Box::new(CsvTable::new(target)?)),
            Format::Parquet => {
                let about = [("journal", journal.0.as_str())];
                Self::Parquet(Box::new(ParquetTable::new(target, &about, &[])?))
            }
            Format::Jsonl => Self::Lines(target),
        })
    }

    /// Names of its columns; empty for lines.
    pub(super) fn columns(&self) -> Vec<String> {
        match self {
            Self::Csv(_) => Column::of_text()
                .map(|column| column.name.to_owned())
                .collect(),
            Self::Parquet(table) => table.columns().map(str::to_owned).collect(),
            Self::Lines(_) => Vec::new(),
        }
    }

    pub(super) fn put(&mut self, given: Given<'_>) -> io::Result<()> {
        match (self, given) {
            (Self::Csv(table), Given::Row(row)) => table.row(row),
            (Self::Parquet(table), Given::Row(row)) => table.row(row),
            (Self::Lines(target), Given::Line(_, line)) => {
                target.write_all(line)?;
                target.write_all(b"\n")
            }
            (Self::Lines(_), Given::Row(_))
            | (Self::Csv(_) | Self::Parquet(_), Given::Line(..)) => {
                Err(io::Error::other("rows and lines are mixed"))
            }
        }
    }

    pub(super) fn finish(self, question: &Question) -> io::Result<Target> {
        match self {
            Self::Csv(table) => table.finish(),
            Self::Parquet(table) => table.finish(question),
            Self::Lines(target) => Ok(target),
        }
    }
}

/// An unfinished file or standard output, and the number of bytes written.
pub(super) struct Target {
    to: To,
    bytes: u64,
}

enum To {
    File(BufWriter<WholeFile>, String),
    Out(BufWriter<io::Stdout>),
}

/// Number of bytes that are written at a time.
const BUFFER: usize = 128 * 1024;

impl Target {
    pub(super) fn open(path: &Path, force: bool, is_binary: bool) -> Result<Self, Failure> {
        let to = if path.as_os_str() == "-" {
            let out = io::stdout();
            if is_binary && out.is_terminal() {
                return Err(Failure::usage("a terminal cannot show Parquet")
                    .with_remedy("write into a file: -o FILE"));
            }
            To::Out(BufWriter::with_capacity(BUFFER, out))
        } else {
            let shown = path.display().to_string();
            let file = whole_file(path, force)?;
            To::File(BufWriter::with_capacity(BUFFER, file), shown)
        };
        Ok(Self { to, bytes: 0 })
    }

    /// Writes what is buffered, and syncs it for a file or if `durable`. Returns the number of bytes.
    pub(super) fn finish(self, durable: bool) -> Result<u64, Failure> {
        match self.to {
            To::File(file, shown) => {
                let file = file.into_inner().map_err(io::IntoInnerError::into_error);
                file.and_then(WholeFile::commit)
                    .map_err(|error| cannot_be_written(&shown, &error))?;
            }
            To::Out(mut out) => {
                out.flush()?;
                if durable {
                    system::sync_stdout()?;
                }
            }
        }
        Ok(self.bytes)
    }
}

impl Write for Target {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = match &mut self.to {
            To::File(file, _) => file.write(bytes),
            To::Out(out) => out.write(bytes),
        }?;
        self.bytes += u64::try_from(written).unwrap_or_default();
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.to {
            To::File(file, _) => file.flush(),
            To::Out(out) => out.flush(),
        }
    }
}

pub(super) fn cannot_be_written(shown: &str, error: &io::Error) -> Failure {
    let kind = error.kind();
    if kind == ErrorKind::AlreadyExists {
        Failure::usage(format!("there is a file {shown}"))
            .with_remedy("choose another name, or replace it: --force")
    } else if kind == ErrorKind::NotFound {
        Failure::usage(format!("there is no folder for {shown}"))
            .with_remedy("make it, or choose another place")
    } else if kind == ErrorKind::InvalidInput {
        Failure::usage(format!("{shown:?} is no name of a file"))
    } else {
        Failure::io(format!("{shown} cannot be written")).because(error)
    }
}

/// An unfinished file that will get this name.
pub(super) fn whole_file(path: &Path, force: bool) -> Result<WholeFile, Failure> {
    WholeFile::create(path, force, Access::Usual)
        .map_err(|error| cannot_be_written(&path.display().to_string(), &error))
}

/// The failure if rows cannot be written to any target.
pub(super) fn not_written(error: io::Error) -> Failure {
    if error.kind() == ErrorKind::BrokenPipe {
        return Failure::from(error);
    }
    Failure::io("the export cannot be written").because(&error)
}
