//! The recent events of a station for the page: words, tone, and spoken text.

use crate::entry::spoken::{Spoken, spoken};
use crate::entry::words::{self, safe};
use crate::entry::{
    Entry, FrameEntry, Outcome, PortEntry, ProductionEntry, Reading, SaidEntry, SeriesEntry,
    Stamped, Standing,
};
use crate::spec::Verdict;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::VecDeque;

/// Maximum number of events that are kept for a station.
pub(super) const RECENT_MOST: usize = 24;
/// Maximum number of characters of an event's words.
const WORDS_MOST: usize = 300;

/// An event at a station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct RecentMessage {
    /// `seq` of its entry.
    pub seq: u64,
    /// Wall clock, RFC 3339 in UTC.
    pub at: String,
    /// Kind of the entry.
    pub kind: &'static str,
    /// Look and sound of the event: `pass`, `fail_low`, `fail_high`, `unsure`, `not_counted`, `zero_ok`, `zero_off`,
    /// `alert`, `accepted`, `rejected`, `undecided`, `measured`, or `plain`.
    pub tone: &'static str,
    /// Text to speak; left out if nothing is spoken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aloud: Option<String>,
    /// The event in words.
    pub words: String,
    /// `doubted` or `retracted`, if that happened later.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fate: Option<&'static str>,
    /// Whether it is a reading that can be retracted.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub may_be_retracted: bool,
}

impl RecentMessage {
    /// The event of an entry; `None` for kinds that do not concern people at the bench.
    pub(super) fn of(stamped: &Stamped) -> Option<Self> {
        Some(Self {
            seq: stamped.seq.0,
            at: stamped.at.to_string(),
            kind: stamped.entry.kind(),
            tone: tone(&stamped.entry)?,
            aloud: aloud(&stamped.entry),
            words: short(words::words(&stamped.entry)),
            fate: None,
            may_be_retracted: false,
        })
    }
}

/// Cuts words that do not fit into a line or two.
fn short(mut words: String) -> String {
    if let Some((cut, _)) = words.char_indices().nth(WORDS_MOST) {
        words.truncate(cut);
        words.push('…');
    }
    words
}

/// Marks earlier readings that an entry doubts, retracts or restores.
pub(super) fn mark(recent: &mut VecDeque<RecentMessage>, entry: &SeriesEntry) {
    let (readings, fate) = match entry {
        SeriesEntry::Doubted(doubted) => (&doubted.readings[..], Some("doubted")),
        SeriesEntry::Retracted(retracted) => {
            (std::slice::from_ref(&retracted.reading), Some("retracted"))
        }
        SeriesEntry::Restored(restored) => (std::slice::from_ref(&restored.reading), None),
        SeriesEntry::Armed(_)
        | SeriesEntry::Disarmed(_)
        | SeriesEntry::Completed(_)
        | SeriesEntry::Resumed(_)
        | SeriesEntry::ZeroDue(_)
        | SeriesEntry::Looked(_)
        | SeriesEntry::Pulled(_)
        | SeriesEntry::Pictured(_)
        | SeriesEntry::Alerted(_) => return,
    };
    for happened in recent {
        if readings.iter().any(|seq| seq.0 == happened.seq) {
            happened.fate = fate;
        }
    }
}

/// Look and sound of an entry; `None` for kinds that do not concern people at the bench.
fn tone(entry: &Entry) -> Option<&'static str> {
    Some(match entry {
        Entry::Journal(_) => return None,
        Entry::Port(entry) => match entry {
            PortEntry::Attached(_) | PortEntry::Detached(_) => "plain",
            PortEntry::AdapterChanged(_) | PortEntry::Disturbed(_) => "alert",
        },
        Entry::Said(SaidEntry::Refused(_)) => "alert",
        Entry::Said(_) => "plain",
        Entry::Frame(entry) => match entry {
            FrameEntry::Zeroed(zeroed) if zeroed.ok => "zero_ok",
            FrameEntry::Zeroed(_) => "zero_off",
            FrameEntry::Reading(reading) => tone_of(reading),
            FrameEntry::Unread(_) => "not_counted",
        },
        Entry::Series(entry) => match entry {
            SeriesEntry::Completed(completed) => match completed.outcome {
                Outcome::Accepted => "accepted",
                Outcome::Rejected => "rejected",
                Outcome::Undecided => "undecided",
                Outcome::CutShort => "plain",
                Outcome::Measured => "measured",
            },
            SeriesEntry::Doubted(_) | SeriesEntry::Alerted(_) => "alert",
            SeriesEntry::Disarmed(_) => return None,
            SeriesEntry::Armed(_)
            | SeriesEntry::Resumed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Retracted(_)
            | SeriesEntry::Looked(_)
            | SeriesEntry::Pulled(_)
            | SeriesEntry::Pictured(_)
            | SeriesEntry::Restored(_) => "plain",
        },
        Entry::Production(entry) => match entry {
            ProductionEntry::Held(_) | ProductionEntry::SampleDue(_) => "alert",
            ProductionEntry::Crimped(_) => return None,
            ProductionEntry::RunOpened(_)
            | ProductionEntry::Settled(_)
            | ProductionEntry::RunClosed(_) => "plain",
        },
    })
}

fn tone_of(reading: &Reading) -> &'static str {
    match (&reading.standing, reading.verdict()) {
        (Standing::NotCounted { .. }, _) | (Standing::Counted, None) => "not_counted",
        (Standing::Counted, Some(verdict)) => match verdict {
            Verdict::Pass => "pass",
            Verdict::FailLow => "fail_low",
            Verdict::FailHigh => "fail_high",
            Verdict::UnsureLow | Verdict::UnsureHigh => "unsure",
            Verdict::Measured => "measured",
        },
    }
}

/// The text to speak.
fn aloud(entry: &Entry) -> Option<String> {
    if let Entry::Series(SeriesEntry::Alerted(alerted)) = entry {
        return Some(safe(&alerted.text));
    }
    let Spoken { verdict, value, .. } = spoken(entry)?;
    // If a zero is good, its value adds nothing.
    let good = matches!(entry, Entry::Frame(FrameEntry::Zeroed(zeroed)) if zeroed.ok);
    Some(match value {
        Some(value) if !good => format!("{verdict}, {value}"),
        Some(_) | None => verdict,
    })
}
