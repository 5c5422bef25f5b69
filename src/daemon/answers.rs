//! Answers that wait until what they say is durable.

use crate::entry::Seq;
use crate::message::ErrorObject;
use crate::message::reply::Outcome;
use std::collections::VecDeque;
use tokio::sync::oneshot::Sender;

/// Where an answer goes.
pub(super) type AnswerTo = Sender<Result<Outcome, ErrorObject>>;

/// Answers in the order of their entries.
#[derive(Debug, Default)]
pub(super) struct Waiting {
    answers: VecDeque<Answer>,
}

#[derive(Debug)]
struct Answer {
    /// The last entry that the answer rests on.
    until: Seq,
    outcome: Outcome,
    to: AnswerTo,
}

impl Waiting {
    /// Answers with `outcome` once `until` is durable.
    pub(super) fn add(&mut self, until: Seq, outcome: Outcome, to: AnswerTo) {
        self.answers.push_back(Answer { until, outcome, to });
    }

    /// Everything up to `last` is durable.
    pub(super) fn durable(&mut self, last: Seq) {
        while self
            .answers
            .front()
            .is_some_and(|answer| answer.until <= last)
            && let Some(answer) = self.answers.pop_front()
        {
            // Who asked may be gone; what was asked is done all the same.
            let _ = answer.to.send(Ok(answer.outcome));
        }
    }

    /// Nothing that is waited for will become durable.
    pub(super) fn refuse(&mut self, error: &ErrorObject) {
        for answer in self.answers.drain(..) {
            let _ = answer.to.send(Err(error.clone()));
        }
    }
}
