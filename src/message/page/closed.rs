//! A series that is closed: its readings, how it came out, and what is to be set aside.

use super::scale::{self, MissMessage};
use super::{READINGS_MOST, SlotMessage, slot_of};
use crate::entry::ledger::{Disposition, Series, Whole};
use crate::entry::{Tally, words};
use serde::Serialize;

/// The series that was closed last.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClosedMessage {
    /// Its id.
    pub series: u64,
    /// When it was closed.
    pub at: String,
    /// The plan; left out if it was given inline.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<String>,
    /// The terminal; left out where gauge blocks were measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// The wire with both of its sizes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// `accepted`, `rejected`, `undecided` or `cut_short`.
    pub outcome: &'static str,
    /// What takes from its weight: `calibration_overdue`, …
    pub reservations: Vec<&'static str>,
    /// The same in words, in brackets.
    pub beside: String,
    /// Of its readings.
    pub tally: Tally,
    /// The highest piece number.
    pub pieces: u32,
    /// What was measured, in order.
    pub axes: Vec<String>,
    /// Its counted readings, at most 400 of them.
    pub readings: Vec<SlotMessage>,
    /// Its doubted readings.
    pub doubted: Vec<SlotMessage>,
    /// What is to be set aside, by piece.
    pub aside: Vec<AsideMessage>,
}

/// A reading for which a piece is set aside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AsideMessage {
    /// The piece, from 1.
    pub piece: u32,
    /// The axis.
    pub axis: String,
    /// The value.
    pub value: String,
    /// The verdict.
    pub verdict: &'static str,
    /// How far it is from the limit that decides.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub miss: Option<MissMessage>,
}

impl ClosedMessage {
    /// `None` of a series that is open.
    pub(super) fn of(series: &Series<Whole>) -> Option<Self> {
        let closed = series.closed.as_ref()?;
        let completed = &closed.completed;
        let crimp = series.spec.subject.crimp();
        let (mut readings, mut doubted, mut aside) = (Vec::new(), Vec::new(), Vec::new());
        for entered in &series.readings {
            let reading = &entered.kept.reading;
            let Some(slot) = slot_of(entered.seq, reading) else {
                continue;
            };
            match entered.disposition {
                Disposition::Counted => {
                    if slot.verdict != "pass" {
                        aside.push(AsideMessage {
                            piece: slot.piece,
                            axis: slot.axis.clone(),
                            value: slot.value.clone(),
                            verdict: slot.verdict,
                            miss: reading.slot.as_ref().and_then(|slot| {
                                let value = reading.value.quantity();
                                scale::miss(&slot.axis, &slot.limits, value)
                            }),
                        });
                    }
                    readings.push(slot);
                }
                Disposition::Doubted(_) => doubted.push(slot),
                Disposition::Retracted(_) | Disposition::NotCounted(_) => {}
            }
        }
        doubted.retain(|slot| {
            let mut counted = readings.iter();
            !counted.any(|one| one.piece == slot.piece && one.axis == slot.axis)
        });
        aside.sort_by_key(|one| one.piece);
        let highest = readings.iter().map(|one| one.piece).max();
        let surplus = readings.len().saturating_sub(READINGS_MOST);
        let reservations = completed.reservations();
        Some(Self {
            series: series.id.0,
            at: closed.at.to_string(),
            plan: series.spec.plan.clone(),
            terminal: crimp.map(|crimp| crimp.terminal.clone()),
            wire: crimp.map(|crimp| crimp.wire.to_string()),
            outcome: completed.outcome.name(),
            reservations: reservations.iter().map(|one| one.name()).collect(),
            beside: words::beside(reservations),
            tally: completed.tally,
            pieces: series.spec.pieces.max(highest.unwrap_or_default()),
            axes: series
                .spec
                .axes
                .iter()
                .map(|axis| axis.name.to_string())
                .collect(),
            readings: readings.split_off(surplus),
            doubted,
            aside,
        })
    }
}
