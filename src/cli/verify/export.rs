//! An export against its journal.

use super::{BAD, GOOD, HELP, walked};
use crate::cli::columns::count;
use crate::cli::progress::Progress;
use crate::cli::query::lines;
use crate::cli::{Context, Exit, Failure};
use crate::config::DaemonConfig;
use crate::entry::Seq;
use crate::entry::words::safe;
use crate::export::check::{Difference, Found};
use crate::export::{Check, Form, ReadError, pieces};
use crate::journal::Report;
use crate::row::Gather;
use serde_json::json;
use std::io::Write;
use std::ops::ControlFlow;
use std::path::Path;

/// Compares the file with the journal in the daemon's state folder.
pub(super) fn verify(
    context: &Context,
    path: &Path,
    form: Form,
    daemon: &DaemonConfig,
    is_whole: bool,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let walked = walked(&daemon.state_dir, None)?;
    let found = compared(path, form, daemon, is_whole)?;
    let checked = Checked {
        file: safe(&path.display().to_string()),
        form,
        found,
        walked,
    };
    if context.json {
        writeln!(out, "{}", checked.as_json())?;
    } else {
        checked.write(out)?;
    }
    let agrees = checked.found.parted == 0 && checked.walked.findings.is_empty();
    Ok(if agrees { Exit::Yes } else { Exit::No })
}

/// Why a file is none.
pub(super) fn unreadable(path: &Path, error: &ReadError) -> Failure {
    let text = format!("{}: {error}", path.display());
    let failure = if error.is_io() {
        Failure::io(text)
    } else {
        Failure::usage(text)
    };
    failure.with_remedy(error.remedy())
}

/// The file is read twice: what differs is named only when it is known which rows do.
fn compared(
    path: &Path,
    form: Form,
    daemon: &DaemonConfig,
    is_whole: bool,
) -> Result<Found, Failure> {
    let read = |error: ReadError| unreadable(path, &error);
    let journal = lines::journal(daemon)?;
    let mut check = Check::new(journal.clone(), is_whole);
    let mut progress = Progress::new();
    pieces(path, form, |row, piece| {
        progress.show(|| format!("reading the export: row {row}"));
        check.exported(row, piece);
    })
    .map_err(read)?;
    drop(progress);
    let mut gather = Gather::new(journal);
    lines::each(daemon, Seq(0), |line| {
        let stamped = lines::decoded(daemon, line)?;
        check.entry(&stamped);
        if form == Form::Lines {
            check.line(&stamped, &line.bytes);
        } else {
            gather.take(&stamped, |row| {
                check.row(row);
                Ok::<_, Failure>(())
            })?;
        }
        Ok(ControlFlow::Continue(()))
    })?;
    gather.finish(|row| {
        check.row(row);
        Ok::<_, Failure>(())
    })?;
    pieces(path, form, |row, piece| check.again(row, piece)).map_err(read)?;
    Ok(check.finish())
}

/// What came of it.
struct Checked {
    file: String,
    form: Form,
    found: Found,
    walked: Report,
}

impl Checked {
    /// A row of a table is a reading, a line is an entry.
    fn unit(&self) -> (&'static str, &'static str) {
        if self.form == Form::Lines {
            ("line", "entry")
        } else {
            ("row", "reading")
        }
    }

    fn write(&self, out: &mut dyn Write) -> Result<(), Failure> {
        let (file, found) = (&self.file, &self.found);
        let rows = number(found.checked, self.unit().0);
        match found.parted {
            0 if found.checked == 0 => writeln!(
                out,
                "{file}: has no {}: nothing that the journal could contradict",
                self.unit().0
            )?,
            0 => writeln!(
                out,
                "{file}: {GOOD}agrees{GOOD:#} with the journal in all of its {rows}"
            )?,
            parted => writeln!(
                out,
                "{file}: {BAD}parts from the journal{BAD:#} in {}; it has {rows}",
                number(parted, self.unit().0)
            )?,
        }
        if let Some(other) = &found.other_journal {
            writeln!(
                out,
                "  every row says that it is of journal {}",
                safe(other)
            )?;
        } else {
            found
                .differences
                .iter()
                .try_for_each(|part| self.write_one(part, out))?;
        }
        self.write_about(out)
    }

    fn write_one(&self, part: &Difference, out: &mut dyn Write) -> Result<(), Failure> {
        let (row, entry) = self.unit();
        let row = part
            .row
            .map_or_else(|| format!("no {row}"), |at| format!("{row} {at}"));
        let seq = part
            .seq
            .map_or_else(String::new, |seq| format!(", {entry} {seq}"));
        writeln!(out, "  {BAD}{row}{seq}: {}{BAD:#}", safe(&part.about))?;
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
        let (found, walked) = (&self.found, &self.walked);
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
                "  chain     {BAD}{}{BAD:#}\n{HELP}help{HELP:#}: see what is wrong with the journal itself: tallyjaw verify",
                count(findings, "finding")
            )?,
        }
        let list = |names: Vec<String>| {
            names
                .iter()
                .map(|name| safe(name))
                .collect::<Vec<_>>()
                .join(", ")
        };
        if !found.foreign_columns.is_empty() {
            let names = list(found.foreign_columns.clone());
            writeln!(
                out,
                "  columns   not compared, since no export has them: {names}"
            )?;
        }
        if !found.absent_columns.is_empty() {
            let names = found.absent_columns.iter().map(|name| (*name).to_owned());
            writeln!(
                out,
                "  columns   not in this file: {}",
                list(names.collect())
            )?;
        }
        if found.left_out > 0 {
            writeln!(
                out,
                "  left out  {} of the same time: not asked for, or taken out as a whole, which a file cannot tell",
                number(found.left_out, self.unit().1)
            )?;
        }
        if found.cut != (0, 0) {
            let (before, behind) = found.cut;
            let unit = self.unit().1;
            writeln!(
                out,
                "  {BAD}cut{BAD:#}       of these series the journal has {} before the first here and {} behind the last: asked for up to a time, entered since, or taken out",
                number(before, unit),
                number(behind, unit)
            )?;
        }
        if found.since > 0 {
            writeln!(
                out,
                "  since     {} behind the last one here",
                number(found.since, "entry")
            )?;
        }
        if found.cut != (0, 0) {
            writeln!(
                out,
                "{HELP}help{HELP:#}: if no time was asked for: tallyjaw verify --whole {}",
                self.file
            )?;
        }
        Ok(())
    }

    fn as_json(&self) -> serde_json::Value {
        let (found, walked) = (&self.found, &self.walked);
        let differences = found.differences.iter().map(|part| {
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
            "agrees": found.parted == 0,
            "checked": found.checked,
            "parted": found.parted,
            "differences": differences.collect::<Vec<_>>(),
            "other_journal": found.other_journal,
            "left_out": found.left_out,
            "cut_before": found.cut.0,
            "cut_behind": found.cut.1,
            "entries_since": found.since,
            "foreign_columns": found.foreign_columns,
            "absent_columns": found.absent_columns,
            "journal": walked.journal.as_ref().map(|id| id.0.as_str()),
            "last": walked.last.map(|last| last.0),
            "journal_findings": walked.findings.len(),
            "verdicts": walked.verdicts,
        })
    }
}

fn number(number: u64, one: &str) -> String {
    match (number, one.strip_suffix('y')) {
        (1, _) => format!("1 {one}"),
        (_, Some(stem)) => format!("{number} {stem}ies"),
        (_, None) => format!("{number} {one}s"),
    }
}
