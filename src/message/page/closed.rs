//! The last closed series: its readings, its outcome, and the pieces to set aside.

use super::scale::{self, MissMessage};
use super::{READINGS_MOST, SlotMessage, slot_of};
use crate::entry::ledger::{Disposition, Series, Whole};
use crate::entry::{Answer, Tally, words};
use schemars::JsonSchema;
use serde::Serialize;

/// The last closed series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ClosedMessage {
    /// Number of the series.
    pub series: u64,
    /// Time of its end, RFC 3339 in UTC.
    pub at: String,
    /// Id of the plan; left out if the request gave the keys of a plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<String>,
    /// Id of the terminal; left out where gauge blocks were measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// Wire in words, with area and gauge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// `accepted`, `rejected`, `undecided`, `cut_short` or `measured`.
    pub outcome: &'static str,
    /// Reservations of the outcome, such as `calibration_overdue`.
    pub reservations: Vec<&'static str>,
    /// Reservations in words, in brackets.
    pub beside: String,
    /// Numbers of readings by verdict and disposition.
    pub tally: Tally,
    /// Highest piece number.
    pub pieces: u32,
    /// Axes in the order of measuring.
    pub axes: Vec<String>,
    /// Counted readings, at most 400.
    pub readings: Vec<SlotMessage>,
    /// Doubted readings.
    pub doubted: Vec<SlotMessage>,
    /// Readings whose pieces must be set aside, by piece.
    pub aside: Vec<AsideMessage>,
    /// Visual checks that were answered bad.
    pub bad_looks: Vec<BadLookMessage>,
}

/// A visual check that was answered bad.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct BadLookMessage {
    /// Number of the piece, from 1; left out for a check of the series as a whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<u32>,
    /// Name of a customary check; left out for a question of the plan itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The question.
    pub question: String,
}

/// A reading whose piece must be set aside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct AsideMessage {
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Name of the axis.
    pub axis: String,
    /// Value with its unit.
    pub value: String,
    /// The verdict.
    pub verdict: &'static str,
    /// Distance from the limit that decides; left out if the reading has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub miss: Option<MissMessage>,
}

impl ClosedMessage {
    /// The message for a series; `None` if it is open.
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
                    if !["pass", "measured"].contains(&slot.verdict) {
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
            bad_looks: bad_looks(series),
        })
    }
}

fn bad_looks(series: &Series<Whole>) -> Vec<BadLookMessage> {
    let looks = series.counted_looks();
    let bad = looks.filter(|(_, _, _, answer)| *answer == Answer::Bad);
    bad.map(|(piece, _, look, _)| BadLookMessage {
        piece,
        name: look.name.clone(),
        question: look.question.clone(),
    })
    .collect()
}
