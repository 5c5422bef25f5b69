//! Checks that an entry follows from the entries before it. Verdicts are recomputed from the armed specification.
//!
//! In: the state before an entry, and the entry. Out: every part of the entry that does not follow.

mod answers;
mod journal;
mod pictured;
mod production;
mod zeros;

use super::reservation::{Reservation, reservations, words};
use super::state::{InstrumentState, SeriesState, Slot, StationState};
use super::{
    AdapterChanged, Alerted, Completed, Entry, FrameEntry, JobSaid, Means, Outcome, PortEntry,
    Reading, ReadingSlot, Restored, Resumed, Retracted, SaidEntry, Seq, SeriesEntry, Stamped,
    Standing, State,
};
use crate::quantity::{Quantity, WallMicros};
use crate::spec::{ArmedSpec, Crimp, Material, Verdict, judge};
use std::fmt;

/// One part of an entry that does not follow from the entries before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mismatch {
    /// The part in question: `verdict`, `series`, …
    pub what: &'static str,
    /// The value in the entry.
    pub got: String,
    /// The value that follows from the entries before it.
    pub want: String,
}

/// Every part of `stamped` that does not follow from the entries that led to `before`.
pub fn audit(before: &State, stamped: &Stamped) -> Vec<Mismatch> {
    let mut found = Findings(Vec::new());
    found.owed(before, stamped);
    match &stamped.entry {
        Entry::Journal(entry) => found.about_journal(before, entry),
        Entry::Port(PortEntry::AdapterChanged(changed)) => found.adapter_changed(before, changed),
        Entry::Port(_) => {} // what comes from outside follows from nothing
        Entry::Said(entry) => match entry {
            SaidEntry::OperatorSaid(said) => found.open(before, &said.station, said.series),
            SaidEntry::ToolSaid(said) => found.open(before, &said.station, said.series),
            SaidEntry::JobSaid(said) => found.job_said(before, said),
            SaidEntry::LotSaid(said) => found.open(before, &said.station, said.series),
            SaidEntry::Noted(noted) => {
                found.noted(before, &noted.station, noted.series, stamped.at);
            }
            SaidEntry::AdapterSaid(_) | SaidEntry::ZeroSaid(_) | SaidEntry::Refused(_) => {}
        },
        Entry::Frame(entry) => match entry {
            FrameEntry::Zeroed(zeroed) => found.zeroed(before, zeroed),
            FrameEntry::Reading(reading) => found.reading(before, reading),
            FrameEntry::Unread(_) => {}
        },
        Entry::Series(entry) => found.series(before, entry, stamped.at),
        Entry::Production(entry) => found.production(before, entry, stamped.at),
    }
    found.0
}

impl State {
    fn series(&self, station: &str) -> Option<&SeriesState> {
        self.stations.get(station)?.series.as_ref()
    }
}

struct Findings(Vec<Mismatch>);

impl Findings {
    fn add(&mut self, what: &'static str, got: impl Into<String>, want: impl Into<String>) {
        self.0.push(Mismatch {
            what,
            got: got.into(),
            want: want.into(),
        });
    }

    fn compare<T: PartialEq>(
        &mut self,
        what: &'static str,
        got: &T,
        want: &T,
        show: fn(&T) -> String,
    ) {
        if got != want {
            self.add(what, show(got), show(want));
        }
    }

    /// Checks that the entry names the open series.
    fn open(&mut self, before: &State, station: &str, got: Option<Seq>) {
        let open = before.series(station).map(|series| series.id);
        self.compare("series", &got, &open, shown);
    }

    fn series(&mut self, before: &State, entry: &SeriesEntry, at: WallMicros) {
        match entry {
            SeriesEntry::Armed(spec) => {
                let open = before.series(&spec.station).map(|series| series.id);
                self.compare("series open while the next is armed", &open, &None, shown);
                self.armed(before, spec);
                self.sampled(spec);
            }
            SeriesEntry::Disarmed(disarmed) => {
                let known = before.stations.get(&disarmed.station);
                let closed = known.and_then(|known| Some(known.last_outcome.as_ref()?.0));
                let open = before.series(&disarmed.station).map(|series| series.id);
                self.compare("series", &Some(disarmed.series), &open.or(closed), shown);
            }
            SeriesEntry::Completed(completed) => self.completed(before, completed, at),
            SeriesEntry::Resumed(resumed) => self.resumed(before, resumed),
            SeriesEntry::ZeroDue(due) => self.open(before, &due.station, Some(due.series)),
            SeriesEntry::Doubted(doubted) => {
                let open = before.series(&doubted.station);
                self.counted(open, doubted.series, &doubted.readings);
            }
            SeriesEntry::Retracted(retracted) => self.retracted(before, retracted),
            SeriesEntry::Restored(restored) => self.restored(before, restored),
            SeriesEntry::Looked(looked) => self.looked(before, looked),
            SeriesEntry::Pulled(pulled) => self.pulled(before, pulled),
            SeriesEntry::Pictured(pictured) => self.pictured(before, pictured),
            SeriesEntry::Alerted(alerted) => {
                self.open(before, &alerted.station, Some(alerted.series));
                self.alerted(before, alerted);
            }
        }
    }

    /// A series is for the job, and uses the lots, that were set last.
    fn armed(&mut self, before: &State, spec: &ArmedSpec) {
        let known = before.stations.get(&spec.station);
        let job = known.and_then(|known| known.job.clone());
        self.compare("job", &spec.job, &job, |job| {
            shown(&job.as_ref().map(|job| &job.id))
        });
        let lots = known.map(|known| known.lots.clone()).unwrap_or_default();
        for material in Material::ALL {
            let (got, want) = (spec.lots.of(material), lots.of(material));
            self.compare("lot", &got, &want, shown);
        }
    }

    /// A job stays the same within a series.
    fn job_said(&mut self, before: &State, said: &JobSaid) {
        self.open(before, &said.station, said.series);
        if let Some(series) = before.series(&said.station) {
            self.compare("job", &said.job, &series.spec.job, |job| {
                shown(&job.as_ref().map(|job| &job.id))
            });
        }
    }

    /// A note belongs to the series that is open or was closed shortly before. Older releases gave a note after the
    /// outcome no series, which is accepted.
    fn noted(&mut self, before: &State, station: &str, got: Option<Seq>, at: WallMicros) {
        let known = before.stations.get(station);
        let want = known.and_then(|known| known.noted_at(at));
        let is_open = before.series(station).is_some();
        if got.is_some() || is_open {
            self.compare("series", &got, &want, shown);
        }
    }

    fn reading(&mut self, before: &State, reading: &Reading) {
        let counted = reading.standing == Standing::Counted;
        if counted {
            self.confirmed_adapter(before, &reading.instrument);
        }
        let Some(slot) = &reading.slot else {
            if counted {
                self.add("slot of a counted reading", "none", "a slot");
            }
            return;
        };
        let open = before.series(&reading.station);
        let series = open.filter(|series| series.id == slot.series);
        let Some(series) = series else {
            let open = open.map(|series| series.id);
            self.add("series", slot.series.to_string(), shown(&open));
            return;
        };
        let spec = &series.spec;
        self.crimp(
            slot.crimp.as_deref(),
            spec.subject.crimp().map(|crimp| &**crimp),
        );
        self.compare("purpose", &slot.purpose, &spec.purpose, |purpose| {
            purpose.name().to_owned()
        });
        let Some(axis) = spec.axis(&slot.axis) else {
            let known: Vec<&str> = spec.axes.iter().map(|axis| axis.name.as_str()).collect();
            self.add("axis", slot.axis.as_str(), known.join(", "));
            return;
        };
        self.compare("limits", &slot.limits, &axis.limits, ToString::to_string);
        self.compare(
            "deviation",
            &slot.deviation,
            &deviation(reading, slot),
            shown,
        );
        if counted {
            self.filled(series, slot);
            self.zeroed_before(series, reading);
        }
        let fits = reading.value.quantity().dimension() == axis.limits.dimension();
        let guard = axis.guard_of(&reading.instrument);
        let want = match guard {
            Some(guard) if counted && fits => {
                Some(judge(reading.value.quantity(), &axis.limits, guard.width))
            }
            Some(_) | None => None,
        };
        if counted && want.is_none() {
            let instrument = &*reading.instrument;
            self.add(
                "instrument of a counted reading",
                instrument,
                "one that measures this axis",
            );
        }
        self.compare(
            "verdict",
            &slot.verdict,
            &want,
            |verdict: &Option<Verdict>| shown(verdict),
        );
    }

    /// A counted reading must come from the confirmed adapter.
    fn confirmed_adapter(&mut self, before: &State, instrument: &str) {
        let known = before.instruments.get(instrument);
        if let Some((was, is)) = known.and_then(InstrumentState::another) {
            self.add("adapter of a counted reading", is, was);
        }
    }

    fn adapter_changed(&mut self, before: &State, changed: &AdapterChanged) {
        let known = before.instruments.get(&changed.instrument);
        let want = known.and_then(InstrumentState::another);
        let got = Some((changed.was.clone(), changed.is.clone()));
        self.compare("adapter", &got, &want, |change| match change {
            Some((was, is)) => format!("{is} instead of {was}"),
            None => "no other one".to_owned(),
        });
    }

    fn crimp(&mut self, got: Option<&Crimp>, want: Option<&Crimp>) {
        let terminal = |crimp: Option<&Crimp>| crimp.map(|crimp| crimp.terminal.clone());
        self.compare("terminal", &terminal(got), &terminal(want), shown);
        let wire = |crimp: Option<&Crimp>| crimp.map(|crimp| crimp.wire.clone());
        self.compare("wire", &wire(got), &wire(want), |wire| {
            shown(&wire.as_ref().map(|wire| wire.area))
        });
    }

    /// A counted reading must fill an existing slot that is empty.
    fn filled(&mut self, series: &SeriesState, slot: &ReadingSlot) {
        let pieces = series.last_piece();
        if !(1..=pieces).contains(&slot.piece) {
            self.add("piece", slot.piece.to_string(), format!("1 to {pieces}"));
        }
        if series.spent.contains(&slot.piece) {
            self.add("piece", slot.piece.to_string(), "one that is not spent");
        }
        let filled = series.in_slot(&Slot {
            piece: slot.piece,
            axis: slot.axis.clone(),
        });
        if let Some(filled) = filled {
            let got = format!(
                "piece {} of {}, filled by entry {}",
                slot.piece, slot.axis, filled.seq
            );
            self.add("slot", got, "an empty slot");
        }
    }

    /// A series that has an outcome has a counted reading in each slot.
    fn full(&mut self, series: &SeriesState) {
        let counts = series.counts();
        self.compare(
            "counted readings",
            &counts.filled,
            &counts.slots,
            ToString::to_string,
        );
    }

    fn completed(&mut self, before: &State, completed: &Completed, at: WallMicros) {
        let Some(series) = before.series(&completed.station) else {
            self.add("series", completed.series.to_string(), "none is open");
            return;
        };
        self.compare("series", &completed.series, &series.id, ToString::to_string);
        self.compare("tally", &completed.tally, &series.tally, |tally| {
            format!("{tally:?}")
        });
        if completed.resumable && completed.outcome != Outcome::CutShort {
            self.add(
                "resumable",
                completed.outcome.name(),
                "only what was cut short",
            );
        }
        self.all_in_doubt(series);
        let outcome = match completed.outcome {
            Outcome::CutShort => Outcome::CutShort,
            Outcome::Accepted | Outcome::Rejected | Outcome::Undecided | Outcome::Measured => {
                self.full(series);
                self.zeroed_after(series);
                self.answered(series);
                series.outcome()
            }
        };
        self.compare("outcome", &completed.outcome, &outcome, |outcome| {
            outcome.name().to_owned()
        });
        self.compare(
            "visual checks",
            &completed.looks,
            &series.look_tally(),
            |looks| format!("{looks:?}"),
        );
        if let Some(got) = completed.counts.as_deref() {
            let mut want = series.counts();
            if got.doubted_left == 0 {
                want.doubted_left = 0; // An older release did not keep them from one segment to the next.
            }
            self.compare("counts", got, &want, |counts| format!("{counts:?}"));
        }
        if let Some(got) = &completed.reservations {
            let mut want = reservations(series, at);
            if !got.contains(&Reservation::NotMakersSheet) {
                want.retain(|one| *one != Reservation::NotMakersSheet); // older releases did not have this reservation
            }
            self.compare("reservations", got, &want, |all| match all.as_slice() {
                [] => "none".to_owned(),
                all => words(all),
            });
        }
    }

    /// An alert must be due. Its sentence is not compared, because another release may word it differently.
    fn alerted(&mut self, before: &State, alerted: &Alerted) {
        let Alerted {
            station,
            rule,
            readings,
            ..
        } = alerted;
        let due = before.stations.get(station).map(StationState::alerts_due);
        let due = due.unwrap_or_default();
        let Some(want) = due.iter().find(|due| due.rule.name == *rule) else {
            let names: Vec<_> = due.iter().map(|due| due.rule.name).collect();
            let want = match names.as_slice() {
                [] => "none".to_owned(),
                names => names.join(", "),
            };
            self.add("alert", rule.as_str(), want);
            return;
        };
        self.compare("readings of the alert", readings, &want.readings, |seqs| {
            let seqs: Vec<_> = seqs.iter().map(Seq::to_string).collect();
            seqs.join(", ")
        });
    }

    fn restored(&mut self, before: &State, restored: &Restored) {
        self.open(before, &restored.station, Some(restored.series));
        let open = before.series(&restored.station);
        let last = open.and_then(|open| open.retracted.as_ref());
        let last = last.map(|retracted| retracted.reading.seq);
        self.compare("restored reading", &Some(restored.reading), &last, shown);
    }

    fn resumed(&mut self, before: &State, resumed: &Resumed) {
        let open = before.series(&resumed.station).map(|open| open.id);
        self.compare("series open while another is resumed", &open, &None, shown);
        let known = before.stations.get(&resumed.station);
        let stopped = known.and_then(|known| known.stopped.as_ref());
        let stopped = stopped.map(|stopped| stopped.series.id);
        self.compare("resumed series", &Some(resumed.series), &stopped, shown);
    }

    fn retracted(&mut self, before: &State, retracted: &Retracted) {
        let open = before.series(&retracted.station);
        self.counted(open, retracted.series, &[retracted.reading]);
        if let Some(slot) = &retracted.slot {
            self.emptied(open, retracted.reading, slot, retracted.spent);
        }
        if retracted.spent {
            self.spent(retracted.by, retracted.reason.is_some());
        }
    }

    /// The slot of a retracted reading must match, and its piece is spent only where measuring destroys it.
    fn emptied(&mut self, open: Option<&SeriesState>, reading: Seq, got: &Slot, spent: bool) {
        let counted = open.and_then(|open| {
            let mut readings = open.readings.iter();
            readings.find(|counted| counted.seq == reading)
        });
        let Some(counted) = counted else { return };
        self.compare("piece", &got.piece, &counted.piece, ToString::to_string);
        self.compare("axis", &got.axis, &counted.axis, ToString::to_string);
        let destroyed = counted.axis.is_destructive();
        self.compare("spent", &spent, &destroyed, ToString::to_string);
    }

    /// The reading of a destroyed piece needs a reason, and no pedal or double zero retracts it.
    fn spent(&mut self, by: Option<Means>, has_reason: bool) {
        if let Some(by @ (Means::Pedal | Means::DoubleZero)) = by {
            self.add("means", by.name(), "command or card");
        }
        if !has_reason {
            self.add("reason", "none", "why a destroyed piece is retracted");
        }
    }

    /// Every one of `readings` must count in the open series.
    fn counted(&mut self, open: Option<&SeriesState>, series: Seq, readings: &[Seq]) {
        let id = open.map(|open| open.id);
        self.compare("series", &Some(series), &id, shown);
        let counts = |seq: &Seq| {
            open.is_some_and(|open| open.readings.iter().any(|reading| reading.seq == *seq))
        };
        for seq in readings.iter().filter(|seq| !counts(seq)) {
            self.add(
                "reading",
                seq.to_string(),
                "a counted reading of the open series",
            );
        }
    }
}

fn deviation(reading: &Reading, slot: &ReadingSlot) -> Option<Quantity> {
    let value = reading.value.quantity();
    let nominal = slot.limits.nominal()?;
    if value.dimension() != nominal.dimension() {
        return None;
    }
    let base = value.base().checked_sub(nominal.base())?;
    Some(Quantity::from_base(value.dimension(), base))
}

#[expect(
    clippy::ref_option,
    reason = "to be passed where values are compared by reference"
)]
fn shown<T: fmt::Display>(value: &Option<T>) -> String {
    value
        .as_ref()
        .map_or_else(|| "none".to_owned(), ToString::to_string)
}
