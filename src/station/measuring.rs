//! From the bytes of an instrument to zero frames and readings.

use super::capture::Captured;
use super::plausible::{self, Doubt, Implausible};
use super::{Core, Live, arming, order, unread, zero};
use crate::decode::Decoded;
use crate::entry::state::{SeriesState, Slot};
use crate::entry::{
    Completed, Entry, NotCounted, Outcome, Reading, ReadingSlot, Standing, Tally, Unread, ZeroRole,
    Zeroed,
};
use crate::quantity::{Measured, Now, Quantity};
use crate::spec::{ArmedAxis, Verdict, ZeroPolicy, judge};
use std::sync::Arc;

/// Further than any value of a one-sided axis lies from its limit: a kilometre, a meganewton.
const FAR: i64 = 1_000_000_000_000;

/// What became of a value in an open series, before it is written down.
struct Judged {
    slot: Option<Slot>,
    verdict: Option<Verdict>,
    standing: Standing,
    doubt: Option<Doubt>,
}

impl Judged {
    fn not_counted(slot: Option<Slot>, reason: NotCounted, hint: Option<String>) -> Self {
        let standing = Standing::NotCounted { reason, hint };
        Self {
            slot,
            verdict: None,
            standing,
            doubt: None,
        }
    }
}

impl Core {
    pub(super) fn bytes(&mut self, now: Now, instrument: &str, bytes: &[u8]) {
        if self.signals.contains_key(instrument) {
            self.signal_bytes(now, instrument, bytes);
            return;
        }
        self.with_decoder(now, instrument, |live| {
            live.watcher.push(now.mono, bytes, false);
            live.decoder.push(now.mono, bytes);
        });
    }

    /// As [`Core::bytes`], for bytes that the line spoiled.
    pub(super) fn spoiled(&mut self, now: Now, instrument: &str, bytes: &[u8]) {
        self.with_decoder(now, instrument, |live| {
            live.watcher.push(now.mono, bytes, true);
            live.decoder.push_spoiled(now.mono, bytes);
        });
    }

    /// No more bytes will come to what is in hand.
    pub(super) fn end_bytes(&mut self, now: Now, instrument: &str) {
        self.with_decoder(now, instrument, |live| live.decoder.end());
        if let Some(live) = self.live.get_mut(instrument) {
            let run = live.unread.flush(now.mono);
            self.tell_unread(now, instrument, run);
        }
    }

    pub(super) fn wake(&mut self, now: Now) {
        let due = |live: &Live| live.waits_until().is_some_and(|at| at <= now.mono);
        let names: Vec<_> = self
            .live
            .iter()
            .filter(|(_, live)| due(live))
            .map(|(name, _)| name.clone())
            .collect();
        for name in names {
            self.with_decoder(now, &name, |live| {
                live.decoder.give_up_on_old_bytes(now.mono);
            });
            if let Some(live) = self.live.get_mut(&name) {
                let run = live.unread.flush_if_due(now.mono);
                self.tell_unread(now, &name, run);
            }
            self.wake_asking(now, &name);
        }
        let names: Vec<_> = self.signals.keys().cloned().collect();
        for name in names {
            self.end_signal(now, &name, false);
        }
    }

    fn with_decoder(&mut self, now: Now, instrument: &str, step: impl FnOnce(&mut Live)) {
        let Some(live) = self.live.get_mut(instrument) else {
            return;
        };
        step(live);
        while let Some(decoded) = self
            .live
            .get_mut(instrument)
            .and_then(|live| live.decoder.poll())
        {
            self.decoded(now, instrument, decoded);
        }
    }

    fn decoded(&mut self, now: Now, instrument: &str, decoded: Decoded) {
        let Some(live) = self.live.get_mut(instrument) else {
            return;
        };
        match decoded {
            // A terminator by itself says nothing.
            Decoded::Blank { .. } => {}
            Decoded::Undecoded { raw, reason } => {
                let run = live.unread.take(now.mono, &raw, reason);
                self.tell_unread(now, instrument, run);
            }
            Decoded::Value { value, origin, raw } => {
                let run = live.unread.flush(now.mono);
                self.tell_unread(now, instrument, run);
                self.understood(instrument);
                self.decoded_value(now, instrument, value, origin, raw);
            }
        }
    }

    fn tell_unread(&mut self, now: Now, instrument: &str, run: Option<unread::Run>) {
        let Some((run, live)) = run.zip(self.live.get_mut(instrument)) else {
            return;
        };
        let format = self
            .catalog
            .instrument(instrument)
            .map(|known| known.format);
        let advice = format.and_then(|format| live.watcher.advice(format));
        let unread = Unread {
            station: live.station.clone(),
            instrument: instrument.to_owned(),
            raw: run.raw,
            bytes: run.bytes,
            times: run.times,
            reason: run.reason.to_string(),
            remedy: advice.or_else(|| run.reason.remedy().map(str::to_owned)),
        };
        self.append(now, Entry::Unread(unread));
    }

    fn understood(&mut self, instrument: &str) {
        if let Some(live) = self.live.get_mut(instrument) {
            live.watcher.understood();
        }
    }

    /// A captured value is a zero frame or a reading.
    pub(super) fn value(&mut self, now: Now, instrument: &str, captured: &Captured, raw: Vec<u8>) {
        let Some(live) = self.live.get(instrument) else {
            return;
        };
        let station = live.station.clone();
        let value = captured.judged(0);
        match self.as_zero(now, &station, instrument, value) {
            Some((role, ok)) => {
                let series = self.series(&station).map(|series| series.id);
                let instrument = instrument.to_owned();
                let zeroed = Zeroed {
                    station: station.clone(),
                    instrument,
                    series,
                    value,
                    role,
                    ok,
                    opening: None,
                    raw,
                };
                self.zeroed(now, zeroed);
            }
            None => self.reading(now, &station, instrument, captured, raw),
        }
        self.complete_if_full(now, &station);
    }

    /// The role of `value` as a zero frame and whether it is good, if it is one.
    fn as_zero(
        &self,
        now: Now,
        station: &str,
        instrument: &str,
        value: Measured,
    ) -> Option<(ZeroRole, bool)> {
        let known = self.catalog.instrument(instrument)?;
        let said = self
            .state
            .instruments
            .get(instrument)
            .is_some_and(|known| known.zero_said);
        let series = self.series(station);
        let policy = series.map_or_else(ZeroPolicy::default, |series| series.spec.zero);
        let armed = series.and_then(|series| series.spec.instrument(instrument));
        let resolution = armed.map_or(known.resolution, |armed| armed.resolution);
        let must_be_said = armed.is_some_and(|armed| armed.zero_must_be_said);
        // With the origin elsewhere a value near zero says nothing, unless a person says it does.
        let astray = self
            .state
            .instruments
            .get(instrument)
            .is_some_and(|known| known.opening.is_some());
        let frame = zero::zero_frame(value, resolution, &policy, must_be_said || astray, said)?;
        Some((self.zero_role(now, station, instrument), frame.ok))
    }

    /// What a zero frame that comes now is for.
    pub(super) fn zero_role(&self, now: Now, station: &str, instrument: &str) -> ZeroRole {
        self.series(station)
            .and_then(|series| zero::due(&self.state, series, instrument, Some(now.wall)))
            .map_or(ZeroRole::Unasked, zero::Due::role)
    }

    pub(super) fn zeroed(&mut self, now: Now, zeroed: Zeroed) {
        let shaken = if zeroed.ok {
            None
        } else {
            self.shaken_by(&zeroed)
        };
        self.append(now, Entry::Zeroed(zeroed));
        if let Some(doubted) = shaken {
            self.append(now, doubted);
        }
    }

    /// The readings that an off zero no longer vouches for.
    fn shaken_by(&self, zeroed: &Zeroed) -> Option<Entry> {
        let series = self.series(&zeroed.station)?;
        let readings = zero::unvouched(series, &zeroed.instrument);
        let what = match zeroed.opening {
            Some(opening) => format!(
                "the origin of {} was set with the jaws {opening} open",
                zeroed.instrument
            ),
            None => format!(
                "the {} zero of {} was {}",
                zeroed.role.name(),
                zeroed.instrument,
                zeroed.value
            ),
        };
        let reason = format!("{what}, so the readings since its last good zero are in doubt");
        let station = zeroed.station.clone();
        let series = series.id;
        (!readings.is_empty()).then_some(Entry::Doubted {
            station,
            series,
            readings,
            reason,
        })
    }

    fn reading(
        &mut self,
        now: Now,
        station: &str,
        instrument: &str,
        captured: &Captured,
        raw: Vec<u8>,
    ) {
        let value = self.judged_value(station, captured);
        let judged = match self.series(station) {
            None => Judged::not_counted(None, NotCounted::NotArmed, None),
            Some(series) => self.judged(now, series, instrument, value),
        };
        let Judged {
            slot,
            verdict,
            standing,
            doubt,
        } = judged;
        let slot = slot.and_then(|slot| {
            let series = self.series(station)?;
            Some(reading_slot(
                series,
                series.spec.axis(&slot.axis)?,
                &slot,
                value,
                verdict,
            ))
        });
        if let Some(live) = self.live.get_mut(instrument) {
            live.doubt = doubt;
        }
        let reading = Reading {
            station: station.to_owned(),
            instrument: instrument.to_owned(),
            value,
            raw,
            plateau: captured.plateau(),
            slot,
            standing,
        };
        self.append(now, Entry::Reading(Arc::new(reading)));
    }

    /// Of a flickering value the one to judge for the slot in hand.
    fn judged_value(&self, station: &str, captured: &Captured) -> Measured {
        let limits = self.series(station).and_then(|series| {
            let slot = order::next_slot(series)?;
            Some(&series.spec.axis(&slot.axis)?.limits)
        });
        let Some(limits) = limits else {
            return captured.value;
        };
        // A one-sided limit has no aim: what lies nearer to it is the worse one.
        let far = |limit: Option<Quantity>, away: i64| {
            limit.map(|limit| limit.base().saturating_add(away))
        };
        let aim = limits
            .aim()
            .or_else(|| far(limits.lower(), FAR))
            .or_else(|| far(limits.upper(), -FAR));
        aim.map_or(captured.value, |aim| captured.judged(aim))
    }

    fn judged(&self, now: Now, series: &SeriesState, instrument: &str, value: Measured) -> Judged {
        let slot = order::next_slot(series);
        if let Some(due) = zero::due(&self.state, series, instrument, Some(now.wall)) {
            let hint = Some(due.to_string());
            return Judged::not_counted(slot, due.refuses(), hint);
        }
        let Some(slot) = slot else {
            return Judged::not_counted(None, NotCounted::SeriesFull, None);
        };
        let axis = series.spec.axis(&slot.axis);
        let measuring = axis.and_then(|axis| {
            let guard = axis.guard_of(instrument)?;
            Some((axis, guard.width, series.spec.instrument(instrument)?))
        });
        let Some((axis, guard, armed)) = measuring else {
            let hint = Some(format!(
                "{instrument} does not measure a {}",
                slot.axis.words()
            ));
            return Judged::not_counted(Some(slot), NotCounted::WrongInstrument, hint);
        };
        if !arming::fits(value.quantity(), &axis.limits) {
            let hint = Some(format!("{value} is no {}", axis.limits.dimension()));
            return Judged::not_counted(Some(slot), NotCounted::Implausible, hint);
        }
        let refused = plausible::check(value, axis, armed, &series.spec)
            .and_then(|why| self.refused(now, &slot, value, armed.resolution, instrument, why));
        if let Some((hint, doubt)) = refused {
            let judged = Judged::not_counted(Some(slot), NotCounted::Implausible, Some(hint));
            return Judged { doubt, ..judged };
        }
        let verdict = judge(value.quantity(), &axis.limits, guard);
        Judged {
            slot: Some(slot),
            verdict: Some(verdict),
            standing: Standing::Counted,
            doubt: None,
        }
    }

    /// The hint for an implausible value, and what is remembered of it, unless it was said twice.
    fn refused(
        &self,
        now: Now,
        slot: &Slot,
        value: Measured,
        resolution: Quantity,
        instrument: &str,
        why: Implausible,
    ) -> Option<(String, Option<Doubt>)> {
        match why {
            Implausible::Impossible { hint } => Some((hint, None)),
            Implausible::Unlikely { hint } => {
                let value = value.quantity();
                let before = self
                    .live
                    .get(instrument)
                    .and_then(|live| live.doubt.as_ref());
                let meant = before
                    .is_some_and(|doubt| doubt.is_repeated(slot, value, resolution, now.mono));
                let doubt = Doubt::new(slot.clone(), value, now.mono);
                (!meant).then_some((hint, Some(doubt)))
            }
        }
    }

    /// Closes a series whose slots are full and whose zeros are closed.
    pub(super) fn complete_if_full(&mut self, now: Now, station: &str) {
        let Some(series) = self.series(station) else {
            return;
        };
        if order::next_slot(series).is_some() || zero::closing_owed(&self.state, series) {
            return;
        }
        let next = series.spec.repeat.then(|| Box::new(series.spec.clone()));
        let completed = completed(series, outcome(series.tally));
        self.append(now, Entry::Completed(completed));
        if let Some(spec) = next {
            self.append(now, Entry::Armed(spec));
        }
    }

    /// The open series of a station.
    pub(super) fn series(&self, station: &str) -> Option<&SeriesState> {
        self.state.stations.get(station)?.series.as_ref()
    }
}

/// The closing entry of `series`.
pub(super) fn completed(series: &SeriesState, outcome: Outcome) -> Completed {
    let station = series.spec.station.clone();
    Completed {
        station,
        series: series.id,
        outcome,
        tally: series.tally,
    }
}

/// What the readings of a full series amount to.
fn outcome(tally: Tally) -> Outcome {
    if tally.failed > 0 {
        Outcome::Rejected
    } else if tally.unsure > 0 {
        Outcome::Undecided
    } else {
        Outcome::Accepted
    }
}

fn reading_slot(
    series: &SeriesState,
    axis: &ArmedAxis,
    slot: &Slot,
    value: Measured,
    verdict: Option<Verdict>,
) -> ReadingSlot {
    let limits = axis.limits.clone();
    let deviation = limits
        .nominal()
        .filter(|_| arming::fits(value.quantity(), &limits))
        .and_then(|nominal| {
            let base = value.quantity().base().checked_sub(nominal.base())?;
            Some(Quantity::from_base(limits.dimension(), base))
        });
    ReadingSlot {
        series: series.id,
        piece: slot.piece,
        axis: slot.axis.clone(),
        terminal: series.spec.terminal.clone(),
        wire: series.spec.wire.clone(),
        purpose: series.spec.purpose,
        limits,
        deviation,
        verdict,
    }
}
