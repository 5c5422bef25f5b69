//! The state that follows from the entries so far.
//!
//! In: entries in order. Out: the state of every station and instrument. The live core, a restart and clients of the
//! feed all use this fold, so their states cannot differ.

use super::repeat::Repeat;
use super::resume::Stopped;
use super::runs::{Alert, MOST_ALERTS, Runs};
use super::undo::RetractedReading;
use super::{
    Adapter, Alerted, Attached, Completed, Doubted, Entry, FrameEntry, JournalEntry, JournalId,
    Outcome, PortEntry, Reading, RefusedSaying, Reservation, SaidEntry, Seq, SeriesEntry, Stamped,
    Standing, Tally, ToolInHand, ZeroRole, Zeroed,
};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedSpec, AxisName, OpeningZero, Verdict, Verified};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Everything that the journal amounts to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct State {
    /// The journal's name; `None` before its first entry.
    pub journal: Option<JournalId>,
    /// The last entry; `None` before the first.
    pub last: Option<Seq>,
    /// Per station name.
    pub stations: BTreeMap<String, StationState>,
    /// Per instrument name.
    pub instruments: BTreeMap<String, InstrumentState>,
    /// Per crimp tool.
    pub tools: BTreeMap<String, ToolState>,
}

/// What is known of a crimp tool.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ToolState {
    /// Crimps that were measured in this journal: each piece of a series once, also where its readings
    /// were retracted, since the tool did make the crimp.
    pub crimps: u64,
    /// The same for each nest that was named.
    pub nests: BTreeMap<String, u64>,
}

/// What is known of a station.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct StationState {
    /// The open series.
    pub series: Option<SeriesState>,
    /// The last reading, whatever became of it.
    pub last_reading: Option<(Seq, Arc<Reading>)>,
    /// How the last closed series came out.
    pub last_outcome: Option<(Seq, Outcome, Tally)>,
    /// When that was, by the wall clock as it is set now; `None` in a state of before this was kept.
    pub closed_at: Option<WallMicros>,
    /// What takes from the weight of that.
    pub last_reservations: Vec<Reservation>,
    /// Who measures, as last said.
    pub operator: Option<String>,
    /// The crimp tool in the hand, as last said.
    pub tool: Option<ToolInHand>,
    /// What was refused last, until something is said or measured that is not.
    pub refused: Option<RefusedSaying>,
    /// What run rules look at.
    pub runs: Runs,
    /// The series that the last one owes; `None` as soon as one is armed.
    pub repeat: Option<Repeat>,
    /// The series that the last arming stopped early, while it can be resumed.
    pub stopped: Option<Box<Stopped>>,
}

/// What is known of an instrument.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct InstrumentState {
    /// The station it belongs to.
    pub station: String,
    /// Its open port.
    pub attached: Option<Attached>,
    /// Why its port was last lost.
    pub detached_because: Option<String>,
    /// The next frame is a zero because the operator said so.
    pub zero_said: bool,
    /// How far open the jaws stood when the origin was set; no reading counts until it is mended.
    pub opening: Option<Quantity>,
    /// The adapter that is meant; another one's readings do not count.
    pub adapter: Option<Adapter>,
    /// The programs that have its open port beside us.
    pub rivals: Vec<String>,
    /// Its last verification that says something: whole, or cut short when some error was too large.
    pub verified: Option<Verified>,
}

/// An open series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeriesState {
    /// Its id: the seq of its `armed` entry.
    pub id: Seq,
    /// When it was opened, by the wall clock as it is set now.
    pub since: WallMicros,
    /// What it judges by.
    pub spec: ArmedSpec,
    /// Counted readings, in the order they came; at most one a slot.
    pub readings: Vec<CountedReading>,
    /// Of all its readings.
    pub tally: Tally,
    /// The zero of each instrument used in it.
    pub zeros: BTreeMap<String, ZeroState>,
    /// Its last alerts, without those that rest on a reading that was taken out.
    pub alerts: Vec<Alert>,
    /// The pieces that were counted as crimps of its tool.
    pub crimped: BTreeSet<u32>,
    /// The pieces that were destroyed by a reading that was retracted: others are measured instead.
    pub spent: BTreeSet<u32>,
    /// The reading that was retracted last, while that can be undone.
    pub retracted: Option<RetractedReading>,
}

/// A reading that counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountedReading {
    /// `seq` of its entry `reading`.
    pub seq: Seq,
    /// The piece, from 1.
    pub piece: u32,
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: AxisName,
    /// Its name in the configuration.
    pub instrument: String,
    /// As the instrument showed it, unit included.
    pub value: Measured,
    /// Against the limits that were armed.
    pub verdict: Verdict,
}

/// What the last zero frames of an instrument said in this series.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ZeroState {
    /// The last good zero, and when it was by the wall clock as it is set now.
    pub last_good: Option<(Seq, WallMicros)>,
    /// The last zero frame was off.
    pub off: bool,
    /// By how much; `None` where it was good, and in a state of before this was kept.
    pub off_by: Option<Quantity>,
    /// A good closing zero came after the last reading.
    pub closed: bool,
    /// One has become due by time.
    pub time_due: bool,
    /// The reading that a second zero, soon after, retracts.
    pub retracts: Option<Seq>,
}

/// A place for one reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slot {
    /// The piece, from 1.
    pub piece: u32,
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: AxisName,
}

impl State {
    /// What the state is after one more entry.
    pub fn apply(&mut self, stamped: &Stamped) {
        let Stamped { seq, at, entry } = stamped;
        self.forget_refusal(entry);
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
        }
        self.last = Some(*seq);
    }

    fn apply_journal(&mut self, entry: &JournalEntry) {
        match entry {
            JournalEntry::Begun(begun) => self.journal = Some(begun.journal.clone()),
            JournalEntry::Segment(segment) => self.clone_from(&segment.state),
            JournalEntry::Started(_) => self.forget_ports("the daemon was not running"),
            JournalEntry::ClockStepped(stepped) => self.shift_times(stepped.by_micros),
            JournalEntry::Stopped(_)
            | JournalEntry::Gap(_)
            | JournalEntry::DamageAccepted(_)
            | JournalEntry::RolledBack(_) => {}
        }
    }

    fn apply_port(&mut self, entry: &PortEntry) {
        match entry {
            PortEntry::Attached(attached) => self.attach(attached),
            PortEntry::Detached(gone) => {
                let known = self.instrument(&gone.instrument, &gone.station);
                known.detach(&gone.reason);
            }
            PortEntry::AdapterChanged(_) => {} // follows from the two adapters
            PortEntry::Disturbed(disturbed) => {
                let known = self.instrument(&disturbed.instrument, &disturbed.station);
                known.rivals.clone_from(&disturbed.holders);
            }
        }
    }

    fn apply_said(&mut self, entry: &SaidEntry) {
        match entry {
            SaidEntry::AdapterSaid(said) => self.take_adapter(&said.station, &said.instrument),
            SaidEntry::ZeroSaid(said) => {
                self.instrument(&said.instrument, &said.station).zero_said = true;
            }
            SaidEntry::OperatorSaid(said) => {
                self.station(&said.station).operator = Some(said.operator.clone());
            }
            SaidEntry::ToolSaid(said) => {
                self.station(&said.station).tool = Some(said.tool.clone());
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
            // `completed` deals with the first, the station above with the second
            SeriesEntry::Disarmed(_) | SeriesEntry::Resumed(_) => {}
            SeriesEntry::ZeroDue(due) => {
                if let Some(series) = self.station(&due.station).series.as_mut() {
                    let zeros = &mut series.zeros;
                    zeros.entry(due.instrument.clone()).or_default().time_due = true;
                }
            }
            SeriesEntry::Doubted(Doubted {
                station, readings, ..
            }) => self.take_out(station, readings, |tally, count| tally.doubted += count),
            SeriesEntry::Retracted(retracted) => self.retract(retracted),
            SeriesEntry::Restored(restored) => self.restore(&restored.station, restored.reading),
            SeriesEntry::Alerted(alerted) => self.alert(seq, alerted),
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

    /// The time since a zero is what has passed, whatever the wall clock was set to meanwhile.
    fn complete(&mut self, at: WallMicros, completed: &Completed) {
        self.verify(at, completed);
        let station = self.station(&completed.station);
        let full = station.series.take();
        station.repeat = full.and_then(|series| Repeat::owed(&series, completed));
        station.last_reservations = completed.reservations().to_vec();
        station.last_outcome = Some((completed.series, completed.outcome, completed.tally));
        station.closed_at = Some(at);
    }

    fn shift_times(&mut self, by_micros: i64) {
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
        let last = last.filter(|(_, reading)| reading.instrument == zeroed.instrument);
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
        let station = self.station(&reading.station);
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
        series
            .zeros
            .entry(reading.instrument.clone())
            .or_default()
            .closed = false;
        let reading = CountedReading {
            seq,
            piece: slot.piece,
            axis: slot.axis.clone(),
            instrument: reading.instrument.clone(),
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
        station.runs.tell(&alerted.rule, &alerted.readings);
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

    pub(super) fn take_out(&mut self, station: &str, readings: &[Seq], count: fn(&mut Tally, u32)) {
        let station = self.station(station);
        let Some(series) = station.series.as_mut() else {
            return;
        };
        station.runs.take_out(readings);
        let rests = |alert: &Alert| alert.readings.iter().any(|seq| readings.contains(seq));
        series.alerts.retain(|alert| !rests(alert));
        for seq in readings {
            let Some(at) = series
                .readings
                .iter()
                .position(|reading| reading.seq == *seq)
            else {
                continue;
            };
            let reading = series.readings.remove(at);
            let counted = series.tally.of(reading.verdict);
            *counted = counted.saturating_sub(1);
            count(&mut series.tally, 1);
        }
    }
}

impl Tally {
    /// The count of this verdict.
    pub fn of(&mut self, verdict: Verdict) -> &mut u32 {
        match verdict {
            Verdict::Pass => &mut self.passed,
            Verdict::FailLow | Verdict::FailHigh => &mut self.failed,
            Verdict::UnsureLow | Verdict::UnsureHigh => &mut self.unsure,
        }
    }
}

impl StationState {
    /// The reading that one more zero retracts, while it is the last one and still counts; none whose
    /// piece was destroyed by measuring it.
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
    /// As the closing zero of the series before leaves it.
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
            zeros: spec
                .opening_zeros
                .iter()
                .map(|zero| (zero.instrument.clone(), ZeroState::carried(zero)))
                .collect(),
            alerts: Vec::new(),
            crimped: BTreeSet::new(),
            spent: BTreeSet::new(),
            retracted: None,
        }
    }

    fn shift(&mut self, by_micros: i64) {
        self.since.0 = self.since.0.saturating_add(by_micros);
        let good = self.zeros.values_mut();
        for (_, at) in good.filter_map(|zero| zero.last_good.as_mut()) {
            at.0 = at.0.saturating_add(by_micros);
        }
    }

    /// The reading that the zero frame after `zeroed` would retract: the last one, if `zeroed`
    /// came right after it and no zero was due.
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

    /// The reading that fills this slot.
    pub fn in_slot(&self, slot: &Slot) -> Option<&CountedReading> {
        self.readings
            .iter()
            .find(|reading| reading.piece == slot.piece && reading.axis == slot.axis)
    }
}
