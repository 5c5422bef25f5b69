//! Checks the answers of a person: each must answer a question of the plan, and a complete series must have all of
//! them.

use super::{Findings, shown};
use crate::entry::answers::Question;
use crate::entry::state::SeriesState;
use crate::entry::{Looked, Pulled, State};

impl Findings {
    /// An accepted or rejected series has an answer to each question.
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

    /// The plan has this visual check, and the piece was measured.
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
            self.add("piece", got, "one with a visual check in the plan");
        }
    }

    /// The pull mode belongs to a counted pull force.
    pub(super) fn pulled(&mut self, before: &State, pulled: &Pulled) {
        self.open(before, &pulled.station, Some(pulled.series));
        let Some(series) = before.series(&pulled.station) else {
            return;
        };
        let want = series.pull_of(pulled.piece).map(|reading| reading.seq);
        self.compare("reading of the pull", &Some(pulled.reading), &want, shown);
    }
}
