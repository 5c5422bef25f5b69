//! Compares an export with its journal: makes it again for the question that it carries or that a person gives.

use super::claim::{Claim, Demanded, columns};
use super::{BAD, GOOD, HELP, walked};
use crate::cli::columns::count;
use crate::cli::export::ExportRequest;
use crate::cli::query::lines;
use crate::cli::{Context, Exit, Failure, FailureKind};
use crate::config::DaemonConfig;
use crate::entry::line::Digest;
use crate::entry::words::safe;
use crate::entry::{JournalId, Seq};
use crate::export::check::{CheckSummary, Difference, Explain, column_differences};
use crate::export::{
    AgainInBytes, Bytes, Check, ExportFormat, FileRows, Given, Question, ReadError,
};
use crate::journal::{Kept, ParsedLine, Report, StoredLine};
use serde_json::json;
use std::cell::RefCell;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::Path;

/// Compares the file with the journal in the daemon's state folder.
pub(super) fn verify(
    context: &Context,
    (path, form): (&Path, ExportFormat),
    daemon: &DaemonConfig,
    kept: (&Demanded, Kept),
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let checked = Checked::new((path, form), daemon, kept)?;
    if context.json {
        writeln!(out, "{}", checked.as_json())?;
    } else {
        checked.write(out)?;
    }
    let agrees = checked.mismatched() == 0 && checked.walked.findings.is_empty();
    Ok(if agrees { Exit::Yes } else { Exit::No })
}

/// What is wrong with a Parquet file whose rows agree.
const CHANGED: &str = "every row agrees, but the file is not as it was exported: what engines take from it besides (units, statistics by which they pass rows over) was changed";

fn not_made(error: &std::io::Error) -> Failure {
    Failure::io("the export cannot be made again").because(error)
}

/// Why a file is not an export.
pub(super) fn unreadable(path: &Path, error: &ReadError) -> Failure {
    let text = format!("{}: {error}", path.display());
    let failure = if error.is_io() {
        Failure::io(text)
    } else {
        Failure::usage(text)
    };
    failure.with_remedy(error.remedy())
}

/// The result of the comparison.
struct Checked {
    file: String,
    form: ExportFormat,
    claim: Claim,
    found: CheckSummary,
    /// The rows that differ; of many, the first ones.
    differences: Vec<Difference>,
    /// Columns that no export has, which were not compared.
    foreign: Vec<String>,
    /// Columns of every export that the file does not have.
    absent: Vec<&'static str>,
    /// The other program or release that has written a Parquet file, of which only the rows were compared.
    saved_by: Option<String>,
    /// The number of entries after the last one that the file was made from.
    since: Option<u64>,
    walked: Report,
}

impl Checked {
    fn new(
        (path, form): (&Path, ExportFormat),
        daemon: &DaemonConfig,
        (demanded, kept): (&Demanded, Kept),
    ) -> Result<Self, Failure> {
        let read = |error: ReadError| unreadable(path, &error);
        let mut claim = Claim::new(path, form, demanded)?;
        let journal = lines::journal(daemon)?;
        let other = claim.question.as_ref().map(|question| &question.journal);
        if let Some(other) = other.filter(|other| **other != journal.0).cloned() {
            claim.differ("the journal", Some((other, journal.0.clone())));
            claim.asked = None;
            claim.range = (Seq(0), Seq(u64::MAX));
        }
        if form == ExportFormat::Parquet
            && claim.question.is_none()
            && AgainInBytes::is_named_in(path).map_err(read)?
        {
            claim.differ("its question was taken out of it", None);
        }
        let file_rows = FileRows::open(path, form).map_err(read)?;
        let (foreign, absent) = columns(&file_rows);
        if claim.asked.is_some()
            && let Some(question) = &claim.question
        {
            claim
                .differences
                .extend(column_differences(&file_rows, &question.columns));
        }
        let again = Again {
            asked: claim.asked.clone().unwrap_or_else(|| ExportRequest {
                lines: form == ExportFormat::Lines,
                ..ExportRequest::default()
            }),
            range: claim.range,
            daemon,
            kept,
            journal: &journal,
        };
        let mut check =
            Check::new(file_rows, journal.clone(), claim.asked.is_some()).map_err(read)?;
        let question = claim.question.as_ref().filter(|_| claim.is_of_question);
        let mut in_bytes = question
            .filter(|_| form == ExportFormat::Parquet)
            .map(AgainInBytes::new)
            .transpose()
            .map_err(|error| not_made(&error))?;
        let (mut digest, mut unread) = (None, None);
        let last_read = again.range.1;
        let (walked, failed) = again.pass(
            |line| {
                if line.seq == last_read {
                    digest = Some(Digest::of(line.bytes));
                }
            },
            |given| {
                if let (Some(bytes), Given::Row(row)) = (&mut in_bytes, given) {
                    bytes.row(row).map_err(|error| not_made(&error))?;
                }
                check.given(given).map_err(|error| {
                    unread = Some(read(error));
                    Failure::io("the file cannot be read")
                })
            },
        )?;
        if let Some(error) = unread {
            return Err(error);
        }
        let found = check.finish().map_err(read)?;
        match failed {
            Some(error) if walked.is_intact() && error.kind() != FailureKind::Usage => {
                return Err(error);
            }
            Some(error) => claim.differ(&format!("it cannot be made again: {error}"), None),
            None => {}
        }
        if claim.asked.is_some() {
            claim.compare(&found, digest);
        }
        let mut saved_by = None;
        if let Some(in_bytes) = in_bytes.filter(|_| found.mismatched == 0) {
            match in_bytes.finish(path).map_err(read)? {
                Bytes::Changed if claim.differences.is_empty() => claim.differ(CHANGED, None),
                Bytes::Same | Bytes::Changed => {}
                Bytes::By(other) => saved_by = Some(other),
            }
        }
        let differences = again.explained(path, form, &found)?;
        let end = walked.last.unwrap_or(Seq(0)).0;
        let is_known = claim.asked.is_some() && last_read.0 < u64::MAX;
        Ok(Self {
            file: safe(&path.display().to_string()),
            form,
            claim,
            found,
            differences,
            foreign,
            absent,
            saved_by,
            since: is_known.then(|| end.saturating_sub(last_read.0)),
            walked,
        })
    }

    /// The differences, in rows and in the file as a whole.
    fn mismatched(&self) -> u64 {
        let of_file = u64::try_from(self.claim.differences.len()).unwrap_or(u64::MAX);
        self.found.mismatched.saturating_add(of_file)
    }

    /// A row of a table is a reading, a line is an entry.
    fn unit(&self) -> (&'static str, &'static str) {
        if self.form == ExportFormat::Lines {
            ("line", "entry")
        } else {
            ("row", "reading")
        }
    }

    fn write(&self, out: &mut dyn Write) -> Result<(), Failure> {
        let (file, found) = (&self.file, &self.found);
        let rows = number(found.checked, self.unit().0);
        match (self.mismatched(), &self.claim.asked) {
            (0, Some(_)) => writeln!(
                out,
                "{file}: {GOOD}agrees{GOOD:#} with the journal in all of its {rows}, and none is missing"
            )?,
            (0, None) if found.checked == 0 => writeln!(
                out,
                "{file}: has no {}s, so there is nothing to compare with the journal",
                self.unit().0
            )?,
            (0, None) => writeln!(
                out,
                "{file}: {GOOD}agrees{GOOD:#} with the journal in all of its {rows}"
            )?,
            (_, _) if found.mismatched == 0 => {
                writeln!(
                    out,
                    "{file}: {BAD}differs from the journal{BAD:#}; it has {rows}"
                )?;
            }
            (_, _) => writeln!(
                out,
                "{file}: {BAD}differs from the journal{BAD:#} in {}; it has {rows}",
                number(found.mismatched, self.unit().0)
            )?,
        }
        for part in &self.claim.differences {
            self.write_one(part, out)?;
        }
        match &found.other_journal {
            Some(other) => writeln!(out, "  every row names another journal: {}", safe(other))?,
            None => (self.differences.iter()).try_for_each(|part| self.write_one(part, out))?,
        }
        self.write_about(out)
    }

    fn write_one(&self, part: &Difference, out: &mut dyn Write) -> Result<(), Failure> {
        let (row, entry) = self.unit();
        let place = match (part.row, part.seq) {
            (None, None) => String::new(),
            (None, Some(seq)) => format!("{entry} {seq}: "),
            (Some(at), None) => format!("{row} {at}: "),
            (Some(at), Some(seq)) => format!("{row} {at}, {entry} {seq}: "),
        };
        let whole = part.about == self.unit().0;
        let heading = match (&part.exported, &part.journal) {
            (None, Some(_)) if whole => "missing from the file".to_owned(),
            (Some(_), None) if whole => "not part of this export".to_owned(),
            (Some(_), Some(_)) if whole => "differs from the journal".to_owned(),
            (_, _) => safe(&part.about),
        };
        writeln!(out, "  {BAD}{place}{heading}{BAD:#}")?;
        if part.exported.is_none() && part.journal.is_none() {
            return Ok(());
        }
        for (side, says) in [("exported", &part.exported), ("journal ", &part.journal)] {
            let says = says
                .as_deref()
                .map_or("(nothing)".to_owned(), |says| safe(&super::short(says)));
            writeln!(out, "    {side}  {says}")?;
        }
        if let Some(note) = &part.note {
            writeln!(out, "    {note}")?;
        }
        Ok(())
    }

    fn write_about(&self, out: &mut dyn Write) -> Result<(), Failure> {
        let walked = &self.walked;
        let journal = walked.journal.as_ref().map_or("?", |id| id.0.as_str());
        let end = walked.last.map_or(0, |last| last.0);
        writeln!(out, "  journal   {}, up to entry {end}", safe(journal))?;
        match walked.findings.len() {
            0 => writeln!(
                out,
                "  chain     intact, {} verdicts judged again",
                walked.verdicts
            )?,
            findings => writeln!(
                out,
                "  chain     {BAD}{}{BAD:#}\n{HELP}help{HELP:#}: find the fault of the journal: tallyjaw verify",
                count(findings, "finding")
            )?,
        }
        if self.found.is_reordered {
            writeln!(
                out,
                "  order     differs from the journal's; each row was looked up by its entry"
            )?;
        }
        if !self.foreign.is_empty() {
            writeln!(
                out,
                "  columns   not compared, since no export has them: {}",
                safe(&self.foreign.join(", "))
            )?;
        }
        if !self.absent.is_empty() {
            writeln!(
                out,
                "  columns   not in this file: {}",
                self.absent.join(", ")
            )?;
        }
        if let Some(by) = &self.saved_by {
            writeln!(
                out,
                "  saved by  {}: only rows and names of columns were compared, not what engines take from the file besides (units, statistics by which they pass rows over)",
                safe(by)
            )?;
        }
        if let Some(since) = self.since.filter(|since| *since > 0) {
            writeln!(
                out,
                "  newer     {}, added to the journal after the export",
                number(since, "entry")
            )?;
        }
        self.write_claim(out)
    }

    /// Writes the question that the file claims to answer.
    fn write_claim(&self, out: &mut dyn Write) -> Result<(), Failure> {
        let claim = &self.claim;
        let Some(asked) = &claim.asked else {
            writeln!(
                out,
                "  question  options not known: missing rows {BAD}cannot be found{BAD:#}\n{HELP}help{HELP:#}: give the file of options that export wrote, or the options and the last entry of that time:\n  tallyjaw verify {file} --question FILE\n  tallyjaw verify {file} --last SEQ --axis …",
                file = self.file
            )?;
            return Ok(());
        };
        let (first, last) = claim.range;
        let range = if claim.is_of_question {
            format!(", from entries {first} to {last}")
        } else {
            String::new()
        };
        let waits = if asked.settled_after.is_some() {
            ", without readings of open series and without those of earlier exports"
        } else {
            ""
        };
        writeln!(
            out,
            "  question  {}; according to {}",
            safe(&format!("{}{range}{waits}", asked.words())),
            safe(&claim.by)
        )?;
        if claim.is_of_question && claim.by != "the options" {
            writeln!(
                out,
                "            whoever removes readings can change these options too: check that they are the ones you gave"
            )?;
        }
        Ok(())
    }

    fn as_json(&self) -> serde_json::Value {
        let (found, walked, claim) = (&self.found, &self.walked, &self.claim);
        let differences = claim.differences.iter().chain(&self.differences);
        let differences = differences.map(|part| {
            json!({
                "row": part.row,
                "seq": part.seq.map(|seq| seq.0),
                "about": part.about,
                "exported": part.exported,
                "journal": part.journal,
                "note": part.note,
            })
        });
        json!({
            "kind": "verified_export",
            "file": self.file,
            "form": self.form.name(),
            "agrees": self.mismatched() == 0,
            "is_complete": claim.asked.as_ref().map(|_| self.mismatched() == 0),
            "asked": claim.asked.as_ref().map(ExportRequest::words),
            "asked_by": claim.asked.as_ref().map(|_| &claim.by),
            "question": claim.question.as_ref().map(Question::to_json),
            "checked": found.checked,
            "parted": self.mismatched(),
            "differences": differences.collect::<Vec<_>>(),
            "other_journal": found.other_journal,
            "sorted_anew": found.is_reordered,
            "entries_since": self.since,
            "foreign_columns": self.foreign,
            "absent_columns": self.absent,
            "saved_by": self.saved_by,
            "journal": walked.journal.as_ref().map(|id| id.0.as_str()),
            "last": walked.last.map(|last| last.0),
            "journal_findings": walked.findings.len(),
            "verdicts": walked.verdicts,
        })
    }
}

/// The data for making an export again.
struct Again<'a> {
    asked: ExportRequest,
    /// The range of entries that it is made from.
    range: (Seq, Seq),
    daemon: &'a DaemonConfig,
    kept: Kept,
    journal: &'a JournalId,
}

impl Again<'_> {
    /// The rows that differ, in words.
    fn explained(
        &self,
        path: &Path,
        form: ExportFormat,
        found: &CheckSummary,
    ) -> Result<Vec<Difference>, Failure> {
        let mut differences = Vec::new();
        if found.mismatched > 0 && found.other_journal.is_none() {
            let file_rows = FileRows::open(path, form).map_err(|error| unreadable(path, &error))?;
            let explain = RefCell::new(
                Explain::new(found, file_rows).map_err(|error| unreadable(path, &error))?,
            );
            self.pass(
                |line| explain.borrow_mut().line(line.seq, line.bytes),
                |given| {
                    explain.borrow_mut().given(given);
                    Ok(())
                },
            )?;
            differences = explain.into_inner().finish();
        }
        Ok(differences)
    }

    /// Makes one pass through the journal and checks its chain. `see` takes every line, `tell` all rows or lines of the
    /// export. The answer is why the pass could not be finished, if it could not.
    fn pass(
        &self,
        mut see: impl FnMut(StoredLine<'_>),
        tell: impl FnMut(Given<'_>) -> Result<(), Failure>,
    ) -> Result<(Report, Option<Failure>), Failure> {
        let mut walked_to_end = None;
        let mut failed = None;
        let (first, last) = self.range;
        let made = self
            .asked
            .make(self.daemon, self.journal, tell, |looker, take| {
                let mut is_over = false;
                let look =
                    |line: &[u8], parsed: &ParsedLine| looker.look_again(line, &parsed.decoded);
                let report = walked(
                    &self.daemon.state_dir,
                    self.kept.clone(),
                    look,
                    |line, look| {
                        see(line);
                        if is_over || line.seq < first || line.seq > last {
                            return;
                        }
                        match take(line, look) {
                            Ok(ControlFlow::Continue(())) => {}
                            Ok(ControlFlow::Break(())) => is_over = true,
                            Err(error) => {
                                failed = Some(error);
                                is_over = true;
                            }
                        }
                    },
                );
                walked_to_end = Some(report?);
                Ok(())
            });
        match walked_to_end {
            Some(report) => Ok((report, failed.or(made.err()))),
            None => Err(made
                .err()
                .unwrap_or_else(|| Failure::io("nothing was read"))),
        }
    }
}

fn number(number: u64, one: &str) -> String {
    match (number, one.strip_suffix('y')) {
        (1, _) => format!("1 {one}"),
        (_, Some(stem)) => format!("{number} {stem}ies"),
        (_, None) => format!("{number} {one}s"),
    }
}
