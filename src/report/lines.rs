//! The journal's lines that a checkable page holds, so that a reader's browser can recompute what the page says.
//!
//! In: what was gathered, then the journal's lines once more. Out: the lines, byte for byte, from the first `armed` of the
//! report's series to the last entry about one of them or about its production run, or to the first seal after it.
//!
//! A chain has no gaps, so lines of other series and stations may be in between. The page goes to a customer, so
//! [`Lines::others`] says what else is in it.

use super::gather::Gathered;
use crate::entry::{Entry, JournalEntry, Seq, Stamped};
use std::collections::BTreeSet;

/// Maximum number of lines in a page; more would make a browser slow.
const MOST: usize = 100_000;
/// A bench with a key seals at least every 1,000 entries, so a seal much later belongs to other entries.
const SEALED_WITHIN: u64 = 2_000;
/// The line at the head of a segment.
const STATE: &str = "the state of every station";

/// The lines, in order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lines {
    lines: Vec<(Seq, String)>,
    others: Vec<(String, usize)>,
}

/// The report needs more lines than a page can hold.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the lines {first} to {last} of the journal are too many for a page, want at most {MOST}")]
pub struct TooMany {
    first: Seq,
    last: Seq,
}

impl Lines {
    /// Each line with its number, without its newline.
    pub(super) fn all(&self) -> impl Iterator<Item = (Seq, &str)> {
        self.lines.iter().map(|(seq, line)| (*seq, line.as_str()))
    }

    /// The numbers of the first and the last line.
    pub(super) fn ends(&self) -> Option<(Seq, Seq)> {
        Some((self.lines.first()?.0, self.lines.last()?.0))
    }

    /// `series 41 (20 lines), station bench-2 (3 lines)`: the other subjects of the lines; empty if there are none.
    pub fn others(&self) -> String {
        let others = self.others.iter();
        let others = others.map(|(of, lines)| match lines {
            1 => format!("{of} (1 line)"),
            _ => format!("{of} ({lines} lines)"),
        });
        others.collect::<Vec<_>>().join(", ")
    }
}

/// Collects the lines.
#[derive(Debug)]
pub struct Collecting {
    series: BTreeSet<Seq>,
    stations: BTreeSet<String>,
    /// The first and the last line that are needed, and the last one that the report includes.
    range: (Seq, Seq, Seq),
    /// The lines up to the last needed one, and those after it, which are kept if a seal follows.
    taken: [Vec<(Seq, String, Option<String>)>; 2],
    is_sealed: bool,
}

impl Collecting {
    /// For the series of a report; `None` if the report has none.
    pub fn of(gathered: &Gathered) -> Option<Self> {
        let records = || gathered.series.iter();
        let first = records().map(|record| record.series.id).min()?;
        let about = records().filter_map(|record| record.entries.last());
        let last = about.map(|stamped| stamped.seq).max()?;
        let of_run = gathered.run.as_ref().map(|run| run.last);
        let last = of_run.map_or(last, |of_run| of_run.max(last));
        Some(Self {
            series: records().map(|record| record.series.id).collect(),
            stations: records()
                .map(|record| record.series.spec.station.clone())
                .collect(),
            range: (first, last, gathered.last),
            taken: [Vec::new(), Vec::new()],
            is_sealed: false,
        })
    }

    /// The number of the entry before the first one, where reading begins.
    pub fn after(&self) -> Seq {
        Seq(self.range.0.0.saturating_sub(1))
    }

    /// Takes a line of the journal, in order; returns whether it wants the next one.
    pub fn take(&mut self, stamped: &Stamped, line: &[u8]) -> bool {
        let (first, needed, last) = self.range;
        if stamped.seq < first {
            return true;
        }
        let end = last.min(Seq(needed.0.saturating_add(SEALED_WITHIN)));
        if stamped.seq > end || self.taken[0].len() > MOST {
            return false;
        }
        let text = String::from_utf8_lossy(line).into_owned();
        let kept = (stamped.seq, text, self.other(stamped));
        let [up_to, behind] = &mut self.taken;
        if stamped.seq <= needed {
            up_to.push(kept);
        } else {
            behind.push(kept);
        }
        if let Entry::Journal(JournalEntry::Sealed(sealed)) = &stamped.entry {
            self.is_sealed = sealed.up_to >= needed;
        }
        !self.is_sealed && stamped.seq < end
    }

    /// The subject of a line that is not about a series of the report or its station.
    fn other(&self, stamped: &Stamped) -> Option<String> {
        if let Entry::Journal(JournalEntry::Segment(_)) = &stamped.entry {
            return Some(STATE.to_owned());
        }
        let station = stamped.entry.station();
        match (stamped.series(), station) {
            (Some(series), _) => {
                (!self.series.contains(&series)).then(|| format!("series {series}"))
            }
            (None, Some(station)) => {
                (!self.stations.contains(station)).then(|| format!("station {station}"))
            }
            (None, None) => None,
        }
    }

    /// The lines.
    ///
    /// # Errors
    ///
    /// If there are more lines than a page can hold.
    pub fn finish(self) -> Result<Lines, TooMany> {
        let (first, last, _) = self.range;
        let [mut taken, behind] = self.taken;
        if taken.len() > MOST {
            return Err(TooMany { first, last });
        }
        if self.is_sealed {
            taken.extend(behind);
        }
        let mut others: Vec<(String, usize)> = Vec::new();
        for of in taken.iter().filter_map(|(_, _, of)| of.as_ref()) {
            match others.iter_mut().find(|(known, _)| known == of) {
                Some((_, lines)) => *lines += 1,
                None => others.push((of.clone(), 1)),
            }
        }
        let lines = taken.into_iter().map(|(seq, line, _)| (seq, line));
        Ok(Lines {
            lines: lines.collect(),
            others,
        })
    }
}
