//! The answers of a person about the pieces of a series: visual checks, and how a pull test failed.
//!
//! - A question is due as soon as its measurements count: the pull mode after the pull, the visual checks of a piece
//!   after its last axis, those of a series after all its slots.
//! - An answer can be given again while the series is open; the last one counts.
//! - A pull mode belongs to its reading: another reading of that piece needs an answer of its own.

use super::state::{CountedReading, SeriesState, State};
use super::{Means, Seq};
use crate::quantity::named;
use crate::spec::question::{Look, LooksPer, PullMode};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A visual check was answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Looked {
    /// The station's name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// The piece, from 1; left out if the answer is about the series as a whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<u32>,
    /// Which of the plan's visual checks, from 1.
    pub look: u32,
    /// The question, as it was asked.
    pub question: String,
    /// Good or bad.
    pub answer: Answer,
    /// How the answer was given.
    pub by: Means,
}

named! {
    /// The answer to a visual check.
    #[derive(PartialOrd, Ord)]
    pub enum Answer {
        /// The crimp is as it should be.
        Good = "good",
        /// It is not: the piece is rejected.
        Bad = "bad",
    }
}

/// How a pull test failed was answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Pulled {
    /// The station's name in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// The piece, from 1.
    pub piece: u32,
    /// `seq` of the reading of its pull force.
    pub reading: Seq,
    /// How it failed.
    pub mode: PullMode,
    /// How the answer was given.
    pub by: Means,
}

/// The answers so far.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Answers {
    /// Answers by piece (`None` for the series as a whole) and number of the check.
    pub looks: BTreeMap<(Option<u32>, u32), Answer>,
    /// Pull modes by the reading of the force.
    pub pulls: BTreeMap<Seq, PullMode>,
}

/// The question to answer next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Question {
    /// How the pull of this piece failed.
    PullMode {
        /// The piece, from 1.
        piece: u32,
        /// The reading of its force.
        reading: Seq,
    },
    /// A visual check.
    Look {
        /// The piece, from 1; `None` for the series as a whole.
        piece: Option<u32>,
        /// Which of the plan's checks, from 1.
        look: u32,
    },
}

/// Numbers of visual checks of a series, by answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub struct LookTally {
    /// Answered good.
    pub good: u32,
    /// Answered bad.
    pub bad: u32,
}

impl Looked {
    /// The check and its answer as a line.
    pub(super) fn words(&self) -> String {
        let piece = self.piece.map(|piece| format!("piece {piece} "));
        format!(
            "{}visual check {}: {} {}",
            piece.unwrap_or_default(),
            self.look,
            self.question,
            self.answer.name()
        )
    }
}

impl State {
    pub(super) fn looked(&mut self, looked: &Looked) {
        if let Some(series) = self.station(&looked.station).series.as_mut() {
            let which = (looked.piece, looked.look);
            series.answers.looks.insert(which, looked.answer);
        }
    }

    pub(super) fn pulled(&mut self, pulled: &Pulled) {
        if let Some(series) = self.station(&pulled.station).series.as_mut() {
            series.answers.pulls.insert(pulled.reading, pulled.mode);
        }
    }
}

impl SeriesState {
    /// The first question that is due and has no answer.
    pub fn next_question(&self) -> Option<Question> {
        self.next_pull().or_else(|| self.next_look())
    }

    fn next_pull(&self) -> Option<Question> {
        if !self.spec.questions.pull_mode {
            return None;
        }
        let mut pulls = self.readings.iter();
        let pull = pulls.find(|reading| {
            reading.axis.is_destructive() && !self.answers.pulls.contains_key(&reading.seq)
        })?;
        Some(Question::PullMode {
            piece: pull.piece,
            reading: pull.seq,
        })
    }

    fn next_look(&self) -> Option<Question> {
        // Most plans have no questions, so the readings need not be searched for each prompt.
        if self.spec.questions.looks.is_empty() {
            return None;
        }
        let whole = self.whole_pieces();
        let subjects: Vec<Option<u32>> = match self.spec.questions.looks_per {
            LooksPer::Piece => whole.into_iter().map(Some).collect(),
            LooksPer::Series if self.is_measured(&whole) => vec![None],
            LooksPer::Series => Vec::new(),
        };
        let mut due = subjects
            .into_iter()
            .flat_map(|piece| self.looks().map(move |look| (piece, look)));
        let (piece, look) = due.find(|which| !self.answers.looks.contains_key(which))?;
        Some(Question::Look { piece, look })
    }

    /// The first measured piece for which this check has no answer.
    pub fn due_for(&self, look: u32) -> Option<u32> {
        let mut whole = self.whole_pieces().into_iter();
        whole.find(|piece| !self.answers.looks.contains_key(&(Some(*piece), look)))
    }

    /// A visual check of the plan by its number, from 1.
    pub fn look(&self, look: u32) -> Option<&Look> {
        self.spec.questions.look(look)
    }

    /// Whether the plan has a visual check of this piece; `None` is the series as a whole.
    pub fn can_be_looked_at(&self, piece: Option<u32>) -> bool {
        match (self.spec.questions.looks_per, piece) {
            (LooksPer::Series, None) => true,
            (LooksPer::Piece, Some(piece)) => {
                (1..=self.last_piece()).contains(&piece) && !self.spent.contains(&piece)
            }
            (LooksPer::Series, Some(_)) | (LooksPer::Piece, None) => false,
        }
    }

    /// The counted reading of a piece's pull force.
    pub fn pull_of(&self, piece: u32) -> Option<&CountedReading> {
        let mut readings = self.readings.iter();
        readings.find(|reading| reading.piece == piece && reading.axis.is_destructive())
    }

    /// The numbers of the plan's visual checks.
    pub fn looks(&self) -> impl Iterator<Item = u32> + use<> {
        1..=u32::try_from(self.spec.questions.looks.len()).unwrap_or(u32::MAX)
    }

    /// The pieces that have a counted reading on each axis.
    fn whole_pieces(&self) -> BTreeSet<u32> {
        let mut axes: BTreeMap<u32, usize> = BTreeMap::new();
        for reading in &self.readings {
            *axes.entry(reading.piece).or_default() += 1;
        }
        let whole = |(piece, count): (u32, usize)| (count == self.spec.axes.len()).then_some(piece);
        axes.into_iter().filter_map(whole).collect()
    }

    fn is_measured(&self, whole: &BTreeSet<u32>) -> bool {
        u32::try_from(whole.len()).is_ok_and(|count| count == self.spec.pieces)
    }

    /// The numbers of answered visual checks; `None` where the plan has none.
    pub fn look_tally(&self) -> Option<LookTally> {
        if self.spec.questions.looks.is_empty() {
            return None;
        }
        let mut tally = LookTally::default();
        for ((piece, _), answer) in &self.answers.looks {
            // Another piece was measured in place of a spent one, and its answers count instead.
            if piece.is_some_and(|piece| self.spent.contains(&piece)) {
                continue;
            }
            match answer {
                Answer::Good => tally.good += 1,
                Answer::Bad => tally.bad += 1,
            }
        }
        Some(tally)
    }
}
