//! The differences between an export and its journal in words. Both are read once more. Only what is printed is kept.

use super::differences::{Unlike, cell_differences, line_differences};
use super::{CheckSummary, Given, Mismatch, What};
use crate::entry::ledger::Disposition;
use crate::entry::{Seq, Stamped, line};
use crate::export::read::{Content, FileRows, ReadError};
use std::collections::{HashMap, HashSet};

/// A place where an export and its journal differ.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// The row or line of the file; `None` if the file does not have it.
    pub row: Option<u64>,
    /// `seq` of the entry that the row came from, if it names one.
    pub seq: Option<Seq>,
    /// The column or field; `row` or `line` of a whole one.
    pub about: String,
    /// What the file says; `None` if nothing.
    pub exported: Option<String>,
    /// What the journal gives; `None` if nothing.
    pub journal: Option<String>,
    /// What may have caused it, if that is known.
    pub note: Option<String>,
}

impl Difference {
    /// A difference of the whole file.
    pub fn of_file(about: &str, exported: Option<String>, journal: Option<String>) -> Self {
        Self {
            row: None,
            seq: None,
            about: about.to_owned(),
            exported,
            journal,
            note: None,
        }
    }
}

/// The differences that were found, before they are put into words.
pub struct Explain {
    mismatches: Vec<Mismatch>,
    file_rows: FileRows,
    /// The cells of the rows in question.
    exported: HashMap<u64, Content>,
    /// The entries in question, each with the first row that names it.
    entries: HashMap<Seq, Option<u64>>,
    given: HashMap<Seq, Content>,
    /// The journal's entries with these numbers.
    words: HashMap<Seq, String>,
    /// Readings in question that do not count any more, each with the entry that says so.
    said_in: HashMap<Seq, Seq>,
    /// The last entry.
    last: Seq,
}

impl Explain {
    /// Reads the file once more, for the rows that were found to differ.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn new(found: &CheckSummary, file_rows: FileRows) -> Result<Self, ReadError> {
        let mismatches = found.mismatches.clone();
        let rows: HashSet<u64> = mismatches.iter().filter_map(|place| place.row).collect();
        let entries = mismatches
            .iter()
            .filter_map(|place| Some((place.seq?, None)));
        let mut explain = Self {
            entries: entries.collect(),
            mismatches,
            file_rows,
            exported: HashMap::new(),
            given: HashMap::new(),
            words: HashMap::new(),
            said_in: HashMap::new(),
            last: Seq(0),
        };
        while let Some(file_row) = explain.file_rows.advance()? {
            let first = file_row.seq.and_then(|seq| explain.entries.get_mut(&seq));
            if let Some(first) = first {
                first.get_or_insert(file_row.number);
            }
            if rows.contains(&file_row.number) {
                explain.exported.insert(file_row.number, file_row.content);
            }
        }
        Ok(explain)
    }

    /// Takes the next line of the journal, whether or not the question includes it.
    pub fn line(&mut self, seq: Seq, bytes: &[u8]) {
        self.last = seq;
        if self.entries.contains_key(&seq)
            && let Ok((stamped, _)) = line::decode(bytes)
        {
            self.words.insert(seq, words(&stamped));
        }
    }

    /// Takes the next row or line that the journal gives.
    pub fn given(&mut self, given: Given<'_>) {
        if self.entries.contains_key(&given.seq()) {
            let content = given.content(self.file_rows.columns());
            self.given.insert(given.seq(), content);
            if let Given::Row(row) = given
                && let Disposition::Doubted(by) | Disposition::Retracted(by) = row.standing
            {
                self.said_in.insert(row.seq, by);
            }
        }
    }

    /// The differences in the order of the file; rows that are missing from it come last.
    pub fn finish(self) -> Vec<Difference> {
        let mut differences: Vec<Difference> = self
            .mismatches
            .iter()
            .flat_map(|place| self.differences(*place))
            .collect();
        differences.sort_by_key(|found| (found.row.unwrap_or(u64::MAX), found.seq));
        differences
    }

    fn differences(&self, place: Mismatch) -> Vec<Difference> {
        let Mismatch { row, seq, what } = place;
        let got = row.and_then(|row| self.exported.get(&row));
        let are_lines = self.file_rows.names().is_empty();
        let whole = if are_lines { "line" } else { "row" };
        let found = match (what, seq) {
            (What::Changed, None) => self.unnumbered(got, are_lines),
            (What::Changed, Some(seq)) => return self.changed(row, seq, got),
            (What::Surplus, seq) => {
                let first = seq.and_then(|seq| self.entries.get(&seq).copied().flatten());
                match first.filter(|first| Some(*first) != row) {
                    Some(first) => Unlike::new(
                        whole.to_owned(),
                        Some(format!("a second time, first as {whole} {first}")),
                        Some("once".to_owned()),
                    ),
                    None => Unlike::new(whole.to_owned(), seq.map(|seq| self.surplus(seq)), None),
                }
            }
            (What::Missing, seq) => {
                let words = seq.and_then(|seq| self.words.get(&seq).cloned());
                Unlike::new(whole.to_owned(), None, words)
            }
        };
        vec![difference(row, seq, found)]
    }

    /// A row that does not name its entry.
    fn unnumbered(&self, got: Option<&Content>, are_lines: bool) -> Unlike {
        let shown = got.map(|got| match got {
            Content::Line(line) => String::from_utf8_lossy(line).into_owned(),
            Content::Cells(_) => self
                .file_rows
                .cell(got, "seq")
                .unwrap_or_default()
                .to_owned(),
        });
        let about = if are_lines { "line" } else { "seq" };
        Unlike::new(about.to_owned(), shown, None)
    }

    fn surplus(&self, seq: Seq) -> String {
        match self.words.get(&seq) {
            Some(words) if self.file_rows.names().is_empty() || words.starts_with("a reading") => {
                format!("{words}, which its options do not include")
            }
            Some(_) => format!("entry {seq}, which is no reading"),
            None if seq > self.last => {
                format!("entry {seq}; the journal ends with entry {}", self.last)
            }
            None => format!("entry {seq}, which is not in the journal"),
        }
    }

    fn changed(&self, row: Option<u64>, seq: Seq, got: Option<&Content>) -> Vec<Difference> {
        let mut found = Vec::new();
        match (got, self.given.get(&seq)) {
            (Some(Content::Cells(got)), Some(Content::Cells(want))) => {
                cell_differences(&self.file_rows, got, want, &mut found);
            }
            (Some(Content::Line(got)), Some(Content::Line(want))) => {
                line_differences(got, want, &mut found);
            }
            (Some(_) | None, Some(_) | None) => {}
        }
        let found = found
            .into_iter()
            .map(|found| difference(row, Some(seq), found));
        let with_note = found.map(|found| Difference {
            note: self.note(&found.about, seq),
            ..found
        });
        with_note.collect()
    }

    /// A reading may be doubted or retracted after the export. Then the file is old and not forged.
    fn note(&self, about: &str, seq: Seq) -> Option<String> {
        let said_in = self.said_in.get(&seq)?;
        (about == "standing")
            .then(|| format!("the journal says so since entry {said_in}; the file may be older"))
    }
}

fn difference(row: Option<u64>, seq: Option<Seq>, found: Unlike) -> Difference {
    let Unlike {
        about,
        exported,
        journal,
    } = found;
    Difference {
        row,
        seq,
        about,
        exported,
        journal,
        note: None,
    }
}

/// An entry in words.
fn words(stamped: &Stamped) -> String {
    let kind = stamped.entry.kind();
    let reading = stamped.entry.reading();
    match (reading, stamped.series()) {
        (Some(reading), _) => match &reading.slot {
            Some(slot) => format!(
                "a reading of series {}, piece {}, {}",
                slot.series,
                slot.piece,
                slot.axis.as_str()
            ),
            None => format!(
                "a reading of {} that belongs to no series",
                reading.instrument
            ),
        },
        (None, Some(series)) => format!("an entry about series {series}, {kind}"),
        (None, None) => format!("an entry, {kind}"),
    }
}
