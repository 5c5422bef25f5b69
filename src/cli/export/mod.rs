//! `tallyjaw export`: exit 0; 2 for wrong use; 4 if the journal cannot be read or the file cannot be written.
//!
//! In: the journal. Out: CSV or Parquet with one row for each reading, or lines of the journal. It goes to standard
//! output, or to a file that appears only when it is complete.

mod make;
mod target;

pub(super) use make::ExportRequest;

use super::query::{Query, indexed, lines};
use super::{Context, Exit, Failure, configured, signed};
use crate::config::DaemonConfig;
use crate::entry::{JournalId, Seq};
use crate::export::{Mark, MarkError, Marks, Question};
use crate::index::Plan;
use make::Range;
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;
use target::{Target, Writer, cannot_be_written, not_written, whole_file};

/// What is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// One row per reading, for spreadsheets (RFC 4180)
    Csv,
    /// The lines of the journal, byte for byte
    Jsonl,
    /// One row per reading with typed columns, for databases
    Parquet,
}

/// Export readings as CSV, Parquet or lines of the journal
///
/// A reading is written once its series is closed, since it may be doubted or retracted until then; the column
/// `standing` says what became of it. Readings of an open series come last, as they stand now; with --since-last they
/// wait for the next export. No daemon is needed.
///
/// In CSV, a text that a spreadsheet would take for a formula (it begins with = + - @, a tab or a line break) gets an
/// apostrophe before it, and so does a text that begins with one. Numbers stay numbers.
///
/// The options of the export and the range of its entries are kept in the metadata of a Parquet file, else in
/// FILE.question.json beside the file. Keep the two together: with it `verify` finds readings that are missing.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw export csv 37 -o run.csv                 the readings of series 37
  tallyjaw export parquet --terminal QF-250-F --since 2026-11-01 -o november.parquet
  tallyjaw export jsonl | tail -n 3                 the whole journal
  tallyjaw export csv --since-last lake -o 7.csv    readings since the last export of this name

With --since-last the position is kept in state_dir/exports/NAME.json. It is moved only after the output is durable: after \
a crash the next export may repeat readings, but never leaves one out. `journal` and `seq` identify a repeated reading. \
To start again from the beginning, remove that file.")]
pub(super) struct Export {
    /// The format
    format: Format,
    #[command(flatten)]
    query: Query,
    /// Only readings that count, none that are doubted, retracted or not counted
    #[arg(long)]
    counted: bool,
    /// Write into this file, which appears once it is complete; `-` is standard output
    #[arg(short, long, value_name = "FILE", default_value = "-")]
    out: PathBuf,
    /// Replace a file that is there
    #[arg(long)]
    force: bool,
    /// Only readings that no earlier export of this name had
    #[arg(long, value_name = "NAME", conflicts_with = "series")]
    since_last: Option<String>,
    /// Write the options and the range into this file [default: beside the output, or in the metadata of Parquet]
    #[arg(long, value_name = "FILE")]
    question: Option<PathBuf>,
}

impl Export {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.counted && self.format == Format::Jsonl {
            return Err(Failure::usage("--counted chooses readings, but jsonl has whole entries")
                .with_remedy("export csv or parquet; in jsonl the entries `doubted` and `retracted` say what became of a reading"));
        }
        let daemon = configured::daemon_of(context)?;
        self.query.filter()?;
        let target = Target::open(&self.out, self.force, self.format == Format::Parquet)?;
        let sidecar = self.sidecar();
        let sidecar =
            sidecar.map(|(path, force)| whole_file(&path, force).map(|file| (file, path)));
        let sidecar = sidecar.transpose()?;
        let journal = lines::journal(&daemon)?;
        let marks = self.since_last.as_deref();
        let marks = marks
            .map(|name| Marks::hold(&daemon.state_dir, name).map_err(|error| no_mark(&error)))
            .transpose()?;
        let mark = marks
            .as_ref()
            .map(|marks| self.mark(&daemon, marks, &journal.0))
            .transpose()?;
        let writer = Writer::new(self.format, target, &journal).map_err(not_written)?;
        let (writer, question, open) = self.write(&daemon, &journal, mark.as_ref(), writer)?;
        let target = writer.finish(&question).map_err(not_written)?;
        if let Some((_, path)) = &sidecar {
            let _ = std::fs::remove_file(path); // A new file must never be seen beside an old question.
            signed::withdraw(path)?;
        }
        signed::withdraw(&self.out)?;
        let bytes = target.finish(marks.is_some())?;
        if let Some((file, path)) = sidecar {
            let written = question.write(file);
            written.map_err(|error| cannot_be_written(&path.display().to_string(), &error))?;
            signed::sign(&daemon.state_dir, &path)?;
        }
        signed::sign(&daemon.state_dir, &self.out)?;
        if let (Some(marks), Some(mark)) = (&marks, mark) {
            let last = Seq(question.last);
            let from = open.map_or(last, |open| Seq(open.0.saturating_sub(1)));
            marks
                .write(&mark.moved(last, from))
                .map_err(|error| no_mark(&error))?;
        }
        self.tell(context, question.rows, bytes, out)?;
        Ok(Exit::Yes)
    }

    /// The file for the question, if it is not stored in the export itself, and whether an existing one is replaced.
    fn sidecar(&self) -> Option<(PathBuf, bool)> {
        let is_beside = self.out.as_os_str() != "-" && self.format != Format::Parquet;
        let named = self.question.clone().map(|path| (path, self.force));
        named.or_else(|| is_beside.then(|| (Question::beside(&self.out), true)))
    }

    /// Writes the export. Returns the request, and the first of its series that is still open.
    fn write(
        &self,
        daemon: &DaemonConfig,
        journal: &JournalId,
        mark: Option<&Mark>,
        mut writer: Writer,
    ) -> Result<(Writer, Question, Option<Seq>), Failure> {
        let asked = ExportRequest {
            lines: self.format == Format::Jsonl,
            query: self.query.clone(),
            counted: self.counted,
            settled_after: mark.map(|mark| Seq(mark.after)),
        };
        let filter = self.query.filter()?;
        let from = mark.map_or(filter.after(), |mark| Seq(mark.from));
        // What follows a mark is little, and a line may be of this export by one of another series.
        let plan = if mark.is_some() || asked.lines {
            Plan::of_everything(&daemon.state_dir)
        } else {
            indexed::plan_of_readings(daemon, &filter, true)
        };
        let (mut range, mut rows) = (Range::default(), 0);
        let ((), open) = asked.make(
            daemon,
            journal,
            |given| {
                rows += 1;
                writer.put(given).map_err(not_written)
            },
            |looker, take| {
                let look = |line: &[u8]| looker.look(line);
                indexed::each_with(daemon, &plan, from, look, |line, look| {
                    range.take(line);
                    take(line, look)
                })
            },
        )?;
        let (first, last, digest) = range.ends(from);
        let question = Question {
            tallyjaw: env!("CARGO_PKG_VERSION").to_owned(),
            journal: journal.0.clone(),
            of_lines: asked.lines,
            columns: writer.columns(),
            query: asked.query.json(),
            counted: asked.counted,
            settled_after: asked.settled_after.map(|seq| seq.0),
            since_last: self.since_last.clone(),
            first: first.0,
            last: last.0,
            digest: digest.to_string(),
            rows,
        };
        Ok((writer, question, open))
    }

    /// The stored position of this name, or a new one.
    fn mark(&self, daemon: &DaemonConfig, marks: &Marks, journal: &str) -> Result<Mark, Failure> {
        let asked = self.asked();
        let Some(mark) = marks.read().map_err(|error| no_mark(&error))? else {
            return Ok(Mark::new(journal, &asked));
        };
        if mark.journal != journal {
            return Err(Failure::usage(format!(
                "{} is of journal {}, this one is {journal}",
                marks.path().display(),
                mark.journal
            ))
            .with_remedy("use another name, or remove that file to export everything"));
        }
        let last = lines::last(daemon)?;
        if mark.after > last.0 {
            return Err(Failure::io(format!(
                "{} knows entry {} of this journal, which ends with entry {last}: it was rolled back",
                marks.path().display(),
                mark.after
            ))
            .with_remedy("put the newest copy of the journal back, or use another name to export everything"));
        }
        if mark.asked != asked {
            return Err(Failure::usage(format!(
                "the options are {asked:?}, but the earlier exports of this name had {:?}",
                mark.asked
            ))
            .with_remedy("use another name for other options"));
        }
        Ok(mark)
    }

    /// The options in words. Equal options give equal words.
    fn asked(&self) -> String {
        let form = if self.format == Format::Jsonl {
            "lines"
        } else {
            "rows"
        };
        let counted = if self.counted { " counted" } else { "" };
        format!("{form}{counted}{}", self.query.words())
    }

    fn tell(
        &self,
        context: &Context,
        count: u64,
        bytes: u64,
        out: &mut dyn Write,
    ) -> Result<(), Failure> {
        if self.out.as_os_str() == "-" {
            return Ok(());
        }
        let file = self.out.display().to_string();
        let what = if self.format == Format::Jsonl {
            "entries"
        } else {
            "readings"
        };
        if context.json {
            writeln!(
                out,
                "{}",
                json!({"kind": "export", "file": file, what: count, "bytes": bytes})
            )?;
        } else {
            let what = if count == 1 {
                what.strip_suffix("ies").map_or("reading", |_| "entry")
            } else {
                what
            };
            writeln!(out, "{file}: {count} {what}, {bytes} bytes")?;
        }
        Ok(())
    }
}

fn no_mark(error: &MarkError) -> Failure {
    match error {
        MarkError::Name { .. } | MarkError::Busy { .. } => Failure::usage(error.to_string()),
        MarkError::Io(_) => Failure::io(error.to_string()).with_remedy(
            "the position has not moved; the next export gives the same readings again",
        ),
    }
}
