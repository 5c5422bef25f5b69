//! Compares an export with the same export made again from its journal.
//!
//! In: a file ([`FileRows`]), and each row or line that the journal gives for its question ([`Given`]), in order. Out:
//! where the two differ ([`CheckSummary`]): what was changed, added, repeated or left out; in words by [`Explain`], for
//! which both are read once more.
//!
//! - While both are in the same order, nothing is kept. A row that is out of place is kept as one or two numbers until
//!   the other side has it.
//! - If the question is not known, the journal gives everything. Then a row that the file does not have is no
//!   difference. The question is not inferred from the file.

mod differences;
mod explain;

pub use differences::column_differences;
pub use explain::{Difference, Explain};

use super::read::{Content, FileRow, FileRows, ReadError, cell_text};
use crate::entry::{JournalId, Seq};
use crate::row::{Column, Row};
use std::collections::HashMap;
use std::collections::hash_map::{Entry, RandomState};
use std::hash::BuildHasher as _;

/// At most this many different rows are printed in full; the rest is counted.
const MOST: usize = 100;

/// A row or a line as the journal gives it.
#[derive(Debug, Clone, Copy)]
pub enum Given<'g> {
    /// A reading.
    Row(&'g Row<'g>),
    /// An entry, as stored.
    Line(Seq, &'g [u8]),
}

impl Given<'_> {
    fn seq(&self) -> Seq {
        match self {
            Self::Row(row) => row.seq,
            Self::Line(seq, _) => *seq,
        }
    }

    /// The expected content of a file with these columns.
    fn content(&self, columns: &[Option<&'static Column>]) -> Content {
        match self {
            Self::Row(row) => {
                let cell = |column: &Option<_>| column.map(|column| cell_text(row, column));
                let cells = columns.iter().map(cell).map(Option::unwrap_or_default);
                Content::Cells(cells.collect())
            }
            Self::Line(_, line) => Content::Line(line.to_vec()),
        }
    }
}

/// The result of a check.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CheckSummary {
    /// Rows or lines of the file.
    pub checked: u64,
    /// Rows or lines that the journal gives.
    pub given: u64,
    /// Rows or lines that differ, missing ones too.
    pub mismatched: u64,
    /// Whether the rows of the file are in another order than those of the journal.
    pub is_reordered: bool,
    /// The journal that all rows name, if it is another one.
    pub other_journal: Option<String>,
    /// The first that differ.
    mismatches: Vec<Mismatch>,
}

/// Where a file and its journal differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Mismatch {
    /// The row of the file; `None` if the file does not have it.
    row: Option<u64>,
    seq: Option<Seq>,
    what: What,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Changed,
    /// The row is not in the journal, does not belong to the question, or is a repeat.
    Surplus,
    Missing,
}

/// A row that only one side has so far: its number on that side, and a number that stands for its content.
#[derive(Debug, Clone, Copy)]
struct Waiting {
    number: u64,
    digest: u64,
}

/// A check in progress.
pub struct Check {
    file_rows: FileRows,
    journal: JournalId,
    is_complete: bool,
    /// A secret of this check, so that nobody can make two rows with the same number.
    hasher: RandomState,
    /// Rows in the file that the journal has not given so far.
    ahead: HashMap<Seq, Waiting>,
    /// Rows that the journal has given and the file has not had so far.
    owed: HashMap<Seq, Waiting>,
    is_at_end: bool,
    /// The last row that both have: its number in the journal, and in the file.
    last: Option<(u64, u64)>,
    others: u64,
    found: CheckSummary,
}

impl Check {
    /// Begins the check of a file. `is_complete` says whether the file must have everything that will be given.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn new(
        file_rows: FileRows,
        journal: JournalId,
        is_complete: bool,
    ) -> Result<Self, ReadError> {
        let mut check = Self {
            file_rows,
            journal,
            is_complete,
            hasher: RandomState::new(),
            ahead: HashMap::new(),
            owed: HashMap::new(),
            is_at_end: false,
            last: None,
            others: 0,
            found: CheckSummary::default(),
        };
        if !is_complete {
            while let Some((seq, file_row)) = check.next_row()? {
                check.wait_for(seq, &file_row);
            }
        }
        Ok(check)
    }

    /// Takes the next row or line that the journal gives.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn given(&mut self, given: Given<'_>) -> Result<(), ReadError> {
        let (seq, number) = (given.seq(), self.found.given);
        self.found.given += 1;
        if let Some(waiting) = self.ahead.remove(&seq) {
            let content = given.content(self.file_rows.columns());
            let is_same = self.digest(&content) == waiting.digest;
            self.matched(seq, (number, waiting.number), is_same);
            return Ok(());
        }
        if !self.is_complete {
            return Ok(());
        }
        let content = given.content(self.file_rows.columns());
        while let Some((got, file_row)) = self.next_row()? {
            if got == seq {
                let is_same = self.is_same(&file_row.content, &content);
                self.matched(seq, (number, file_row.number), is_same);
                return Ok(());
            }
            if !self.settle(got, &file_row) {
                let digest = self.digest(&content);
                self.owed.insert(seq, Waiting { number, digest });
                return Ok(());
            }
        }
        self.mismatch(None, Some(seq), What::Missing);
        Ok(())
    }

    /// The result, once nothing more is given.
    ///
    /// # Errors
    /// If the file cannot be read to its end.
    pub fn finish(mut self) -> Result<CheckSummary, ReadError> {
        while let Some((seq, file_row)) = self.next_row()? {
            if self.owed.is_empty() {
                self.mismatch(Some(file_row.number), Some(seq), What::Surplus);
            } else {
                self.settle(seq, &file_row);
            }
        }
        for (seq, row) in in_order(std::mem::take(&mut self.ahead)) {
            self.mismatch(Some(row), Some(seq), What::Surplus);
        }
        for (seq, _) in in_order(std::mem::take(&mut self.owed)) {
            self.mismatch(None, Some(seq), What::Missing);
        }
        let is_other = self.others > 0 && self.others == self.found.checked;
        let mut found = self.found;
        found.other_journal = found.other_journal.filter(|_| is_other);
        Ok(found)
    }

    /// The next row of the file that names its entry.
    fn next_row(&mut self) -> Result<Option<(Seq, FileRow)>, ReadError> {
        while !self.is_at_end {
            let Some(file_row) = self.file_rows.advance()? else {
                self.is_at_end = true;
                break;
            };
            self.found.checked += 1;
            let journal = self.file_rows.cell(&file_row.content, "journal");
            if let Some(other) = journal.filter(|id| *id != self.journal.0) {
                self.others += 1;
                if self.found.other_journal.is_none() {
                    self.found.other_journal = Some(other.to_owned());
                }
            }
            match file_row.seq {
                Some(seq) => return Ok(Some((seq, file_row))),
                None => self.mismatch(Some(file_row.number), None, What::Changed),
            }
        }
        Ok(None)
    }

    /// Takes a row that is not the next one of the journal; `true` if the journal gave it earlier.
    fn settle(&mut self, seq: Seq, file_row: &FileRow) -> bool {
        let Some(owed) = self.owed.remove(&seq) else {
            self.wait_for(seq, file_row);
            return false;
        };
        let is_same = self.digest(&file_row.content) == owed.digest;
        self.matched(seq, (owed.number, file_row.number), is_same);
        true
    }

    fn wait_for(&mut self, seq: Seq, file_row: &FileRow) {
        let waiting = Waiting {
            number: file_row.number,
            digest: self.digest(&file_row.content),
        };
        match self.ahead.entry(seq) {
            Entry::Vacant(place) => {
                place.insert(waiting);
            }
            Entry::Occupied(_) => self.mismatch(Some(file_row.number), Some(seq), What::Surplus),
        }
    }

    /// Takes a row that both have. These come in order, unless the file has another order.
    fn matched(&mut self, seq: Seq, both: (u64, u64), is_same: bool) {
        let is_next = |last: (u64, u64)| last.0 < both.0 && last.1 < both.1;
        self.found.is_reordered |= self.last.is_some_and(|last| !is_next(last));
        self.last = Some(both);
        if !is_same {
            self.mismatch(Some(both.1), Some(seq), What::Changed);
        }
    }

    fn mismatch(&mut self, row: Option<u64>, seq: Option<Seq>, what: What) {
        self.found.mismatched += 1;
        if self.found.mismatches.len() < MOST {
            self.found.mismatches.push(Mismatch { row, seq, what });
        }
    }

    /// Whether the rows are the same, apart from columns that no export has.
    fn is_same(&self, got: &Content, want: &Content) -> bool {
        match (got, want) {
            (Content::Cells(got), Content::Cells(want)) => {
                let columns = self.file_rows.columns().iter();
                let mut cells = columns.zip(got.iter().zip(want));
                got.len() == want.len()
                    && cells.all(|(column, (got, want))| column.is_none() || got == want)
            }
            (Content::Line(got), Content::Line(want)) => got == want,
            (Content::Cells(_), Content::Line(_)) | (Content::Line(_), Content::Cells(_)) => false,
        }
    }

    /// A number that is the same for the same content.
    fn digest(&self, content: &Content) -> u64 {
        match content {
            Content::Cells(cells) => {
                let columns = self.file_rows.columns().iter().zip(cells);
                let known = columns.filter(|(column, _)| column.is_some());
                let known: Vec<&String> = known.map(|(_, cell)| cell).collect();
                self.hasher.hash_one((cells.len(), known))
            }
            Content::Line(line) => self.hasher.hash_one(line),
        }
    }
}

fn in_order(waiting: HashMap<Seq, Waiting>) -> Vec<(Seq, u64)> {
    let mut waiting: Vec<(Seq, u64)> = waiting
        .into_iter()
        .map(|(seq, waiting)| (seq, waiting.number))
        .collect();
    waiting.sort_unstable_by_key(|(_, number)| *number);
    waiting
}
