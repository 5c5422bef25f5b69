//! Small parts of an armed specification: visual checks and their answers, pull modes, opening zeros.

use super::journal::time;
use super::names;
use crate::entry::Seq;
use crate::entry::answers::Answers;
use crate::entry::line::LineError;
use crate::spec;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A visual check.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Look {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    question: String,
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct OpeningZero {
    instrument: String,
    zeroed: u64,
    at: String,
}

impl From<&spec::Look> for Look {
    fn from(look: &spec::Look) -> Self {
        Self {
            name: look.name.clone(),
            question: look.question.clone(),
        }
    }
}

impl From<Look> for spec::Look {
    fn from(body: Look) -> Self {
        Self {
            name: body.name,
            question: body.question,
        }
    }
}

impl From<&spec::OpeningZero> for OpeningZero {
    fn from(zero: &spec::OpeningZero) -> Self {
        Self {
            instrument: zero.instrument.clone(),
            zeroed: zero.zeroed,
            at: zero.at.to_string(),
        }
    }
}

impl TryFrom<OpeningZero> for spec::OpeningZero {
    type Error = LineError;

    fn try_from(body: OpeningZero) -> Result<Self, LineError> {
        Ok(Self {
            at: time("at", &body.at)?,
            instrument: body.instrument,
            zeroed: body.zeroed,
        })
    }
}

/// The answer to a visual check.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct LookAnswer {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    piece: Option<u32>,
    look: u32,
    answer: names::Answer,
}

/// How the pull of a reading failed.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct PullAnswer {
    reading: Seq,
    mode: names::PullMode,
}

impl LookAnswer {
    pub(super) fn all_of(answers: &Answers) -> Vec<Self> {
        let looks = answers.looks.iter();
        looks
            .map(|((piece, look), answer)| Self {
                piece: *piece,
                look: *look,
                answer: *answer,
            })
            .collect()
    }
}

impl PullAnswer {
    pub(super) fn all_of(answers: &Answers) -> Vec<Self> {
        let pulls = answers.pulls.iter();
        pulls
            .map(|(reading, mode)| Self {
                reading: *reading,
                mode: *mode,
            })
            .collect()
    }
}

/// The answers as the state has them.
pub(super) fn answers(looks: Vec<LookAnswer>, pulls: Vec<PullAnswer>) -> Answers {
    let looks = looks.into_iter();
    let pulls = pulls.into_iter();
    Answers {
        looks: looks
            .map(|one| ((one.piece, one.look), one.answer))
            .collect(),
        pulls: pulls.map(|one| (one.reading, one.mode)).collect(),
    }
}
