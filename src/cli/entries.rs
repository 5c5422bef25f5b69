//! An entry for people: verdict or kind first, then what happened, then place and time.
//!
//! `watch` and `series` show entries in this form. A kind has a sign and a word, so that it can be read without
//! colours.

use super::card::{BAD, GOOD, ODD};
use super::wrap;
use crate::entry::words::{self, safe};
use crate::entry::{
    Answer, Entry, FrameEntry, Outcome, ProductionEntry, Reading, ReadingSlot, SaidEntry,
    SeriesEntry, Stamped, Standing,
};
use crate::quantity::{Quantity, Zone};
use crate::spec::Verdict;
use anstyle::Style;
use std::fmt::Write as _;
use std::io::{self, Write};

/// Width of the first column: the longest word with its sign, and a blank.
const COLUMN: usize = 14;

/// Settings for showing entries.
pub(super) struct EntryStyle {
    /// Time zone of the times shown.
    pub(super) zone: Zone,
    /// Width of the terminal; `None` breaks no lines.
    pub(super) width: Option<usize>,
}

impl EntryStyle {
    /// Settings of standard output and the system.
    pub(super) fn of_system() -> Self {
        Self {
            zone: crate::clock::zone(),
            width: wrap::terminal_width(),
        }
    }

    /// Writes an entry. `mark` says what happened to it later.
    pub(super) fn write(
        &self,
        out: &mut dyn Write,
        stamped: &Stamped,
        mark: &str,
    ) -> io::Result<()> {
        let (style, kind) = kind(&stamped.entry);
        let blanks = COLUMN.saturating_sub(kind.chars().count()).max(1);
        let place = stamped.entry.station();
        let place = place
            .map(|name| format!("{} ", safe(name)))
            .unwrap_or_default();
        let by = stamped.token.as_deref();
        let by = by.map(|name| format!(", token {}", safe(name)));
        let text = format!(
            "{}{mark}  [{place}#{}, {}{}]",
            what(&stamped.entry, &self.zone),
            stamped.seq,
            stamped.at.local(&self.zone),
            by.unwrap_or_default()
        );
        let text = wrap::wrapped(&text, COLUMN, self.width);
        writeln!(out, "{style}{kind}{style:#}{:blanks$}{text}", "")
    }

    /// Writes a line that belongs to the entry above it.
    pub(super) fn beneath(
        &self,
        out: &mut dyn Write,
        style: Style,
        kind: &str,
        text: &str,
    ) -> io::Result<()> {
        let blanks = COLUMN.saturating_sub(kind.chars().count()).max(1);
        let text = wrap::wrapped(text, COLUMN, self.width);
        writeln!(out, "{style}{kind}{style:#}{:blanks$}{text}", "")
    }
}

/// Sign and word of an entry; empty for kinds that are no result.
fn kind(entry: &Entry) -> (Style, &'static str) {
    match entry {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            match (&reading.standing, reading.verdict()) {
                (Standing::Counted, Some(verdict)) => match verdict {
                    Verdict::Pass => (GOOD, "✓ PASS"),
                    Verdict::FailLow | Verdict::FailHigh => (BAD, "✗ FAIL"),
                    Verdict::UnsureLow | Verdict::UnsureHigh => (ODD, "? UNSURE"),
                    Verdict::Measured => (Style::new(), "○ measured"),
                },
                (Standing::Counted, None) => (Style::new(), "  reading"),
                (Standing::NotCounted { .. }, _) => (ODD, "! not counted"),
            }
        }
        Entry::Frame(FrameEntry::Zeroed(zeroed)) if zeroed.ok => (GOOD, "✓ zero"),
        Entry::Frame(FrameEntry::Zeroed(_)) => (BAD, "✗ ZERO OFF"),
        Entry::Frame(FrameEntry::Unread(_)) => (ODD, "! unread"),
        Entry::Series(entry) => match entry {
            SeriesEntry::Completed(completed) => match completed.outcome {
                Outcome::Accepted => (GOOD, "✓ ACCEPTED"),
                Outcome::Rejected => (BAD, "✗ REJECTED"),
                Outcome::Undecided => (ODD, "? UNDECIDED"),
                Outcome::CutShort => (ODD, "! stopped"),
                Outcome::Measured => (Style::new(), "○ MEASURED"),
            },
            SeriesEntry::Looked(looked) => match looked.answer {
                Answer::Good => (GOOD, "✓ GOOD"),
                Answer::Bad => (BAD, "✗ BAD"),
            },
            SeriesEntry::Doubted(_) => (ODD, "! doubted"),
            SeriesEntry::Alerted(_) => (ODD, "! alert"),
            SeriesEntry::Armed(_)
            | SeriesEntry::Disarmed(_)
            | SeriesEntry::Resumed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Retracted(_)
            | SeriesEntry::Restored(_)
            | SeriesEntry::Pulled(_)
            | SeriesEntry::Pictured(_) => (Style::new(), ""),
        },
        Entry::Production(entry) => match entry {
            ProductionEntry::Held(_) => (BAD, "✗ HELD"),
            ProductionEntry::SampleDue(_) => (ODD, "! due"),
            ProductionEntry::RunOpened(_)
            | ProductionEntry::Crimped(_)
            | ProductionEntry::Settled(_)
            | ProductionEntry::RunClosed(_) => (Style::new(), "  run"),
        },
        Entry::Said(SaidEntry::Refused(_)) => (ODD, "! refused"),
        Entry::Said(SaidEntry::Noted(_)) => (Style::new(), "  note"),
        Entry::Journal(_) | Entry::Port(_) | Entry::Said(_) => (Style::new(), ""),
    }
}

/// What happened. For a counted reading: the value, then how it compares with its limits.
fn what(entry: &Entry, zone: &Zone) -> String {
    if let Entry::Frame(FrameEntry::Reading(reading)) = entry
        && matches!(reading.standing, Standing::Counted)
        && let Some(slot) = &reading.slot
    {
        return safe(&counted(reading, slot));
    }
    let text = words::words_in(entry, zone);
    let bare = ["alert: ", "note: "]
        .into_iter()
        .find_map(|kind| text.strip_prefix(kind));
    bare.map_or_else(|| text.clone(), str::to_owned)
}

fn counted(reading: &Reading, slot: &ReadingSlot) -> String {
    let mut text = reading.value.to_string();
    let (lower, upper) = (slot.limits.lower(), slot.limits.upper());
    let value = reading.value.quantity();
    let beyond = |limit: Quantity| {
        let distance = value.base().saturating_sub(limit.base()).saturating_abs();
        Quantity::from_base(limit.dimension(), distance)
    };
    let lies = match slot.verdict {
        Some(Verdict::FailLow) => {
            lower.map(|limit| format!(", {} below the lower limit", beyond(limit)))
        }
        Some(Verdict::FailHigh) => {
            upper.map(|limit| format!(", {} above the upper limit", beyond(limit)))
        }
        Some(Verdict::UnsureLow) => Some(", too near the lower limit to decide".to_owned()),
        Some(Verdict::UnsureHigh) => Some(", too near the upper limit to decide".to_owned()),
        Some(Verdict::Pass | Verdict::Measured) | None => None,
    };
    text.push_str(&lies.unwrap_or_default());
    let _ = match &slot.crimp {
        Some(crimp) => write!(
            text,
            ", piece {} {} (limits {}), {} {}",
            slot.piece,
            slot.axis.words(),
            slot.limits,
            crimp.terminal,
            crimp.wire.area
        ),
        None => write!(
            text,
            ", {} repeat {} (limits {})",
            slot.axis.words(),
            slot.piece,
            slot.limits
        ),
    };
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Gap;
    use crate::quantity::WallMicros;

    #[test]
    fn the_time_of_a_gap_is_local_for_people() {
        let gap = Entry::from(Gap {
            since: WallMicros(1_764_000_000_000_000),
            frames: 3,
            reason: "the disk is full".to_owned(),
        });
        let zone = Zone::fixed(60).unwrap();
        assert_eq!(
            what(&gap, &zone),
            "nothing was recorded since 2025-11-24 17:00:00 +01:00; 3 frames were not judged: the disk is full"
        );
    }
}
