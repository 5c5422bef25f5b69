//! What the operator should do next, and why; told from the state alone.

use super::order::next_slot;
use super::zero::{Due, due};
use crate::entry::State;
use crate::entry::state::{SeriesState, Slot};
use crate::spec::GaugeBlock;
use std::fmt;

/// What to do next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Prompt {
    /// Nothing is armed.
    Arm,
    /// The instrument that the next slot needs is not connected.
    Connect {
        /// The instrument.
        instrument: String,
    },
    /// A zero is due.
    Zero {
        /// Of this instrument.
        instrument: String,
        /// Why.
        why: Due,
        /// It must be said first, since a reading can look like one.
        must_be_said: bool,
    },
    /// A slot is to be measured.
    Measure {
        /// Where the reading goes.
        slot: Slot,
        /// Of so many pieces.
        pieces: u32,
    },
    /// A gauge block is to be measured.
    SetBlock {
        /// Where the reading goes.
        slot: Slot,
        /// The block.
        block: GaugeBlock,
        /// Of so many times.
        repeats: u32,
    },
}

impl fmt::Display for Prompt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Arm => f.write_str("arm a plan"),
            Self::Connect { instrument } => write!(f, "connect {instrument}"),
            Self::Zero {
                instrument,
                why,
                must_be_said,
            } => {
                let said = if *must_be_said { "say zero, then " } else { "" };
                write!(
                    f,
                    "{said}close the jaws of {instrument} and send a zero: {why}"
                )
            }
            Self::Measure { slot, pieces } => {
                write!(
                    f,
                    "measure piece {} of {pieces}: {}",
                    slot.piece,
                    slot.axis.words()
                )
            }
            Self::SetBlock {
                slot,
                block,
                repeats,
            } => {
                write!(f, "set the {} block between the jaws", block.size)?;
                if *repeats > 1 {
                    write!(f, ": time {} of {repeats}", slot.piece)?;
                }
                Ok(())
            }
        }
    }
}

impl Prompt {
    /// The slot that is measured next, if one is.
    pub fn slot(&self) -> Option<&Slot> {
        match self {
            Self::Measure { slot, .. } | Self::SetBlock { slot, .. } => Some(slot),
            Self::Arm | Self::Connect { .. } | Self::Zero { .. } => None,
        }
    }
}

/// What `station` should do next.
pub fn prompt(state: &State, station: &str) -> Prompt {
    let Some(series) = state
        .stations
        .get(station)
        .and_then(|station| station.series.as_ref())
    else {
        return Prompt::Arm;
    };
    match next_slot(series) {
        Some(slot) => measure(state, series, slot),
        None => closing(state, series),
    }
}

fn measure(state: &State, series: &SeriesState, slot: Slot) -> Prompt {
    let Some(instrument) = instrument_for(state, series, &slot) else {
        return Prompt::Arm;
    };
    let attached = state
        .instruments
        .get(instrument)
        .is_some_and(|known| known.attached.is_some());
    if !attached {
        return Prompt::Connect {
            instrument: instrument.to_owned(),
        };
    }
    match due(state, series, instrument, None) {
        Some(why) => zero(series, instrument, why),
        None => measured(series, slot),
    }
}

fn measured(series: &SeriesState, slot: Slot) -> Prompt {
    let blocks = series.spec.subject.blocks();
    let times = series.spec.pieces;
    match blocks.iter().find(|block| block.axis() == slot.axis) {
        Some(block) => Prompt::SetBlock {
            slot,
            block: *block,
            repeats: times,
        },
        None => Prompt::Measure {
            slot,
            pieces: times,
        },
    }
}

/// The instrument that measures a slot: a connected one if there is one.
fn instrument_for<'a>(state: &State, series: &'a SeriesState, slot: &Slot) -> Option<&'a str> {
    let guards = &series.spec.axis(&slot.axis)?.guards;
    guards
        .iter()
        .find(|guard| {
            let known = state.instruments.get(&guard.instrument);
            known.is_some_and(|known| known.attached.is_some())
        })
        .or_else(|| guards.first())
        .map(|guard| guard.instrument.as_str())
}

fn closing(state: &State, series: &SeriesState) -> Prompt {
    series
        .spec
        .instruments
        .iter()
        .find_map(|instrument| {
            let why = due(state, series, &instrument.name, None)?;
            Some(zero(series, &instrument.name, why))
        })
        .unwrap_or(Prompt::Arm)
}

fn zero(series: &SeriesState, instrument: &str, why: Due) -> Prompt {
    let must_be_said = series
        .spec
        .instrument(instrument)
        .is_some_and(|known| known.zero_must_be_said);
    Prompt::Zero {
        instrument: instrument.to_owned(),
        why,
        must_be_said,
    }
}
