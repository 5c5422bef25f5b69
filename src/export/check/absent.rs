//! What of the journal is not in a file, and whether a question can have left it out.
//!
//! Every question that `export` takes chooses whole groups (the readings of a series on one axis, with one
//! instrument, by one person), and of these what lies in a stretch of time and, if asked so, what counts. So of a
//! group that is in the file, nothing can be missing between its first moment and its last. A group that is in it
//! nowhere may not have been asked for.

use crate::entry::Seq;
use crate::quantity::WallMicros;
use std::collections::HashMap;
use std::sync::Arc;

/// What a question takes or leaves as a whole.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Group {
    /// Entries that are about no series: in lines only, and only of a question that asks for everything.
    Journal,
    /// Readings that were measured for nothing.
    Loose { station: String, instrument: String },
    /// Entries about an open series, its readings apart.
    Series(Seq),
    /// Entries about a series that was closed before.
    Afterwards,
    /// Readings of a series.
    Readings {
        series: Seq,
        axis: String,
        instrument: String,
        operator: Option<Arc<str>>,
    },
}

impl Group {
    const fn is_of_series(&self) -> bool {
        matches!(self, Self::Series(_) | Self::Readings { .. })
    }

    fn words(&self) -> String {
        match self {
            Self::Journal | Self::Afterwards => "an entry".to_owned(),
            Self::Loose { instrument, .. } => {
                format!("a reading of {instrument}, measured for nothing")
            }
            Self::Series(series) => format!("an entry about series {series}"),
            Self::Readings { series, axis, .. } => format!("a reading of series {series}, {axis}"),
        }
    }
}

/// Where something stands in the journal.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) seq: Seq,
    pub(super) at: WallMicros,
    pub(super) counts: bool,
}

/// From the first to the last.
#[derive(Debug, Clone, Copy)]
struct Span<T>(T, T);

impl<T: Ord + Copy> Span<T> {
    fn with(span: Option<Self>, next: T) -> Self {
        span.map_or(Self(next, next), |Self(first, last)| {
            Self(first.min(next), last.max(next))
        })
    }

    fn has(self, which: T) -> bool {
        self.0 <= which && which <= self.1
    }
}

/// What is not in the file.
#[derive(Debug, Default)]
pub(super) struct Absent {
    /// Whether the file has a row that does not count: then it was not made without them.
    pub(super) has_uncounted: bool,
    groups: HashMap<Group, usize>,
    /// For each group whether something of it is in the file.
    present: Vec<bool>,
    elsewhere: Vec<(usize, Place)>,
    times: Option<Span<WallMicros>>,
    seqs: Option<Span<Seq>>,
    /// Of the readings that were measured for nothing.
    loose: Option<Span<Seq>>,
}

impl Absent {
    /// Takes the next of the journal.
    pub(super) fn take(&mut self, group: Group, place: Place, is_there: bool) {
        if is_there {
            self.times = Some(Span::with(self.times, place.at));
            self.seqs = Some(Span::with(self.seqs, place.seq));
            if matches!(group, Group::Loose { .. }) {
                self.loose = Some(Span::with(self.loose, place.seq));
            }
        }
        let next = self.groups.len();
        let number = *self.groups.entry(group).or_insert(next);
        if number == next {
            self.present.push(false);
        }
        if !is_there {
            self.elsewhere.push((number, place));
        } else if let Some(present) = self.present.get_mut(number) {
            *present = true;
        }
    }

    /// The last entry of the file.
    pub(super) fn last(&self) -> Option<Seq> {
        self.seqs.map(|seqs| seqs.1)
    }

    /// What is not in the file, told apart. `is_whole` is whether no time was asked for.
    pub(super) fn finish(self, are_lines: bool, is_whole: bool) -> Without {
        let mut without = Without::default();
        let (Some(times), Some(seqs)) = (self.times, self.seqs) else {
            return without;
        };
        without.last = Some(seqs.1);
        let is_present = |number: usize| self.present.get(number) == Some(&true);
        let everything = self.groups.get(&Group::Journal);
        let everything = everything.is_some_and(|number| is_present(*number));
        let words: HashMap<usize, &Group> = self
            .groups
            .iter()
            .map(|(group, number)| (*number, group))
            .collect();
        for (number, place) in &self.elsewhere {
            let Some(group) = words.get(number) else {
                continue;
            };
            let is_of_it = is_present(*number) && **group != Group::Afterwards;
            let is_chosen = are_lines || place.counts || self.has_uncounted;
            let is_behind = place.seq > seqs.1 || place.at > times.1;
            if is_behind || place.at < times.0 {
                if !is_of_it || !is_chosen || !group.is_of_series() {
                    // no question has it
                } else if is_whole {
                    without.missing.push((place.seq, group.words()));
                } else if is_behind {
                    without.cut.1 += 1;
                } else {
                    without.cut.0 += 1;
                }
                continue;
            }
            let in_order = if are_lines {
                seqs.has(place.seq)
            } else if matches!(group, Group::Loose { .. }) {
                self.loose.is_some_and(|loose| loose.has(place.seq))
            } else {
                true // a series is given as a whole, when it is closed
            };
            if in_order && is_chosen && (everything || is_of_it) {
                without.missing.push((place.seq, group.words()));
            } else {
                without.left_out += 1;
            }
        }
        without.missing.sort();
        without
    }
}

/// What is not in a file.
#[derive(Debug, Default)]
pub(super) struct Without {
    /// What no question leaves out, in words.
    pub(super) missing: Vec<(Seq, String)>,
    /// What of its time a question may have left out.
    pub(super) left_out: u64,
    /// What of its groups is before its first and behind its last.
    pub(super) cut: (u64, u64),
    /// The last entry that is in it.
    pub(super) last: Option<Seq>,
}
