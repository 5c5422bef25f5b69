//! Is an export still what its journal says: each row and line against the one that the journal gives.
//!
//! In: every piece of the file ([`Check::exported`]), then every entry of the journal ([`Check::entry`]) with the
//! rows it settles ([`Check::row`]) or its line ([`Check::line`]), then the file once more ([`Check::again`]).
//! Out: what parts ([`Found`]): what was changed, put in, told twice, or left out of what no question leaves out.
//!
//! - What is kept is a number or two for each row of the file, and for each reading of the journal that is not
//!   in it; texts are kept of those alone that are told.
//! - What was asked for is not in the file; what may be the question's doing is counted, not blamed (`absent.rs`).

mod absent;
mod parts;

use super::read::{Piece, seq_of_line, told};
use crate::entry::ledger::Disposition;
use crate::entry::{
    Doubted, Entry, FrameEntry, JournalId, OperatorSaid, Restored, Resumed, Retracted, SaidEntry,
    Seq, SeriesEntry, Stamped,
};
use crate::row::{Column, Row};
use absent::{Absent, Group, Place};
use parts::{Part, cells_part, lines_part};
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::sync::Arc;

/// So many rows that part are told in full; the rest is counted.
const MOST: usize = 100;

/// A place in which an export and its journal part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// The row or line of the file, as [`super::pieces`] counts them; none of one that is not there.
    pub row: Option<u64>,
    /// The entry.
    pub seq: Option<Seq>,
    /// The column or field; `row` or `line` of a whole one.
    pub about: String,
    /// What the file says; `None` if nothing.
    pub exported: Option<String>,
    /// What the journal gives; `None` if nothing.
    pub journal: Option<String>,
    /// How that may have come about, where it is known.
    pub note: Option<String>,
}

/// What came of a check.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Found {
    /// Rows or lines of the file.
    pub checked: u64,
    /// Rows or lines that part, missing ones too.
    pub parted: u64,
    /// In what, in the order of the file; of the first hundred.
    pub differences: Vec<Difference>,
    /// Readings, or entries, of the same time that are not in the file, and need not be.
    pub left_out: u64,
    /// The same of series that are in it, before its first and behind its last.
    pub cut: (u64, u64),
    /// Entries behind the last that the file has.
    pub since: u64,
    /// Columns that no export has, which were not compared.
    pub foreign_columns: Vec<String>,
    /// Columns of every export that this one has not.
    pub absent_columns: Vec<&'static str>,
    /// The journal that all rows name, where it is another one.
    pub other_journal: Option<String>,
}

/// A row as a number, with its place in the file.
#[derive(Debug)]
struct Known {
    digest: u64,
    row: u64,
    is_found: bool,
}

/// What the journal gives for a row or line that differs.
#[derive(Debug)]
enum Want {
    Cells(Vec<String>),
    Line(Vec<u8>),
}

/// A check under way.
#[derive(Debug)]
pub struct Check {
    journal: JournalId,
    is_whole: bool,
    names: Vec<String>,
    are_lines: bool,
    known: HashMap<u64, Known>,
    wanted: HashMap<u64, Want>,
    absent: Absent,
    /// For each reading that fell later, the entry that says so.
    fell_in: HashMap<Seq, Seq>,
    /// Who measures in the open series.
    operators: HashMap<Seq, Option<Arc<str>>>,
    /// The last entry.
    last: Seq,
    others: u64,
    found: Found,
}

impl Check {
    /// Against this journal. `is_whole` is whether nothing was left out before or behind a time.
    pub fn new(journal: JournalId, is_whole: bool) -> Self {
        Self {
            journal,
            is_whole,
            names: Vec::new(),
            are_lines: false,
            known: HashMap::new(),
            wanted: HashMap::new(),
            absent: Absent::default(),
            fell_in: HashMap::new(),
            operators: HashMap::new(),
            last: Seq(0),
            others: 0,
            found: Found::default(),
        }
    }

    /// Takes the next piece of the file, for the first time.
    pub fn exported(&mut self, row: u64, piece: Piece<'_>) {
        self.found.checked += 1;
        let (seq, digest) = match piece {
            Piece::Row { names, cells } => {
                self.heading(names);
                let cell = |name| cell_of(names, cells, name);
                if let Some(other) = cell("journal").filter(|id| *id != self.journal.0) {
                    self.others += 1;
                    self.found.other_journal = Some(other.to_owned());
                }
                self.absent.has_uncounted |= cell("standing")
                    .is_some_and(|standing| standing != Disposition::Counted.name());
                let seq = cell("seq").and_then(|seq| seq.parse().ok());
                (seq, digest_of_cells(names, cells))
            }
            Piece::Line(line) => {
                self.are_lines = true;
                (seq_of_line(line), digest_of_line(line))
            }
        };
        let Some(seq) = seq else {
            let about = if self.are_lines { "line" } else { "seq" };
            self.part(about, Some(row), None, Some(shown(piece)), None);
            return;
        };
        let known = Known {
            digest,
            row,
            is_found: false,
        };
        if let Some(first) = self.known.get(&seq) {
            let again = format!("a second time, first as {} {}", self.piece(), first.row);
            self.part(
                self.piece(),
                Some(row),
                Some(Seq(seq)),
                Some(again),
                Some("once".to_owned()),
            );
        } else {
            self.known.insert(seq, known);
        }
    }

    fn heading(&mut self, names: &[String]) {
        if !self.names.is_empty() {
            return;
        }
        self.names = names.to_vec();
        let is_foreign = |name: &&String| told_by_none(name);
        self.found.foreign_columns = names.iter().filter(is_foreign).cloned().collect();
        let is_absent = |name: &&'static str| !names.iter().any(|known| known == name);
        let typed = names
            .iter()
            .any(|name| name == "value_nm" || name == "value_mn");
        let all: Vec<&'static str> = if typed {
            Column::of_typed().map(|column| column.name).collect()
        } else {
            Column::of_text().map(|column| column.name).collect()
        };
        self.found.absent_columns = all.into_iter().filter(|name| is_absent(name)).collect();
    }

    /// Takes the next entry of the journal, before its row or line.
    pub fn entry(&mut self, stamped: &Stamped) {
        self.last = stamped.seq;
        if let Entry::Series(SeriesEntry::Doubted(Doubted { readings, .. })) = &stamped.entry {
            for reading in readings {
                self.fell_in.entry(*reading).or_insert(stamped.seq);
            }
        } else if let Entry::Series(
            SeriesEntry::Retracted(Retracted { reading, .. })
            | SeriesEntry::Restored(Restored { reading, .. }),
        ) = &stamped.entry
        {
            self.fell_in.insert(*reading, stamped.seq);
        } else if !self.are_lines {
            // rows know who measured
        } else if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry {
            let operator = spec.operator.as_deref().map(Into::into);
            self.operators.insert(stamped.seq, operator);
        } else if let Entry::Said(SaidEntry::OperatorSaid(OperatorSaid {
            series: Some(series),
            operator,
            ..
        })) = &stamped.entry
        {
            self.operators
                .insert(*series, Some(operator.as_str().into()));
        } else if let Entry::Series(SeriesEntry::Resumed(Resumed {
            series, operator, ..
        })) = &stamped.entry
        {
            let operator = operator.as_deref().map(Into::into);
            self.operators.insert(*series, operator);
        }
    }

    /// Takes a reading of the journal as a row.
    pub fn row(&mut self, row: &Row<'_>) {
        let names = std::mem::take(&mut self.names);
        let is_there = self.known.contains_key(&row.seq.0);
        if is_there {
            let wanted = names.iter().map(|name| told(row, name));
            let wanted: Vec<String> = wanted.map(Option::unwrap_or_default).collect();
            self.compare(row.seq, digest_of_cells(&names, &wanted), || {
                Want::Cells(wanted)
            });
        }
        self.names = names;
        let group = match &row.slot {
            Some(slot) => Group::Readings {
                series: slot.series,
                axis: slot.axis.to_owned(),
                instrument: row.instrument.to_owned(),
                operator: row.operator.map(Into::into),
            },
            None => Group::Loose {
                station: row.station.to_owned(),
                instrument: row.instrument.to_owned(),
            },
        };
        let place = Place {
            seq: row.seq,
            at: row.at,
            counts: row.standing == Disposition::Counted,
        };
        self.absent.take(group, place, is_there);
    }

    /// Takes an entry of the journal as it stands there.
    pub fn line(&mut self, stamped: &Stamped, line: &[u8]) {
        let is_there = self.known.contains_key(&stamped.seq.0);
        if is_there {
            self.compare(stamped.seq, digest_of_line(line), || {
                Want::Line(line.to_vec())
            });
        }
        let place = Place {
            seq: stamped.seq,
            at: stamped.at,
            counts: true,
        };
        self.absent.take(self.group(stamped), place, is_there);
        if let Entry::Series(SeriesEntry::Completed(completed)) = &stamped.entry
            && !completed.resumable
        {
            self.operators.remove(&completed.series);
        }
    }

    fn group(&self, stamped: &Stamped) -> Group {
        match (&stamped.entry, stamped.series()) {
            (Entry::Frame(FrameEntry::Reading(reading)), series) => match (&reading.slot, series) {
                (Some(slot), Some(series)) => Group::Readings {
                    series,
                    axis: slot.axis.as_str().to_owned(),
                    instrument: reading.instrument.clone(),
                    operator: self.operators.get(&series).cloned().flatten(),
                },
                _ => Group::Loose {
                    station: reading.station.clone(),
                    instrument: reading.instrument.clone(),
                },
            },
            // what is said of a series that is closed is not given with it
            (_, Some(series)) if self.operators.contains_key(&series) => Group::Series(series),
            (_, Some(_)) => Group::Afterwards,
            (_, None) => Group::Journal,
        }
    }

    fn compare(&mut self, seq: Seq, digest: u64, want: impl FnOnce() -> Want) {
        let Some(known) = self.known.get_mut(&seq.0) else {
            return;
        };
        known.is_found = true;
        if known.digest != digest {
            self.found.parted += 1;
            if self.wanted.len() < MOST {
                self.wanted.insert(seq.0, want());
            }
        }
    }

    /// Takes the next piece of the file, for the second time.
    pub fn again(&mut self, row: u64, piece: Piece<'_>) {
        let seq = match piece {
            Piece::Row { names, cells } => {
                cell_of(names, cells, "seq").and_then(|seq| seq.parse().ok())
            }
            Piece::Line(line) => seq_of_line(line),
        };
        let Some(seq) = seq else {
            return;
        };
        if self.known.get(&seq).is_none_or(|known| known.row != row) {
            return; // a second one
        }
        let mut parts = Vec::new();
        match (piece, self.wanted.get(&seq)) {
            (Piece::Row { names, cells }, Some(Want::Cells(wanted))) => {
                cells_part(names, cells, wanted, &mut parts);
            }
            (Piece::Line(line), Some(Want::Line(wanted))) => lines_part(line, wanted, &mut parts),
            _ => return,
        }
        for Part(about, exported, journal) in parts {
            let note = self.note(&about, Seq(seq));
            self.found.differences.push(Difference {
                row: Some(row),
                seq: Some(Seq(seq)),
                about,
                exported,
                journal,
                note,
            });
        }
    }

    /// A reading that fell after the export was made is nobody's doing.
    fn note(&self, about: &str, seq: Seq) -> Option<String> {
        let fell_in = self.fell_in.get(&seq)?;
        let is_later =
            about == "standing" && self.absent.last().is_some_and(|last| *fell_in > last);
        is_later.then(|| {
            format!(
                "said in entry {fell_in}, behind all that the file has: it may be older than that"
            )
        })
    }

    fn piece(&self) -> &'static str {
        if self.are_lines { "line" } else { "row" }
    }

    fn part(
        &mut self,
        about: &str,
        row: Option<u64>,
        seq: Option<Seq>,
        exported: Option<String>,
        journal: Option<String>,
    ) {
        self.found.parted += 1;
        if self.found.differences.len() < MOST {
            self.found.differences.push(Difference {
                row,
                seq,
                about: about.to_owned(),
                exported,
                journal,
                note: None,
            });
        }
    }

    /// What came of it.
    pub fn finish(mut self) -> Found {
        let what = self.piece();
        let mut surplus: Vec<(u64, u64)> = self
            .known
            .iter()
            .filter(|(_, known)| !known.is_found)
            .map(|(seq, known)| (known.row, *seq))
            .collect();
        surplus.sort_unstable();
        let last = self.last;
        for (row, seq) in surplus {
            let exported = if seq > last.0 {
                format!("entry {seq}, and the journal ends with {last}")
            } else {
                format!("entry {seq}, which is no reading")
            };
            self.part(what, Some(row), Some(Seq(seq)), Some(exported), None);
        }
        let without = std::mem::take(&mut self.absent).finish(self.are_lines, self.is_whole);
        self.found.left_out = without.left_out;
        self.found.cut = without.cut;
        if let Some(there) = without.last {
            self.found.since = last.0.saturating_sub(there.0);
        }
        for (seq, group) in without.missing {
            self.part(what, None, Some(seq), None, Some(group));
        }
        let is_other = self.others > 0 && self.others == self.found.checked;
        self.found.other_journal = self.found.other_journal.filter(|_| is_other);
        let mut found = self.found;
        found
            .differences
            .sort_by_key(|part| (part.row.unwrap_or(u64::MAX), part.seq));
        found
    }
}

fn told_by_none(name: &str) -> bool {
    !crate::row::COLUMNS.iter().any(|column| column.name == name)
}

fn cell_of<'c>(names: &[String], cells: &'c [String], name: &str) -> Option<&'c str> {
    let at = names.iter().position(|known| known == name)?;
    cells.get(at).map(String::as_str)
}

/// A piece whose number is not known.
fn shown(piece: Piece<'_>) -> String {
    match piece {
        Piece::Row { names, cells } => cell_of(names, cells, "seq").unwrap_or_default().to_owned(),
        Piece::Line(line) => String::from_utf8_lossy(line).into_owned(),
    }
}

/// Of the cells that an export has, and of how many there are.
fn digest_of_cells(names: &[String], cells: &[String]) -> u64 {
    let mut hasher = DefaultHasher::new();
    hasher.write_usize(cells.len());
    let known = names.iter().zip(cells);
    let known = known.filter(|(name, _)| !told_by_none(name));
    known.for_each(|(_, cell)| cell.hash(&mut hasher));
    hasher.finish()
}

fn digest_of_line(line: &[u8]) -> u64 {
    let mut hasher = DefaultHasher::new();
    line.hash(&mut hasher);
    hasher.finish()
}
