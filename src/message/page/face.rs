//! The main display of a station: the last verdict, or a state that matters more.
//!
//! In: the state, the last entries, and the next action. Out: one [`Face`]. A state that a verdict would hide takes
//! precedence: a refusal, an instrument that is not connected, a zero that is off.

use crate::entry::state::StationState;
use crate::entry::{Entry, FrameEntry, ProductionEntry, SeriesEntry, Stamped, Standing};
use crate::quantity::Dimension;
use crate::station::prompt::Prompt;
use crate::station::zero::Due;
use schemars::JsonSchema;
use serde::Serialize;

/// The main display of a station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Face {
    /// No series is open and none was closed: the plans are shown.
    Idle,
    /// The limits of the next slot.
    Limits,
    /// The last reading with its verdict.
    Verdict,
    /// No series is open, and crimps of a production run are held until a person settles them.
    Held,
    /// No series is open, crimps were counted since the last one, and a sample of the production run is due.
    Sample,
    /// The same where no sample is due yet.
    Crimping,
    /// The last value does not count.
    NotCounted {
        /// `seq` of its entry.
        seq: u64,
        /// Value with its unit.
        value: String,
        /// Reason, for programs.
        reason: &'static str,
        /// Likely cause, in words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        hint: Option<String>,
    },
    /// Bytes came that could not be read.
    Unread {
        /// `seq` of their entry.
        seq: u64,
        /// Name of the instrument.
        instrument: String,
        /// Reason, in words.
        reason: String,
        /// What to do.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        remedy: Option<String>,
    },
    /// A card or pedal press was refused.
    Refused {
        /// Text of the card, or action of the pedal.
        said: String,
        /// Reason, in words.
        reason: String,
        /// What to do.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        remedy: Option<String>,
    },
    /// The instrument of the next slot is not connected.
    Unplugged {
        /// Name of the instrument.
        instrument: String,
        /// Why its port was closed; left out if unknown.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    },
    /// The port of the next slot's instrument has an adapter that nobody confirmed.
    Adapter {
        /// Name of the instrument.
        instrument: String,
        /// Confirmed adapter.
        was: String,
        /// Adapter that is plugged in now.
        is: String,
    },
    /// Other programs read the port of the next slot's instrument too.
    Shared {
        /// Name of the instrument.
        instrument: String,
        /// Names of the programs.
        holders: Vec<String>,
    },
    /// A zero is due.
    Zero {
        /// Name of the instrument.
        instrument: String,
        /// `opening`, `pieces`, `time`, `closing` or `origin_moved`.
        why: &'static str,
        /// Number of pieces or minutes between two zeros, if that is the reason.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        every: Option<u64>,
        /// Whether the zero must be announced first.
        must_be_said: bool,
        /// Whether the instrument measures a force, so that it has no jaws.
        force: bool,
    },
    /// A visual check is to be answered.
    Look {
        /// The piece, from 1; left out for a check of the series as a whole.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        piece: Option<u32>,
        /// Which of the plan's checks, from 1.
        look: u32,
        /// Number of checks of the plan.
        of: usize,
        /// The name of a customary check; left out for a question of the plan itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        name: Option<String>,
        /// The question.
        question: String,
    },
    /// How a pull test failed is to be answered.
    PullMode {
        /// The piece, from 1.
        piece: u32,
    },
    /// The last zero was off.
    ZeroOff {
        /// Name of the instrument.
        instrument: String,
        /// Error of the zero; left out if unknown.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
        /// Number of doubted readings, which must be measured again.
        doubted: usize,
        /// Whether the zero must be announced first.
        must_be_said: bool,
        /// Whether the instrument measures a force, so that it has no jaws.
        force: bool,
    },
    /// Readings were put in doubt and must be measured again.
    Doubted {
        /// Number of these readings.
        again: usize,
    },
    /// The operator retracted a reading.
    Retracted {
        /// `seq` of the reading's entry.
        reading: u64,
    },
    /// The series is closed.
    Over,
}

/// The last event that can be the main display.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Newest {
    Verdict,
    Said(Face),
    Doubted,
    Over,
    /// The next action says everything.
    Nothing,
}

impl Newest {
    /// The event in this entry; `None` if it does not change the display.
    pub(super) fn of(stamped: &Stamped) -> Option<Self> {
        Some(match &stamped.entry {
            Entry::Journal(_) | Entry::Said(_) | Entry::Port(_) | Entry::Production(_) => {
                return None;
            }
            Entry::Frame(FrameEntry::Reading(reading)) => match &reading.standing {
                Standing::Counted => Self::Verdict,
                Standing::NotCounted { reason, hint } => Self::Said(Face::NotCounted {
                    seq: stamped.seq.0,
                    value: reading.value.to_string(),
                    reason: reason.name(),
                    hint: hint.clone(),
                }),
            },
            Entry::Frame(FrameEntry::Unread(unread)) => Self::Said(Face::Unread {
                seq: stamped.seq.0,
                instrument: unread.instrument.clone(),
                reason: unread.reason.clone(),
                remedy: unread.remedy.clone(),
            }),
            // A good zero does not replace the last verdict, but the next value will be compared with the limits.
            Entry::Frame(FrameEntry::Zeroed(_)) => Self::Nothing,
            Entry::Series(entry) => match entry {
                SeriesEntry::Completed(_) => Self::Over,
                SeriesEntry::Doubted(_) => Self::Doubted,
                SeriesEntry::Retracted(retracted) => Self::Said(Face::Retracted {
                    reading: retracted.reading.0,
                }),
                SeriesEntry::Armed(_)
                | SeriesEntry::Resumed(_)
                | SeriesEntry::Restored(_)
                | SeriesEntry::Looked(_)
                | SeriesEntry::Pulled(_) => Self::Nothing,
                SeriesEntry::Disarmed(_)
                | SeriesEntry::ZeroDue(_)
                | SeriesEntry::Pictured(_)
                | SeriesEntry::Alerted(_) => return None,
            },
        })
    }
}

/// Whether an entry changes what a production run needs, so that the last outcome is no longer the news.
pub(super) const fn is_of_run(entry: &Entry) -> bool {
    matches!(
        entry,
        Entry::Production(
            ProductionEntry::Crimped(_)
                | ProductionEntry::SampleDue(_)
                | ProductionEntry::Settled(_)
        )
    )
}

/// The main display of a station. With `run_went_on`, an entry that [`is_of_run`] came after the newest event.
pub(super) fn face(
    station: Option<&StationState>,
    newest: Option<&Newest>,
    run_went_on: bool,
    prompt: &Prompt,
    doubted: usize,
) -> Face {
    if let Some(refused) = station.and_then(|station| station.refused.as_ref()) {
        return Face::Refused {
            said: refused.said.clone(),
            reason: refused.reason.clone(),
            remedy: refused.remedy.clone(),
        };
    }
    if let Some(face) = in_the_way(prompt, doubted) {
        return face;
    }
    let is_open = station.is_some_and(|station| station.series.is_some());
    if run_went_on && !is_open {
        return between(station, prompt);
    }
    match newest {
        Some(Newest::Said(face)) => face.clone(),
        Some(Newest::Verdict) if is_open => Face::Verdict,
        Some(Newest::Over | Newest::Nothing | Newest::Verdict | Newest::Doubted) | None
            if !is_open =>
        {
            closed(station)
        }
        Some(Newest::Doubted | Newest::Nothing) if doubted > 0 && !is_zero(prompt) => {
            Face::Doubted { again: doubted }
        }
        Some(Newest::Over | Newest::Nothing | Newest::Verdict | Newest::Doubted) | None => {
            due(prompt).unwrap_or(Face::Limits)
        }
    }
}

/// The display of a station without an open series.
fn closed(station: Option<&StationState>) -> Face {
    match station {
        Some(station) if station.production.held() > 0 => Face::Held,
        Some(station) if station.last_outcome.is_some() => Face::Over,
        Some(_) | None => Face::Idle,
    }
}

/// The same, after a production run went on since the last series.
fn between(station: Option<&StationState>, prompt: &Prompt) -> Face {
    match (closed(station), prompt) {
        (Face::Held, _) => Face::Held,
        (_, Prompt::Run(need)) if need.is_now() => Face::Sample,
        (_, Prompt::Run(_)) => Face::Crimping,
        (other, _) => other,
    }
}

fn is_zero(prompt: &Prompt) -> bool {
    matches!(prompt, Prompt::Zero { .. })
}

/// What must be done before anything counts.
fn in_the_way(prompt: &Prompt, doubted: usize) -> Option<Face> {
    match prompt {
        Prompt::Connect { instrument, why } => Some(Face::Unplugged {
            instrument: instrument.clone(),
            why: why.clone(),
        }),
        Prompt::Adapter {
            instrument,
            was,
            is,
        } => Some(Face::Adapter {
            instrument: instrument.clone(),
            was: was.clone(),
            is: is.clone(),
        }),
        Prompt::Shared {
            instrument,
            holders,
        } => Some(Face::Shared {
            instrument: instrument.clone(),
            holders: holders.clone(),
        }),
        Prompt::Zero {
            instrument,
            why: Due::Off { by, .. },
            must_be_said,
            of,
        } => Some(Face::ZeroOff {
            instrument: instrument.clone(),
            by: by.map(|by| by.to_string().trim_start_matches('-').to_owned()),
            doubted,
            must_be_said: *must_be_said,
            force: *of == Dimension::Force,
        }),
        Prompt::Arm
        | Prompt::Run(_)
        | Prompt::Zero { .. }
        | Prompt::Look { .. }
        | Prompt::PullMode { .. }
        | Prompt::Measure { .. }
        | Prompt::SetBlock { .. } => None,
    }
}

/// What must be done before the next slot can be measured.
pub(super) fn todo(prompt: &Prompt, doubted: usize) -> Option<Face> {
    in_the_way(prompt, doubted).or_else(|| due(prompt))
}

/// The display for a zero or an answer that is due.
fn due(prompt: &Prompt) -> Option<Face> {
    match prompt {
        Prompt::Look {
            piece,
            look,
            of,
            name,
            question,
        } => Some(Face::Look {
            piece: *piece,
            look: *look,
            of: *of,
            name: name.clone(),
            question: question.clone(),
        }),
        Prompt::PullMode { piece } => Some(Face::PullMode { piece: *piece }),
        Prompt::Zero { .. } => due_zero(prompt),
        Prompt::Arm
        | Prompt::Run(_)
        | Prompt::Connect { .. }
        | Prompt::Adapter { .. }
        | Prompt::Shared { .. }
        | Prompt::Measure { .. }
        | Prompt::SetBlock { .. } => None,
    }
}

fn due_zero(prompt: &Prompt) -> Option<Face> {
    let Prompt::Zero {
        instrument,
        why,
        must_be_said,
        of,
    } = prompt
    else {
        return None;
    };
    let (why, every) = match why {
        Due::OriginMoved => ("origin_moved", None),
        Due::Off { .. } | Due::Opening => ("opening", None),
        Due::Pieces(pieces) => ("pieces", Some(u64::from(*pieces))),
        Due::Time(time) => ("time", Some(time.as_secs() / 60)),
        Due::Closing => ("closing", None),
    };
    Some(Face::Zero {
        instrument: instrument.clone(),
        why,
        every,
        must_be_said: *must_be_said,
        force: *of == Dimension::Force,
    })
}
