//! The next action for the operator, and its reason. Both follow from the state alone.

use super::order::{next_slot, slots_by_value};
use super::sampling::{Need, held};
use super::zero::{Due, due, due_by_pieces};
use crate::entry::State;
use crate::entry::answers::Question;
use crate::entry::state::{CountedReading, SeriesState, Slot, StationState};
use crate::quantity::Dimension;
use crate::spec::{GaugeBlock, Order, PullMode};
use std::fmt;

/// The next action for the operator.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Prompt {
    /// Nothing is armed.
    Arm,
    /// Nothing is armed, and a production run is open.
    Run(Need),
    /// The instrument that the next slot needs is not connected.
    Connect {
        /// The instrument's name in the configuration.
        instrument: String,
        /// Why the port is gone, as its closing entry says; `None` if it was never open.
        why: Option<String>,
    },
    /// The instrument of the next slot has an adapter that nobody confirmed, so its values do not count.
    Adapter {
        /// The instrument's name in the configuration.
        instrument: String,
        /// The confirmed adapter, by its description.
        was: String,
        /// The adapter that is plugged in now.
        is: String,
    },
    /// Other programs read the instrument's port too, so its values do not count.
    Shared {
        /// The instrument's name in the configuration.
        instrument: String,
        /// The programs, as `cat (pid 12)`.
        holders: Vec<String>,
    },
    /// A zero is due.
    Zero {
        /// The instrument to check, by its name in the configuration.
        instrument: String,
        /// The reason.
        why: Due,
        /// The zero must be announced, because a reading of this plan can look like a zero.
        must_be_said: bool,
        /// What the instrument measures. It decides the words: a force gauge has no jaws to close.
        of: Dimension,
    },
    /// A piece is to be measured.
    Measure {
        /// Piece and axis of the reading.
        slot: Slot,
        /// Number of pieces in the series.
        pieces: u32,
        /// In the order `by_value`: slots of other axes that the next value may fill instead. Empty otherwise.
        or: Vec<Slot>,
        /// The reading that one more zero within two seconds would retract; `None` if a double zero does nothing now.
        undo: Option<CountedReading>,
    },
    /// A visual check is to be answered.
    Look {
        /// The piece, from 1; `None` for the series as a whole.
        piece: Option<u32>,
        /// Which of the plan's checks, from 1.
        look: u32,
        /// Number of checks of the plan.
        of: usize,
        /// Its name in the table of customary checks; `None` for a question of the plan's own.
        name: Option<String>,
        /// The question.
        question: String,
    },
    /// How a pull test failed is to be answered.
    PullMode {
        /// The piece, from 1.
        piece: u32,
    },
    /// A gauge block is to be measured.
    SetBlock {
        /// Repeat and axis of the reading.
        slot: Slot,
        /// The block to measure next.
        block: GaugeBlock,
        /// How often the plan measures this block.
        repeats: u32,
        /// The reading that one more zero within two seconds would retract; `None` if a double zero does nothing now.
        undo: Option<CountedReading>,
    },
}

impl fmt::Display for Prompt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Arm => f.write_str("start a plan"),
            Self::Run(need) => need.fmt(f),
            Self::Connect { instrument, why } => {
                write!(f, "connect {instrument}")?;
                why.iter().try_for_each(|why| write!(f, ": {why}"))
            }
            Self::Adapter {
                instrument,
                was,
                is,
            } => write!(
                f,
                "{instrument} has another adapter than before: it was {was}, it is {is}. Check that it is the right one, then confirm it (card tj/adapter, button, or tallyjaw adapter)"
            ),
            Self::Shared {
                instrument,
                holders,
            } => write!(
                f,
                "close {}: it also reads the port of {instrument}, so no reading counts",
                holders.join(" and ")
            ),
            Self::Zero {
                instrument,
                why,
                must_be_said,
                of,
            } => {
                let said = if *must_be_said {
                    "announce the zero, then "
                } else {
                    ""
                };
                match (of, why) {
                    (Dimension::Length, Due::Off { by, .. }) => {
                        f.write_str("The zero is off")?;
                        by.iter().try_for_each(|by| write!(f, " by {by}"))?;
                        let said = if *must_be_said {
                            "announce the zero, "
                        } else {
                            ""
                        };
                        write!(f, ". Clean the jaws, press ZERO, {said}then the data key.")
                    }
                    (Dimension::Length, Due::OriginMoved) => write!(f, "{instrument}: {why}"),
                    (Dimension::Length, _) => write!(
                        f,
                        "{said}close the jaws of {instrument} and press its data key to check the zero: {why}"
                    ),
                    (Dimension::Force, Due::Off { .. }) => write!(
                        f,
                        "{said}take all load off {instrument}, press ZERO, then its data key: {why}"
                    ),
                    (Dimension::Force, _) => write!(
                        f,
                        "{said}take all load off {instrument} and press its data key to check the zero: {why}"
                    ),
                }
            }
            Self::Measure {
                slot,
                pieces,
                or,
                undo,
            } => {
                write!(
                    f,
                    "measure piece {} of {pieces}: {}",
                    slot.piece,
                    slot.axis.words()
                )?;
                for other in or {
                    write!(f, ", or ")?;
                    if other.piece != slot.piece {
                        write!(f, "piece {}: ", other.piece)?;
                    }
                    write!(f, "{}", other.axis.words())?;
                }
                offer(f, undo.as_ref())
            }
            Self::Look { .. } | Self::PullMode { .. } => self.question(f),
            Self::SetBlock {
                slot,
                block,
                repeats,
                undo,
            } => {
                write!(f, "measure the {} gauge block", block.size)?;
                if *repeats > 1 {
                    write!(f, ": time {} of {repeats}", slot.piece)?;
                }
                offer(f, undo.as_ref())
            }
        }
    }
}

impl Prompt {
    /// Writes the question of a visual check or a pull test; writes nothing for other prompts.
    fn question(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Self::Look {
            piece,
            look,
            of,
            question,
            ..
        } = self
        {
            if let Some(piece) = piece {
                write!(f, "piece {piece}: ")?;
            }
            write!(
                f,
                "visual check {look} of {of}: {question} Answer good or bad (card tj/look/{look}/good, button, or tallyjaw look {look} good)"
            )?;
        }
        if let Self::PullMode { piece } = self {
            write!(
                f,
                "piece {piece}: how did the pull fail? Answer {} (card tj/pulled/MODE, button, or tallyjaw pulled MODE)",
                PullMode::ALL.map(PullMode::name).join(", ")
            )?;
        }
        Ok(())
    }
}

/// Adds to the prompt what a double zero would retract.
fn offer(f: &mut fmt::Formatter<'_>, undo: Option<&CountedReading>) -> fmt::Result {
    let Some(reading) = undo else { return Ok(()) };
    write!(
        f,
        "; another zero within two seconds retracts piece {} {} {}",
        reading.piece,
        reading.axis.words(),
        reading.value
    )
}

impl Prompt {
    /// The slot to measure next; `None` if the prompt is for something other than a reading.
    pub fn slot(&self) -> Option<&Slot> {
        match self {
            Self::Measure { slot, .. } | Self::SetBlock { slot, .. } => Some(slot),
            Self::Arm
            | Self::Run(_)
            | Self::Connect { .. }
            | Self::Adapter { .. }
            | Self::Shared { .. }
            | Self::Look { .. }
            | Self::PullMode { .. }
            | Self::Zero { .. } => None,
        }
    }
}

/// The prompt of `station` in words, followed by what is held where no series is open, and by the last refusal until
/// another command or value comes.
pub fn sentence(state: &State, station: &str) -> String {
    let mut prompt = prompt(state, station).to_string();
    let known = state.stations.get(station);
    let idle = known.filter(|known| known.series.is_none());
    if let Some(held) = idle.and_then(|known| held(&known.production)) {
        prompt = format!("{prompt}. {held}");
    }
    match known.and_then(|known| known.refused.as_ref()) {
        None => prompt,
        Some(refused) => {
            let remedy = refused
                .remedy
                .as_deref()
                .map(|remedy| format!("; {remedy}"));
            format!(
                "{prompt} ({} was refused: {}{})",
                refused.said,
                refused.reason,
                remedy.unwrap_or_default()
            )
        }
    }
}

/// The prompt of `station`.
pub fn prompt(state: &State, station: &str) -> Prompt {
    let known = state.stations.get(station);
    let Some((known, series)) = known.and_then(|known| Some((known, known.series.as_ref()?)))
    else {
        let run = known.and_then(|known| known.production.run.as_ref());
        return run.map_or(Prompt::Arm, |run| Prompt::Run(Need::of(run)));
    };
    if let Some(question) = series.next_question() {
        return asked(series, question);
    }
    match next_slot(series) {
        Some(slot) => measure(state, known, series, slot),
        None => closing(state, series),
    }
}

fn asked(series: &SeriesState, question: Question) -> Prompt {
    match question {
        Question::PullMode { piece, .. } => Prompt::PullMode { piece },
        Question::Look { piece, look } => Prompt::Look {
            piece,
            look,
            of: series.spec.questions.looks.len(),
            name: series.look(look).and_then(|look| look.name.clone()),
            question: series
                .look(look)
                .map_or_else(String::new, |look| look.question.clone()),
        },
    }
}

fn measure(state: &State, station: &StationState, series: &SeriesState, slot: Slot) -> Prompt {
    let Some(instrument) = instrument_for(state, series, &slot) else {
        return Prompt::Arm;
    };
    let known = state.instruments.get(instrument);
    if known.is_none_or(|known| known.attached.is_none()) {
        return Prompt::Connect {
            instrument: instrument.to_owned(),
            why: known.and_then(|known| known.detached_because.clone()),
        };
    }
    if let Some(prompt) = why_distrusted(state, instrument) {
        return prompt;
    }
    match due(state, series, instrument, None) {
        Some(why) => zero(series, instrument, why),
        None => measured(state, series, slot, station.retracted_by_zero().cloned()),
    }
}

/// The prompt to restore trust in this instrument's port; `None` if its values count.
fn why_distrusted(state: &State, instrument: &str) -> Option<Prompt> {
    let known = state.instruments.get(instrument)?;
    let instrument = instrument.to_owned();
    if let Some((was, is)) = known.another() {
        return Some(Prompt::Adapter {
            instrument,
            was,
            is,
        });
    }
    let holders = known.rivals.clone();
    (!holders.is_empty()).then_some(Prompt::Shared {
        instrument,
        holders,
    })
}

fn measured(
    state: &State,
    series: &SeriesState,
    slot: Slot,
    undo: Option<CountedReading>,
) -> Prompt {
    let blocks = series.spec.subject.blocks();
    let times = series.spec.pieces;
    match blocks.iter().find(|block| block.axis() == slot.axis) {
        Some(block) => Prompt::SetBlock {
            slot,
            block: *block,
            repeats: times,
            undo,
        },
        None => Prompt::Measure {
            or: others(state, series, &slot),
            slot,
            pieces: series.last_piece(),
            undo,
        },
    }
}

/// In the order `by_value`: the slots that the next value may fill instead of `slot`, without a zero before them.
fn others(state: &State, series: &SeriesState, slot: &Slot) -> Vec<Slot> {
    let needs_no_zero = |other: &Slot| {
        let instrument = instrument_for(state, series, other);
        instrument.is_some_and(|name| due_by_pieces(series, name, other.piece).is_none())
    };
    match series.spec.order {
        Order::ByAxis | Order::ByPiece => Vec::new(),
        Order::ByValue => slots_by_value(series)
            .filter(|other| other != slot && needs_no_zero(other))
            .collect(),
    }
}

/// The instrument for a slot: a connected one if there is one.
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
            if let Some(prompt) = why_distrusted(state, &instrument.name) {
                return Some(prompt);
            }
            Some(zero(series, &instrument.name, why))
        })
        .unwrap_or(Prompt::Arm)
}

fn zero(series: &SeriesState, instrument: &str, why: Due) -> Prompt {
    let known = series.spec.instrument(instrument);
    let must_be_said = known.is_some_and(|known| known.zero_must_be_said);
    let of = known.map_or(Dimension::Length, |known| known.resolution.dimension());
    Prompt::Zero {
        instrument: instrument.to_owned(),
        why,
        must_be_said,
        of,
    }
}
