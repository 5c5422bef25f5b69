//! What the bench page shows beside the state: readings by slot, zeros, the position of the last value, and recent
//! events.
//!
//! In: entries in order, and the state that follows from them. Out: one message for each station. The page computes
//! nothing from entries itself.
//!
//! What is unknown is left out, never 0.

mod closed;
mod face;
mod happened;
mod jobs;
mod moving;
mod scale;
mod sentences;
mod tiles;

pub use closed::{AsideMessage, ClosedMessage};
pub use face::Face;
pub use happened::RecentMessage;
pub use jobs::{JobChoice, JobsMessage};
pub use moving::MovingMessage;
pub use scale::{AskMessage, MarkMessage, MissMessage, ScaleMessage};
pub use tiles::{PlansMessage, TileMessage};

use super::reply::Status;
use crate::entry::ledger::{Ledger, Series, Whole};
use crate::entry::state::{CountedReading, SeriesState, ZeroState};
use crate::entry::{Entry, Outcome, PictureKept, Reading, Seq, Stamped, State, Tally};
use crate::spec::Catalog;
use crate::station::prompt::{Prompt, prompt};
use crate::texts::Texts;
use face::Newest;
use happened::{RECENT_MOST, mark};
use jobs::Choices;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, VecDeque};
use tiles::Uses;

/// Maximum number of readings of a series that are shown, the newest ones.
const READINGS_MOST: usize = 400;

/// Content of the page: the answer to `status`, and more about each station.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct PageMessage {
    /// Answer to `status`.
    #[serde(flatten)]
    pub status: Status,
    /// More about each station, in the order of the state.
    pub benches: Vec<BenchMessage>,
    /// The sentences of this message as keys of the table of texts, where it has them.
    #[serde(default, skip_serializing_if = "Texts::is_empty")]
    pub texts: Texts,
}

/// Content of the page for a station, beside its state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct BenchMessage {
    /// Name of the station in the configuration.
    pub station: String,
    /// Main display of the station.
    pub face: Face,
    /// What must be done before the next slot can be measured: a zero, connecting an instrument, …
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub todo: Option<Face>,
    /// Slots that may be measured next, with their limits; several in the order `by_value`.
    pub asks: Vec<AskMessage>,
    /// Counted readings of the open series, at most 400.
    pub readings: Vec<SlotMessage>,
    /// Doubted readings of the open series whose slots must be measured again.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubted: Vec<SlotMessage>,
    /// Last closed series, with the pieces to set aside.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<ClosedMessage>,
    /// Pictures of the open series, else of the last closed one, in the order of their entries.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pictures: Vec<PictureKept>,
    /// State of the zero of each instrument.
    pub zeros: Vec<ZeroStateMessage>,
    /// Last value as shown, with its unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_value: Option<String>,
    /// Position of the last value between its limits; left out if no series was open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<ScaleMessage>,
    /// Recent events, the newest first.
    pub recent: Vec<RecentMessage>,
    /// Last retracted reading, as long as it can be restored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restorable: Option<SlotMessage>,
    /// Number of the series that the last start stopped early, as long as it can be resumed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resumable: Option<u64>,
}

/// A reading in its slot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SlotMessage {
    /// `seq` of its entry.
    pub seq: u64,
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Name of the axis, such as `core_crimp_height`.
    pub axis: String,
    /// Value as shown, with its unit.
    pub value: String,
    /// Value in nanometres or millinewtons.
    pub at: i64,
    /// `pass`, `fail_low`, `fail_high`, `unsure_low`, `unsure_high` or `measured`.
    pub verdict: &'static str,
    /// Whether measuring destroyed the piece, so that retracting needs a reason.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub needs_reason: bool,
}

/// State of an instrument's zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ZeroStateMessage {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// `good`, `off`, `due`, `moved` (the origin was set with open jaws), or `none` yet in this series.
    pub zero: &'static str,
    /// Time of the last good zero.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<String>,
}

/// Recent events of all stations.
#[derive(Debug, Default)]
pub struct Board {
    stations: BTreeMap<String, StationBoard>,
    ledger: Ledger<Whole>,
    uses: Uses,
    choices: Choices,
}

/// Recent events of one station.
#[derive(Debug, Default)]
struct StationBoard {
    recent: VecDeque<RecentMessage>,
    /// Last event that can be the main display.
    newest: Option<Newest>,
    /// A production run went on after that event.
    run_went_on: bool,
    /// Last closed series, once nothing can change it.
    settled: Option<Series<Whole>>,
}

impl Board {
    /// Takes the next entry.
    pub fn apply(&mut self, stamped: &Stamped) {
        self.uses.apply(stamped);
        self.choices.apply(stamped);
        let settled = self.ledger.take(stamped, Whole::of(stamped));
        if let Some(settled) = settled {
            let board = self.stations.entry(settled.spec.station.clone());
            board.or_default().settled = Some(settled);
        }
        let Some(station) = stamped.entry.station() else {
            return;
        };
        let board = self.stations.entry(station.to_owned()).or_default();
        if let Entry::Series(entry) = &stamped.entry {
            mark(&mut board.recent, entry);
        }
        if let Some(newest) = Newest::of(stamped) {
            board.newest = Some(newest);
            board.run_went_on = false;
        }
        board.run_went_on |= face::is_of_run(&stamped.entry);
        if let Some(happened) = RecentMessage::of(stamped) {
            board.recent.push_front(happened);
            board.recent.truncate(RECENT_MOST);
        }
    }

    /// The plans that can be started at `station`.
    pub fn plans(&self, catalog: &Catalog, station: &str) -> PlansMessage {
        self.uses.message(catalog, station)
    }

    /// The jobs and lots that can be chosen.
    pub fn jobs(&self, catalog: &Catalog) -> JobsMessage {
        self.choices.message(catalog)
    }

    /// The content of the page for every station of `status`, whose state is `state`.
    pub fn message(&self, status: Status, state: &State) -> PageMessage {
        let stations = status.state.stations.iter();
        let benches: Vec<_> = stations
            .map(|station| self.bench(state, &status, &station.station))
            .collect();
        let texts = sentences::texts(&status, &benches);
        PageMessage {
            status,
            benches,
            texts,
        }
    }

    fn bench(&self, state: &State, status: &Status, name: &str) -> BenchMessage {
        let nothing = StationBoard::default();
        let board = self.stations.get(name).unwrap_or(&nothing);
        let station = state.stations.get(name);
        let series = station.and_then(|station| station.series.as_ref());
        let instruments = status.state.instruments.iter();
        let here = instruments.filter(|instrument| instrument.station == name);
        let last = station.and_then(|station| station.last_reading.as_ref());
        let mut recent: Vec<_> = board.recent.iter().cloned().collect();
        for happened in &mut recent {
            happened.may_be_retracted = series.is_some_and(|series| {
                let mut readings = series.readings.iter();
                readings.any(|reading| reading.seq.0 == happened.seq)
            });
        }
        let doubted = series.map_or(Vec::new(), doubted);
        let prompt = prompt(state, name);
        BenchMessage {
            station: name.to_owned(),
            face: face::face(
                station,
                board.newest.as_ref(),
                board.run_went_on,
                &prompt,
                doubted.len(),
            ),
            todo: face::todo(&prompt, doubted.len()),
            asks: series.map_or(Vec::new(), |series| scale::asks(&prompt, series)),
            readings: series.map(slots).unwrap_or_default(),
            doubted,
            closed: self.closed(station.and_then(|known| known.last_outcome.as_ref()), board),
            pictures: station.map_or(Vec::new(), |known| {
                let open = known.series.as_ref().map(|open| &open.pictures);
                open.unwrap_or(&known.last_pictures).clone()
            }),
            zeros: here
                .map(|known| zero(state, series, name, &known.instrument))
                .collect(),
            last_value: last.map(|(_, reading)| reading.value.to_string()),
            scale: last.and_then(|(seq, reading)| scale::scale(*seq, reading, series)),
            recent,
            restorable: series
                .and_then(|series| series.retracted.as_ref())
                .map(|retracted| slot(&retracted.reading)),
            resumable: station
                .and_then(|station| station.stopped.as_ref())
                .map(|stopped| stopped.series.id.0),
        }
    }

    /// The last closed series, if its readings are known.
    fn closed(
        &self,
        outcome: Option<&(Seq, Outcome, Tally)>,
        board: &StationBoard,
    ) -> Option<ClosedMessage> {
        let (id, ..) = outcome?;
        let settled = board.settled.as_ref().filter(|series| series.id == *id);
        let series = settled.or_else(|| self.ledger.get(*id))?;
        ClosedMessage::of(series)
    }
}

/// The doubted readings whose slots must be measured again, by piece and axis.
fn doubted(series: &SeriesState) -> Vec<SlotMessage> {
    let mut slots: Vec<_> = series.doubted_left().map(slot).collect();
    slots.sort_by(|one, other| (one.piece, &one.axis).cmp(&(other.piece, &other.axis)));
    slots
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

/// A reading of the ledger in its slot; `None` if it was not judged.
fn slot_of(seq: Seq, reading: &Reading) -> Option<SlotMessage> {
    let slot = reading.slot.as_ref()?;
    Some(SlotMessage {
        seq: seq.0,
        piece: slot.piece,
        axis: slot.axis.to_string(),
        value: reading.value.to_string(),
        at: reading.value.quantity().base(),
        verdict: slot.verdict?.name(),
        needs_reason: slot.axis.is_destructive(),
    })
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Retracted, Standing};
    use crate::quantity::WallMicros;
    use crate::spec::{AxisName, Verdict};
    use std::sync::Arc;

    fn reading(seq: u64) -> Stamped {
        Stamped {
            token: None,
            seq: Seq(seq),
            at: WallMicros(0),
            entry: Entry::from(Arc::new(Reading {
                station: "bench-1".into(),
                instrument: "caliper-1".into(),
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
            token: None,
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
        let recent = &board.stations["bench-1"].recent;
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
