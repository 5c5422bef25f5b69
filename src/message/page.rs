//! What the bench page shows beside the state: readings slot by slot, zeros, where the last value lies,
//! and what happened of late, ready to be drawn and heard.
//!
//! In: entries in order, and the state that they amount to. Out: one message a station. The page folds
//! nothing by itself.
//!
//! What is unknown is left out, never 0.

use super::reply::Status;
use crate::entry::spoken::{Spoken, spoken};
use crate::entry::state::{CountedReading, SeriesState, ZeroState};
use crate::entry::words::{self, safe};
use crate::entry::{
    Entry, FrameEntry, Outcome, PortEntry, Reading, SaidEntry, Seq, SeriesEntry, Stamped, Standing,
    State,
};
use crate::quantity::{Dimension, Quantity};
use crate::spec::{Limits, Verdict};
use crate::station::prompt::{Prompt, prompt};
use serde::Serialize;
use std::collections::{BTreeMap, VecDeque};

/// How many happenings of a station are kept.
const RECENT_MOST: usize = 24;
/// How many characters of what happened are shown.
const WORDS_MOST: usize = 300;
/// How many readings of a series are shown, the newest ones.
const READINGS_MOST: usize = 400;

/// All that the page shows: the answer to `status`, and more of each station.
#[derive(Debug, Clone, Serialize)]
pub struct PageMessage {
    /// As the control socket answers it.
    #[serde(flatten)]
    pub status: Status,
    /// More of each station, in the order of the state.
    pub benches: Vec<BenchMessage>,
}

/// What the page shows of a station beside its state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BenchMessage {
    /// Its name in the configuration.
    pub station: String,
    /// The counted readings of the open series, at most 400 of them.
    pub readings: Vec<SlotMessage>,
    /// The zero of each instrument of the station.
    pub zeros: Vec<ZeroStateMessage>,
    /// The last value as shown, with its unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_value: Option<String>,
    /// Where the last value lies, if it was measured for something.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale: Option<ScaleMessage>,
    /// What happened, the newest first.
    pub recent: Vec<RecentMessage>,
    /// The reading that was retracted last, while that can be undone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub restorable: Option<SlotMessage>,
    /// The series that the last arming stopped early, while it can be resumed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resumable: Option<u64>,
}

/// A counted reading in its slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SlotMessage {
    /// `seq` of its entry.
    pub seq: u64,
    /// The piece, from 1.
    pub piece: u32,
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: String,
    /// The value as shown, with its unit.
    pub value: String,
    /// The value in nanometres or millinewtons.
    pub at: i64,
    /// `pass`, `fail` or `unsure`.
    pub verdict: &'static str,
    /// Measuring destroyed the piece: retracting the reading needs a reason.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub needs_reason: bool,
}

/// How the zero of an instrument stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ZeroStateMessage {
    /// Its name in the configuration.
    pub instrument: String,
    /// `good`, `off`, `due`, `moved` (the origin was set with open jaws), or `none` yet in this series.
    pub zero: &'static str,
    /// When the last good one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<String>,
}

/// A value between its limits; lengths in nanometres, forces in millinewtons.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ScaleMessage {
    /// The reading.
    pub seq: u64,
    /// The axis in words.
    pub axis: String,
    /// `nm` or `mN`.
    pub base: &'static str,
    /// The reading's value on the scale.
    pub value: MarkMessage,
    /// The nominal value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<MarkMessage>,
    /// The lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<MarkMessage>,
    /// The upper limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<MarkMessage>,
    /// How far the limits are drawn in under the guarded rule.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<i64>,
    /// The limits as text.
    pub limits: String,
}

/// A place on a scale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MarkMessage {
    /// In base units.
    pub at: i64,
    /// As people read it.
    pub text: String,
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RecentMessage {
    /// `seq` of its entry.
    pub seq: u64,
    /// Wall clock, RFC 3339 in UTC.
    pub at: String,
    /// The entry's kind.
    pub kind: &'static str,
    /// How it looks and sounds: `pass`, `fail_low`, `fail_high`, `unsure`, `not_counted`, `zero_ok`,
    /// `zero_off`, `alert`, `accepted`, `rejected`, `undecided`, or `plain`.
    pub tone: &'static str,
    /// What is heard where it is read aloud; left out where nothing is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub aloud: Option<String>,
    /// What happened, in words.
    pub words: String,
    /// `doubted` or `retracted`, if that came later.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fate: Option<&'static str>,
    /// It can be retracted.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub may_be_retracted: bool,
}

/// What happened of late at every station.
#[derive(Debug, Clone, Default)]
pub struct Board {
    recent: BTreeMap<String, VecDeque<RecentMessage>>,
}

impl Board {
    /// One more entry.
    pub fn apply(&mut self, stamped: &Stamped) {
        let Some(station) = stamped.entry.station() else {
            return;
        };
        let recent = self.recent.entry(station.to_owned()).or_default();
        if let Entry::Series(entry) = &stamped.entry {
            mark(recent, entry);
        }
        if let Some(tone) = tone(&stamped.entry) {
            recent.push_front(RecentMessage {
                seq: stamped.seq.0,
                at: stamped.at.to_string(),
                kind: stamped.entry.kind(),
                tone,
                aloud: aloud(&stamped.entry),
                words: short(words::words(&stamped.entry)),
                fate: None,
                may_be_retracted: false,
            });
            recent.truncate(RECENT_MOST);
        }
    }

    /// What the page shows of every station of `status`, whose state is `state`.
    pub fn message(&self, status: Status, state: &State) -> PageMessage {
        let stations = status.state.stations.iter();
        let benches = stations
            .map(|station| self.bench(state, &status, &station.station))
            .collect();
        PageMessage { status, benches }
    }

    fn bench(&self, state: &State, status: &Status, name: &str) -> BenchMessage {
        let station = state.stations.get(name);
        let series = station.and_then(|station| station.series.as_ref());
        let instruments = status.state.instruments.iter();
        let here = instruments.filter(|instrument| instrument.station == name);
        let last = station.and_then(|station| station.last_reading.as_ref());
        let mut recent: Vec<_> = self
            .recent
            .get(name)
            .into_iter()
            .flatten()
            .cloned()
            .collect();
        for happened in &mut recent {
            happened.may_be_retracted = series.is_some_and(|series| {
                let mut readings = series.readings.iter();
                readings.any(|reading| reading.seq.0 == happened.seq)
            });
        }
        BenchMessage {
            station: name.to_owned(),
            readings: series.map(slots).unwrap_or_default(),
            zeros: here
                .map(|known| zero(state, series, name, &known.instrument))
                .collect(),
            last_value: last.map(|(_, reading)| reading.value.to_string()),
            scale: last.and_then(|(seq, reading)| scale(*seq, reading, series)),
            recent,
            restorable: series
                .and_then(|series| series.retracted.as_ref())
                .map(|retracted| slot(&retracted.reading)),
            resumable: station
                .and_then(|station| station.stopped.as_ref())
                .map(|stopped| stopped.series.id.0),
        }
    }
}

/// The beginning of what is too long for a line or two.
fn short(mut words: String) -> String {
    if let Some((cut, _)) = words.char_indices().nth(WORDS_MOST) {
        words.truncate(cut);
        words.push('…');
    }
    words
}

/// What an entry says of earlier readings.
fn mark(recent: &mut VecDeque<RecentMessage>, entry: &SeriesEntry) {
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
        | SeriesEntry::Alerted(_) => return,
    };
    for happened in recent {
        if readings.iter().any(|seq| seq.0 == happened.seq) {
            happened.fate = fate;
        }
    }
}

fn slots(series: &SeriesState) -> Vec<SlotMessage> {
    let surplus = series.readings.len().saturating_sub(READINGS_MOST);
    let newest = series.readings.iter().skip(surplus);
    newest.map(slot).collect()
}

fn slot(reading: &CountedReading) -> SlotMessage {
    SlotMessage {
        seq: reading.seq.0,
        piece: reading.piece,
        axis: reading.axis.to_string(),
        value: reading.value.to_string(),
        at: reading.value.quantity().base(),
        verdict: reading.verdict.name(),
        needs_reason: reading.axis.is_destructive(),
    }
}

fn zero(
    state: &State,
    series: Option<&SeriesState>,
    station: &str,
    instrument: &str,
) -> ZeroStateMessage {
    let moved = state
        .instruments
        .get(instrument)
        .is_some_and(|known| known.opening.is_some());
    let nothing = ZeroState::default();
    let known = series
        .and_then(|series| series.zeros.get(instrument))
        .unwrap_or(&nothing);
    let due =
        matches!(prompt(state, station), Prompt::Zero { instrument: due, .. } if due == instrument);
    let zero = if moved {
        "moved"
    } else if known.off {
        "off"
    } else if due {
        "due"
    } else if known.last_good.is_some() {
        "good"
    } else {
        "none"
    };
    ZeroStateMessage {
        instrument: instrument.to_owned(),
        zero,
        since: known.last_good.map(|(_, at)| at.to_string()),
    }
}

fn scale(seq: Seq, reading: &Reading, series: Option<&SeriesState>) -> Option<ScaleMessage> {
    let slot = reading.slot.as_ref()?;
    let limits: &Limits = &slot.limits;
    let mark = |quantity: Quantity| MarkMessage {
        at: quantity.base(),
        text: quantity.to_string(),
    };
    let series = series.filter(|series| series.id == slot.series);
    let axis = series.and_then(|series| series.spec.axis(&slot.axis));
    let guard = axis.and_then(|axis| axis.guard_of(&reading.instrument));
    Some(ScaleMessage {
        seq: seq.0,
        axis: slot.axis.words(),
        base: match limits.dimension() {
            Dimension::Length => "nm",
            Dimension::Force => "mN",
        },
        value: MarkMessage {
            at: reading.value.quantity().base(),
            text: reading.value.to_string(),
        },
        nominal: limits.nominal().map(mark),
        lower: limits.lower().map(mark),
        upper: limits.upper().map(mark),
        guard: guard.map(|guard| guard.width).filter(|width| *width != 0),
        limits: limits.to_string(),
    })
}

/// How an entry looks and sounds; `None` for those that nobody at the bench waits for.
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
            },
            SeriesEntry::Doubted(_) | SeriesEntry::Alerted(_) => "alert",
            SeriesEntry::Disarmed(_) => return None,
            SeriesEntry::Armed(_)
            | SeriesEntry::Resumed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Retracted(_)
            | SeriesEntry::Restored(_) => "plain",
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
        },
    }
}

/// What is read aloud.
fn aloud(entry: &Entry) -> Option<String> {
    if let Entry::Series(SeriesEntry::Alerted(alerted)) = entry {
        return Some(safe(&alerted.text));
    }
    let Spoken { verdict, value, .. } = spoken(entry)?;
    // That a zero is good says all of its value.
    let good = matches!(entry, Entry::Frame(FrameEntry::Zeroed(zeroed)) if zeroed.ok);
    Some(match value {
        Some(value) if !good => format!("{verdict}, {value}"),
        Some(_) | None => verdict,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Retracted;
    use crate::quantity::WallMicros;
    use crate::spec::AxisName;
    use std::sync::Arc;

    fn reading(seq: u64) -> Stamped {
        Stamped {
            seq: Seq(seq),
            at: WallMicros(0),
            entry: Entry::from(Arc::new(Reading {
                station: "bench-1".to_owned(),
                instrument: "caliper-1".to_owned(),
                value: "1.60 mm".parse().unwrap(),
                raw: Vec::new(),
                plateau: None,
                slot: Some(crate::entry::ReadingSlot {
                    series: Seq(1),
                    piece: 1,
                    axis: AxisName::new("core_crimp_height"),
                    crimp: None,
                    purpose: crate::spec::Purpose::FirstOff,
                    limits: "1.62 ±0.05 mm".parse().unwrap(),
                    deviation: None,
                    verdict: Some(Verdict::Pass),
                }),
                standing: Standing::Counted,
            })),
        }
    }

    fn retracted(seq: u64, reading: u64) -> Stamped {
        Stamped {
            seq: Seq(seq),
            at: WallMicros(0),
            entry: Entry::from(Retracted {
                station: "bench-1".to_owned(),
                series: Seq(1),
                reading: Seq(reading),
                by: None,
                slot: None,
                reason: None,
                spent: false,
            }),
        }
    }

    #[test]
    fn what_was_retracted_is_marked_so_and_no_list_grows_without_end() {
        let mut board = Board::default();
        for seq in 1..100 {
            board.apply(&reading(seq));
        }
        board.apply(&retracted(100, 98));
        let recent = &board.recent["bench-1"];
        assert_eq!(recent.len(), RECENT_MOST);
        let newest: Vec<_> = recent
            .iter()
            .take(3)
            .map(|one| (one.seq, one.tone, one.fate))
            .collect();
        assert_eq!(
            newest,
            [
                (100, "plain", None),
                (99, "pass", None),
                (98, "pass", Some("retracted"))
            ]
        );
        assert_eq!(recent[1].aloud.as_deref(), Some("pass, 1.60 mm"));
    }
}
