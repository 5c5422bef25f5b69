//! Judges a value as a reading of the current slot: its verdict, and whether it counts.

use super::capture::Captured;
use super::plausible::{self, Doubt, Implausible};
use super::{Core, by_value, order, zero};
use crate::entry::state::{SeriesState, Slot};
use crate::entry::{Alerted, NotCounted, Reading, ReadingSlot, Standing};
use crate::quantity::{Measured, Now, Quantity};
use crate::spec::{ArmedAxis, Order, Verdict, judge};
use std::sync::Arc;

/// Stands in for the missing nominal of a limit on one side. It is beyond any value: a kilometre, a meganewton.
const FAR: i64 = 1_000_000_000_000;

/// How a value of an open series will be entered.
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
    pub(super) fn reading(
        &mut self,
        now: Now,
        station: &Arc<str>,
        instrument: &Arc<str>,
        captured: &Captured,
        raw: Vec<u8>,
    ) {
        let value = self.judged_value(station, instrument, captured);
        let judged = match self.series(station) {
            None => Judged::not_counted(None, NotCounted::NotArmed, None),
            Some(series) => match self.why_distrusted(instrument) {
                Some((reason, hint)) => Judged::not_counted(None, reason, Some(hint)),
                None => self.judged(now, series, instrument, captured.value, value),
            },
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
        if let Some(live) = self.live.get_mut(&**instrument) {
            live.doubt = doubt;
        }
        let reading = Reading {
            station: Arc::clone(station),
            instrument: Arc::clone(instrument),
            value,
            raw,
            plateau: captured.plateau(),
            slot,
            standing,
        };
        let counted = reading.standing == Standing::Counted;
        self.append(now, Arc::new(reading));
        if counted {
            self.alert(now, station);
        }
    }

    /// Appends an alert for each run rule that fires with the last counted reading.
    pub(super) fn alert(&mut self, now: Now, station: &str) {
        let Some(known) = self.state.stations.get(station) else {
            return;
        };
        let due = known.alerts_due();
        let Some(series) = known.series.as_ref().map(|series| series.id) else {
            return;
        };
        for alert in due {
            let alerted = Alerted {
                station: station.to_owned(),
                series,
                rule: alert.rule.name.to_owned(),
                text: alert.text,
                readings: alert.readings,
            };
            self.append(now, alerted);
        }
    }

    /// The value of a plateau that is judged for the current slot.
    fn judged_value(&self, station: &str, instrument: &str, captured: &Captured) -> Measured {
        let limits = self.series(station).and_then(|series| {
            let axis = match series.spec.order {
                // Which value is the worst depends on the axis, and the median decides the axis.
                Order::ByValue => {
                    by_value::axis_of_value(series, instrument, captured.value.quantity())?
                }
                Order::ByAxis | Order::ByPiece => order::next(series)?.1,
            };
            Some(&axis.limits)
        });
        let Some(limits) = limits else {
            return captured.value;
        };
        // A limit on one side has no nominal; the value nearer to the limit is the worse one.
        let far = |limit: Option<Quantity>, away: i64| {
            limit.map(|limit| limit.base().saturating_add(away))
        };
        let centre = limits
            .centre()
            .or_else(|| far(limits.lower(), FAR))
            .or_else(|| far(limits.upper(), -FAR));
        centre.map_or(captured.value, |centre| captured.judged(centre))
    }

    fn judged(
        &self,
        now: Now,
        series: &SeriesState,
        instrument: &str,
        middle: Measured,
        value: Measured,
    ) -> Judged {
        let shown = match series.spec.order {
            Order::ByValue => by_value::axis_of_value(series, instrument, middle.quantity()),
            Order::ByAxis | Order::ByPiece => None,
        };
        let slot = match shown {
            Some(axis) => order::next_of_axis(series, &axis.name),
            None => order::next_slot(series),
        };
        if let Some(due) = zero::due(&self.state, series, instrument, Some(now.wall)) {
            let hint = Some(due.to_string());
            return Judged::not_counted(slot, due.refuses(), hint);
        }
        let Some(slot) = slot else {
            return match shown.filter(|_| order::next(series).is_some()) {
                Some(axis) => axis_full(series, axis),
                None => Judged::not_counted(None, NotCounted::SeriesFull, None),
            };
        };
        if let Some(due) = zero::due_by_pieces(series, instrument, slot.piece) {
            let hint = Some(due.to_string());
            return Judged::not_counted(Some(slot), due.refuses(), hint);
        }
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
        if !by_value::fits(value.quantity(), &axis.limits) {
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

    /// Refuses an implausible value with a hint, and remembers it. The same value again is accepted.
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
}

/// Refuses a value of an axis on which every piece already has a reading.
fn axis_full(series: &SeriesState, axis: &ArmedAxis) -> Judged {
    let left: Vec<String> = order::slots_by_value(series)
        .map(|slot| format!("{} of piece {}", slot.axis.words(), slot.piece))
        .collect();
    let hint = format!(
        "it is a {}, and every piece has one; still to measure: {}; to measure one again, retract it first",
        axis.name.words(),
        left.join(", ")
    );
    Judged::not_counted(None, NotCounted::AxisFull, Some(hint))
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
        .filter(|_| by_value::fits(value.quantity(), &limits))
        .and_then(|nominal| {
            let base = value.quantity().base().checked_sub(nominal.base())?;
            Some(Quantity::from_base(limits.dimension(), base))
        });
    ReadingSlot {
        series: series.id,
        piece: slot.piece,
        axis: slot.axis.clone(),
        crimp: series.spec.subject.crimp().cloned(),
        purpose: series.spec.purpose,
        limits,
        deviation,
        verdict,
    }
}
