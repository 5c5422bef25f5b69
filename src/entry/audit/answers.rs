//! Answers of a person: are they answers to what the plan asks, and are all there where a series is complete?

use super::{Findings, shown};
use crate::entry::answers::Question;
use crate::entry::state::SeriesState;
use crate::entry::{Looked, Pulled, State};

impl Findings {
    /// What is accepted or rejected has an answer to each question.
    pub(super) fn answered(&mut self, series: &SeriesState) {
        match series.next_question() {
            None => {}
            Some(Question::PullMode { piece, .. }) => {
                self.add(
                    "pull mode",
                    format!("none of piece {piece}"),
                    "one for each pull",
                );
            }
            Some(Question::Look { piece, look }) => {
                let of =
                    piece.map_or_else(|| "the series".to_owned(), |piece| format!("piece {piece}"));
                self.add(
                    "visual checks",
                    format!("no answer to {look} of {of}"),
                    "one for each",
                );
            }
        }
    }

    /// A visual check is one of the plan's, of a piece that is measured.
    pub(super) fn looked(&mut self, before: &State, looked: &Looked) {
        self.open(before, &looked.station, Some(looked.series));
        let Some(series) = before.series(&looked.station) else {
            return;
        };
        let want = series.look(looked.look).map(|look| &look.question);
        self.compare("visual check", &Some(&looked.question), &want, shown);
        if !series.can_be_looked_at(looked.piece) {
            let got = looked
                .piece
                .map_or_else(|| "none".to_owned(), |piece| piece.to_string());
            self.add("piece", got, "one that the plan has looked at");
        }
    }

    /// A pull mode is of a pull that counts.
    pub(super) fn pulled(&mut self, before: &State, pulled: &Pulled) {
        self.open(before, &pulled.station, Some(pulled.series));
        let Some(series) = before.series(&pulled.station) else {
            return;
        };
        let want = series.pull_of(pulled.piece).map(|reading| reading.seq);
        self.compare("reading of the pull", &Some(pulled.reading), &want, shown);
    }
}
