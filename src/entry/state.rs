//! The state that follows from the entries so far.
//!
//! In: entries in order. Out: the state of every station and instrument. The live core, a restart and clients of the
//! feed all use this fold, so their states cannot differ.

use super::answers::Answers;
use super::pictured::PictureKept;
use super::production::fold::Production;
use super::qualifying::Qualifying;
use super::repeat::Repeat;
use super::resume::Stopped;
use super::runs::{Alert, MOST_ALERTS, Runs};
use super::undo::RetractedReading;
use super::{
    Adapter, Alerted, Attached, Completed, Counts, Doubted, Entry, FrameEntry, JournalId, KeyInUse,
    Outcome, Reading, RefusedSaying, Reservation, SaidEntry, Seq, SeriesEntry, Stamped, Standing,
    Tally, ToolInHand, ZeroRole, Zeroed,
};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedSpec, AxisName, Job, Lots, OpeningZero, Verdict, Verified};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The state that follows from the journal.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct State {
    /// Identity of the journal; `None` before its first entry.
    pub journal: Option<JournalId>,
    /// Number of the last entry; `None` before the first.
    pub last: Option<Seq>,
    /// By station name.
    pub stations: BTreeMap<String, StationState>,
    /// By instrument name.
    pub instruments: BTreeMap<String, InstrumentState>,
    /// By id of the crimp tool.
    pub tools: BTreeMap<String, ToolState>,
    /// The evidence from qualification series.
    pub qualifying: Qualifying,
    /// The signing key; `None` before the first one.
    pub key: Option<KeyInUse>,
}

/// What the journal knows of a crimp tool.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ToolState {
    /// Number of measured crimps in this journal. Each piece of a series counts once, also if its readings were
    /// retracted, because the tool did make the crimp.
    pub crimps: u64,
    /// The same by nest, for crimps whose nest is known.
    pub nests: BTreeMap<String, u64>,
}

/// What the journal knows of a station.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct StationState {
    /// The open series; `None` if none is open.
    pub series: Option<SeriesState>,
    /// The last reading, counted or not.
    pub last_reading: Option<(Seq, Arc<Reading>)>,
    /// Id, outcome and tally of the last closed series.
    pub last_outcome: Option<(Seq, Outcome, Tally)>,
    /// When it was closed, by the wall clock as it is set now; `None` in states of releases that did not store it.
    pub closed_at: Option<WallMicros>,
    /// The counts of the last closed series; `None` where its entry has none.
    pub last_counts: Option<Counts>,
    /// Reservations of the last outcome.
    pub last_reservations: Vec<Reservation>,
    /// The last pictures of the last closed series, in the order of their entries.
    pub last_pictures: Vec<PictureKept>,
    /// The operator; `None` before one was named.
    pub operator: Option<String>,
    /// The crimp tool in use; `None` before one was named.
    pub tool: Option<ToolInHand>,
    /// The job that the pieces are for, as it was set last.
    pub job: Option<Job>,
    /// The reel and the spool in use, as they were set last.
    pub lots: Lots,
    /// The last refused command, until another command or a value comes.
    pub refused: Option<RefusedSaying>,
    /// The input of the run rules.
    pub runs: Runs,
    /// The next series of a plan that repeats, until it is armed.
    pub repeat: Option<Repeat>,
    /// The series that the last start stopped early, as long as it can be resumed.
    pub stopped: Option<Box<Stopped>>,
    /// Its production runs.
    pub production: Production,
}

/// What the journal knows of an instrument.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct InstrumentState {
    /// The station it belongs to.
    pub station: String,
    /// Its open port; `None` while it is closed.
    pub attached: Option<Attached>,
    /// Why the port was last closed.
    pub detached_because: Option<String>,
    /// The operator announced that the next value is a zero.
    pub zero_said: bool,
    /// How far open the jaws were when the origin was set. No reading counts until the origin is right again.
    pub opening: Option<Quantity>,
    /// The confirmed adapter. Readings from another one do not count.
    pub adapter: Option<Adapter>,
    /// Programs that have the open port open beside the daemon.
    pub rivals: Vec<String>,
    /// Its last conclusive verification: complete, or stopped early after a failed reading.
    pub verified: Option<Verified>,
}

/// State of an open series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeriesState {
    /// Its id: `seq` of its `armed` entry.
    pub id: Seq,
    /// When it was opened, by the wall clock as it is set now.
    pub since: WallMicros,
    /// The specification that its readings are judged by.
    pub spec: ArmedSpec,
    /// Counted readings in the order of their entries; at most one for each slot.
    pub readings: Vec<CountedReading>,
    /// Numbers of readings by verdict and disposition.
    pub tally: Tally,
    /// The last reading of each slot that was doubted; none in states of releases that did not store them.
    pub doubted: Vec<CountedReading>,
    /// State of the zeros, by instrument.
    pub zeros: BTreeMap<String, ZeroState>,
    /// Its last alerts; an alert is dropped if one of its readings no longer counts.
    pub alerts: Vec<Alert>,
    /// The pieces that were counted as crimps of the tool.
    pub crimped: BTreeSet<u32>,
    /// The spent pieces; others are measured in their place.
    pub spent: BTreeSet<u32>,
    /// The last retracted reading, as long as it can be restored.
    pub retracted: Option<RetractedReading>,
    /// The answers to questions about its pieces.
    pub answers: Answers,
    /// Its last pictures, in the order of their entries.
    pub pictures: Vec<PictureKept>,
}

/// A reading that counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountedReading {
    /// `seq` of its entry `reading`.
    pub seq: Seq,
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Name of the axis in the plan, for example `core_crimp_height`.
    pub axis: AxisName,
    /// The instrument's name in the configuration.
    pub instrument: Arc<str>,
    /// The value with the unit that the instrument showed.
    pub value: Measured,
    /// The verdict against the armed limits.
    pub verdict: Verdict,
}

/// State of an instrument's zeros in an open series.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ZeroState {
    /// The last good zero, and when it was by the wall clock as it is set now.
    pub last_good: Option<(Seq, WallMicros)>,
    /// The last zero frame was off.
    pub off: bool,
    /// The error of the last zero; `None` where it was good, and in states of releases that did not store it.
    pub off_by: Option<Quantity>,
    /// A good closing zero has vouched for all readings.
    pub closed: bool,
    /// A zero became due by time and has its entry.
    pub time_due: bool,
    /// The reading that another zero within two seconds would retract.
    pub retracts: Option<Seq>,
}

/// A place for one reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slot {
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Name of the axis in the plan, for example `core_crimp_height`.
    pub axis: AxisName,
}

impl State {
    /// Changes the state by one more entry.
    pub fn apply(&mut self, stamped: &Stamped) {
        let Stamped { seq, at, entry, .. } = stamped;
        self.forget_refusal(entry);
        self.produce(stamped);
        if let Some(station) = entry.station()
            && let Some(station) = self.stations.get_mut(station)
        {
            station.follow_stopped(entry);
        }
        match entry {
            Entry::Journal(entry) => self.apply_journal(entry),
            Entry::Port(entry) => self.apply_port(entry),
            Entry::Said(entry) => self.apply_said(entry),
            Entry::Frame(entry) => match entry {
                FrameEntry::Zeroed(zeroed) => self.zero(*seq, *at, zeroed),
                FrameEntry::Reading(reading) => self.read(*seq, reading),
                FrameEntry::Unread(_) => {}
            },
            Entry::Series(entry) => self.apply_series(*seq, *at, entry),
            Entry::Production(_) => {}
        }
        self.last = Some(*seq);
    }

    fn apply_said(&mut self, entry: &SaidEntry) {
        match entry {
            SaidEntry::AdapterSaid(said) => self.confirm_adapter(&said.station, &said.instrument),
            SaidEntry::ZeroSaid(said) => {
                self.instrument(&said.instrument, &said.station).zero_said = true;
            }
            SaidEntry::OperatorSaid(said) => {
                self.station(&said.station).operator = Some(said.operator.clone());
            }
            SaidEntry::ToolSaid(said) => {
                self.station(&said.station).tool = Some(said.tool.clone());
            }
            SaidEntry::JobSaid(said) => self.station(&said.station).job.clone_from(&said.job),
            SaidEntry::LotSaid(said) => {
                let lots = &mut self.station(&said.station).lots;
                lots.change(said.material, said.lot.clone());
            }
            SaidEntry::Noted(_) => {}
            SaidEntry::Refused(refused) => {
                self.station(&refused.station).refused = Some(RefusedSaying {
                    said: refused.said.clone(),
                    reason: refused.reason.clone(),
                    remedy: refused.remedy.clone(),
                });
            }
        }
    }

    fn apply_series(&mut self, seq: Seq, at: WallMicros, entry: &SeriesEntry) {
        match entry {
            SeriesEntry::Armed(spec) => {
                let station = self.station(&spec.station);
                station.operator.clone_from(&spec.operator);
                station.series = Some(SeriesState::open(seq, at, spec));
                station.repeat = None;
            }
            SeriesEntry::Completed(completed) => self.complete(at, completed),
            // `completed` closes the series before `disarmed`; `resumed` was handled above, with the station.
            SeriesEntry::Disarmed(_) | SeriesEntry::Resumed(_) => {}
            SeriesEntry::ZeroDue(due) => {
                if let Some(series) = self.station(&due.station).series.as_mut() {
                    let zeros = &mut series.zeros;
                    zeros.entry(due.instrument.clone()).or_default().time_due = true;
                }
            }
            SeriesEntry::Doubted(Doubted {
                station, readings, ..
            }) => self.take_out(station, readings, |series, reading| {
                series.tally.doubted += 1;
                series.keep_doubted(reading);
            }),
            SeriesEntry::Retracted(retracted) => self.retract(retracted),
            SeriesEntry::Restored(restored) => self.restore(&restored.station, restored.reading),
            SeriesEntry::Alerted(alerted) => self.alert(seq, alerted),
            SeriesEntry::Looked(looked) => self.looked(looked),
            SeriesEntry::Pulled(pulled) => self.pulled(pulled),
            SeriesEntry::Pictured(pictured) => self.pictured(seq, pictured),
        }
    }

    pub(super) fn station(&mut self, name: &str) -> &mut StationState {
        self.stations.entry(name.to_owned()).or_default()
    }

    pub(super) fn instrument(&mut self, name: &str, station: &str) -> &mut InstrumentState {
        let known = self.instruments.entry(name.to_owned()).or_default();
        station.clone_into(&mut known.station);
        known
    }

    /// What counts is the time that has passed since a zero, whatever the wall clock was set to meanwhile.
    fn complete(&mut self, at: WallMicros, completed: &Completed) {
        self.verify(at, completed);
        self.qualify(at, completed);
        let station = self.station(&completed.station);
        let full = station.series.take();
        let pictures = full.as_ref().map(|series| series.pictures.clone());
        station.last_pictures = pictures.unwrap_or_default();
        station.repeat = full.and_then(|series| Repeat::owed(&series, completed));
        station.last_reservations = completed.reservations().to_vec();
        station.last_outcome = Some((completed.series, completed.outcome, completed.tally));
        station.last_counts = completed.counts.as_deref().copied();
        station.closed_at = Some(at);
    }

    pub(super) fn shift_times(&mut self, by_micros: i64) {
        for station in self.stations.values_mut() {
            if let Some(series) = &mut station.series {
                series.shift(by_micros);
            }
            if let Some(at) = &mut station.closed_at {
                at.0 = at.0.saturating_add(by_micros);
            }
            if let Some(stopped) = &mut station.stopped {
                stopped.series.shift(by_micros);
            }
            if let Some(repeat) = &mut station.repeat {
                repeat.shift(by_micros);
            }
        }
    }

    fn zero(&mut self, seq: Seq, at: WallMicros, zeroed: &Zeroed) {
        let known = self.instrument(&zeroed.instrument, &zeroed.station);
        let said = std::mem::take(&mut known.zero_said);
        if zeroed.opening.is_some() || zeroed.ok {
            known.opening = zeroed.opening;
        }
        let station = self.station(&zeroed.station);
        let last = station.last_reading.as_ref();
        let last = last.filter(|(_, reading)| *reading.instrument == zeroed.instrument);
        let last = last.map(|(seq, _)| *seq);
        let Some(series) = station.series.as_mut() else {
            return;
        };
        let retracts = series
            .retracted_by_another(zeroed)
            .filter(|seq| Some(*seq) == last);
        series.forget_doubtful(zeroed);
        let zero = series.zeros.entry(zeroed.instrument.clone()).or_default();
        zero.retracts = retracts.filter(|_| !said);
        zero.off = !zeroed.ok;
        let off_by = || zeroed.opening.unwrap_or_else(|| zeroed.value.quantity());
        zero.off_by = zero.off.then(off_by);
        zero.closed = zeroed.ok && zeroed.role == ZeroRole::Closing;
        if zeroed.ok {
            zero.last_good = Some((seq, at));
            zero.time_due = false;
        }
    }

    fn read(&mut self, seq: Seq, reading: &Arc<Reading>) {
        // Looked up before it is made, because its name is copied for a new one only.
        if !self.stations.contains_key(&*reading.station) {
            self.station(&reading.station);
        }
        let Some(station) = self.stations.get_mut(&*reading.station) else {
            return;
        };
        station.last_reading = Some((seq, Arc::clone(reading)));
        let Some(series) = station.series.as_mut() else {
            return;
        };
        let counted = match (&reading.standing, &reading.slot) {
            (Standing::Counted, Some(slot)) => slot.verdict.map(|verdict| (slot, verdict)),
            (Standing::Counted | Standing::NotCounted { .. }, _) => None,
        };
        let Some((slot, verdict)) = counted else {
            series.tally.not_counted += 1;
            return;
        };
        *series.tally.of(verdict) += 1;
        let crimped = series.crimped_with(slot.piece);
        if let Some(zero) = series.zeros.get_mut(&*reading.instrument) {
            zero.closed = false;
        } else {
            let instrument = reading.instrument.to_string();
            series.zeros.insert(instrument, ZeroState::default());
        }
        let reading = CountedReading {
            seq,
            piece: slot.piece,
            axis: slot.axis.clone(),
            instrument: Arc::clone(&reading.instrument),
            value: reading.value,
            verdict,
        };
        station.runs.take(series, &reading);
        series.forget_retracted(&reading);
        series.readings.push(reading);
        if let Some(tool) = crimped {
            self.crimp(tool);
        }
    }

    fn alert(&mut self, seq: Seq, alerted: &Alerted) {
        let station = self.station(&alerted.station);
        station.runs.mark_fired(&alerted.rule, &alerted.readings);
        let Some(series) = station.series.as_mut() else {
            return;
        };
        series.alerts.push(Alert {
            seq,
            rule: alerted.rule.clone(),
            text: alerted.text.clone(),
            readings: alerted.readings.clone(),
        });
        let surplus = series.alerts.len().saturating_sub(MOST_ALERTS);
        series.alerts.drain(..surplus);
    }
}

impl StationState {
    /// The reading that one more zero retracts: the last one, if it still counts. The reading of a destroyed piece is
    /// never retracted by a zero.
    pub fn retracted_by_zero(&self) -> Option<&CountedReading> {
        let series = self.series.as_ref()?;
        let (last, _) = self.last_reading.as_ref()?;
        let offered = series
            .zeros
            .values()
            .any(|zero| zero.retracts == Some(*last));
        let reading = series.readings.last().filter(|_| offered)?;
        (reading.seq == *last && !reading.axis.is_destructive()).then_some(reading)
    }
}

impl ZeroState {
    /// The zero state of a series that begins with the closing zero of the series before.
    fn carried(zero: &OpeningZero) -> Self {
        Self {
            last_good: Some((Seq(zero.zeroed), zero.at)),
            ..Self::default()
        }
    }
}

impl SeriesState {
    fn open(id: Seq, since: WallMicros, spec: &ArmedSpec) -> Self {
        Self {
            id,
            since,
            spec: spec.clone(),
            readings: Vec::new(),
            tally: Tally::default(),
            doubted: Vec::new(),
            zeros: spec
                .opening_zeros
                .iter()
                .map(|zero| (zero.instrument.clone(), ZeroState::carried(zero)))
                .collect(),
            alerts: Vec::new(),
            crimped: BTreeSet::new(),
            spent: BTreeSet::new(),
            retracted: None,
            answers: Answers::default(),
            pictures: Vec::new(),
        }
    }

    fn shift(&mut self, by_micros: i64) {
        self.since.0 = self.since.0.saturating_add(by_micros);
        let good = self.zeros.values_mut();
        for (_, at) in good.filter_map(|zero| zero.last_good.as_mut()) {
            at.0 = at.0.saturating_add(by_micros);
        }
    }

    /// The reading that one more zero frame after `zeroed` would retract: the last one, if `zeroed` came directly after
    /// it and no zero was due.
    fn retracted_by_another(&self, zeroed: &Zeroed) -> Option<Seq> {
        let unasked = zeroed.ok && zeroed.opening.is_none() && zeroed.role == ZeroRole::Unasked;
        if !unasked || !self.spec.zero.double_retracts {
            return None;
        }
        let last = self.readings.last()?.seq;
        let zero = self.zeros.get(&zeroed.instrument);
        let before = zero.and_then(|zero| zero.last_good).map(|(seq, _)| seq);
        (before < Some(last)).then_some(last)
    }

    /// The counted reading in this slot.
    pub fn in_slot(&self, slot: &Slot) -> Option<&CountedReading> {
        self.readings
            .iter()
            .find(|reading| reading.piece == slot.piece && reading.axis == slot.axis)
    }
}
