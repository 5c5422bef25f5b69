//! Holds answers back until their entries are durable.

use crate::entry::Seq;
use crate::message::ErrorObject;
use crate::message::reply::Outcome;
use std::collections::VecDeque;
use tokio::sync::oneshot::Sender;

/// Receiver of an answer.
pub(super) type AnswerTo = Sender<Result<Outcome, ErrorObject>>;

/// Answers in the order of their entries.
#[derive(Debug, Default)]
pub(super) struct Waiting {
    answers: VecDeque<Answer>,
}

#[derive(Debug)]
struct Answer {
    /// The last entry that the answer depends on.
    until: Seq,
    outcome: Outcome,
    to: AnswerTo,
}

impl Waiting {
    /// Sends `outcome` once `until` is durable.
    pub(super) fn add(&mut self, until: Seq, outcome: Outcome, to: AnswerTo) {
        self.answers.push_back(Answer { until, outcome, to });
    }

    /// Sends all answers that wait for entries up to `last`.
    pub(super) fn durable(&mut self, last: Seq) {
        while self
            .answers
            .front()
            .is_some_and(|answer| answer.until <= last)
            && let Some(answer) = self.answers.pop_front()
        {
            // The client may be gone; the command was carried out even so.
            let _ = answer.to.send(Ok(answer.outcome));
        }
    }

    /// Refuses all waiting answers, because their entries will not become durable.
    pub(super) fn refuse(&mut self, error: &ErrorObject) {
        for answer in self.answers.drain(..) {
            let _ = answer.to.send(Err(error.clone()));
        }
    }
}
