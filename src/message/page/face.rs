//! What is the biggest thing on the screen of a station: the last verdict, or what is so instead of it.
//!
//! In: the state, what came last, and what is to be done next. Out: one [`Face`]. What a verdict would hide
//! comes before it: a refusal, an instrument that is not there, a zero that is off.

use crate::entry::state::StationState;
use crate::entry::{Entry, FrameEntry, SeriesEntry, Stamped, Standing};
use crate::quantity::Dimension;
use crate::station::prompt::Prompt;
use crate::station::zero::Due;
use serde::Serialize;

/// What is the biggest thing on the screen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Face {
    /// Nothing is open and nothing came out: the plans.
    Idle,
    /// The limits of the slot that is measured next.
    Limits,
    /// The last reading with its verdict.
    Verdict,
    /// A value came that does not count.
    NotCounted {
        /// Its entry.
        seq: u64,
        /// The value.
        value: String,
        /// Why.
        reason: &'static str,
        /// What it may be instead.
        #[serde(skip_serializing_if = "Option::is_none")]
        hint: Option<String>,
    },
    /// Bytes came that are no value.
    Unread {
        /// The entry.
        seq: u64,
        /// The instrument.
        instrument: String,
        /// Why.
        reason: String,
        /// What to do.
        #[serde(skip_serializing_if = "Option::is_none")]
        remedy: Option<String>,
    },
    /// The station could not do what a card or a pedal said.
    Refused {
        /// What was said.
        said: String,
        /// Why not.
        reason: String,
        /// What to do.
        #[serde(skip_serializing_if = "Option::is_none")]
        remedy: Option<String>,
    },
    /// The instrument that is needed next is not connected.
    Unplugged {
        /// The instrument.
        instrument: String,
        /// Why not, if that is known.
        #[serde(skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    },
    /// Its port is another adapter than before.
    Adapter {
        /// The instrument.
        instrument: String,
        /// The adapter that is meant.
        was: String,
        /// The one that is there.
        is: String,
    },
    /// Other programs read its port too.
    Shared {
        /// The instrument.
        instrument: String,
        /// The programs.
        holders: Vec<String>,
    },
    /// A zero is due.
    Zero {
        /// Of this instrument.
        instrument: String,
        /// `opening`, `pieces`, `time`, `closing` or `origin_moved`.
        why: &'static str,
        /// How many pieces or minutes, where that is why.
        #[serde(skip_serializing_if = "Option::is_none")]
        every: Option<u64>,
        /// It must be said first.
        must_be_said: bool,
        /// The instrument measures a force: it has no jaws.
        force: bool,
    },
    /// The last zero was off.
    ZeroOff {
        /// Of this instrument.
        instrument: String,
        /// By so much, if that was kept.
        #[serde(skip_serializing_if = "Option::is_none")]
        by: Option<String>,
        /// How many readings are doubted and to be measured again.
        doubted: usize,
        /// It must be said first.
        must_be_said: bool,
        /// The instrument measures a force: it has no jaws.
        force: bool,
    },
    /// Readings are doubted: they are measured again.
    Doubted {
        /// How many.
        again: usize,
    },
    /// A reading was retracted.
    Retracted {
        /// The reading.
        reading: u64,
    },
    /// The series is over.
    Over,
}

/// What came last of those things that can be the biggest on the screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Newest {
    Verdict,
    Said(Face),
    Doubted,
    Over,
    /// What to do next says all.
    Nothing,
}

impl Newest {
    /// `None` of an entry that changes nothing of it.
    pub(super) fn of(stamped: &Stamped) -> Option<Self> {
        Some(match &stamped.entry {
            Entry::Journal(_) | Entry::Said(_) | Entry::Port(_) => return None,
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
            // A zero that vouches for what was measured takes nothing from the last verdict's place,
            // but what comes next is measured against its limits.
            Entry::Frame(FrameEntry::Zeroed(_)) => Self::Nothing,
            Entry::Series(entry) => match entry {
                SeriesEntry::Completed(_) => Self::Over,
                SeriesEntry::Doubted(_) => Self::Doubted,
                SeriesEntry::Retracted(retracted) => Self::Said(Face::Retracted {
                    reading: retracted.reading.0,
                }),
                SeriesEntry::Armed(_) | SeriesEntry::Resumed(_) | SeriesEntry::Restored(_) => {
                    Self::Nothing
                }
                SeriesEntry::Disarmed(_) | SeriesEntry::ZeroDue(_) | SeriesEntry::Alerted(_) => {
                    return None;
                }
            },
        })
    }
}

/// The face of a station.
pub(super) fn face(
    station: Option<&StationState>,
    newest: Option<&Newest>,
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
    match newest {
        Some(Newest::Said(face)) => face.clone(),
        Some(Newest::Verdict) if is_open => Face::Verdict,
        Some(Newest::Over | Newest::Nothing | Newest::Verdict | Newest::Doubted) | None
            if !is_open =>
        {
            if station.is_some_and(|station| station.last_outcome.is_some()) {
                Face::Over
            } else {
                Face::Idle
            }
        }
        Some(Newest::Doubted | Newest::Nothing) if doubted > 0 && !is_zero(prompt) => {
            Face::Doubted { again: doubted }
        }
        Some(Newest::Over | Newest::Nothing | Newest::Verdict | Newest::Doubted) | None => {
            due(prompt).unwrap_or(Face::Limits)
        }
    }
}

fn is_zero(prompt: &Prompt) -> bool {
    matches!(prompt, Prompt::Zero { .. })
}

/// What must be seen to before anything counts.
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
        Prompt::Arm | Prompt::Zero { .. } | Prompt::Measure { .. } | Prompt::SetBlock { .. } => {
            None
        }
    }
}

/// What must be done before the next slot is measured.
pub(super) fn todo(prompt: &Prompt, doubted: usize) -> Option<Face> {
    in_the_way(prompt, doubted).or_else(|| due(prompt))
}

/// A zero that is due.
fn due(prompt: &Prompt) -> Option<Face> {
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
