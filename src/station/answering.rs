//! Answers to the questions of a plan: visual checks, and how a pull test failed.

use super::{Core, Refusal};
use crate::entry::answers::Question;
use crate::entry::state::SeriesState;
use crate::entry::{Answer, Looked, Means, Pulled, Seq};
use crate::quantity::Now;
use crate::spec::{LooksPer, PullMode};

impl Core {
    /// Enters the answer to a visual check of a piece; without `piece`, of the piece for which the check is due.
    pub(super) fn look(
        &mut self,
        now: Now,
        station: Option<String>,
        (piece, look): (Option<u32>, u32),
        answer: Answer,
        by: Means,
    ) -> Result<Seq, Refusal> {
        let station = self.station_named(station)?;
        let series = self.open_series(&station)?;
        let Some(asked) = series.look(look) else {
            return Err(Refusal::NoLook {
                got: look,
                series: series.id,
                looks: series.spec.questions.looks.len(),
            });
        };
        let piece = looked_at(series, piece, look)?;
        let looked = Looked {
            series: series.id,
            piece,
            look,
            question: asked.question.clone(),
            answer,
            by,
            station: station.clone(),
        };
        let seq = self.append(now, looked);
        self.complete_if_full(now, &station);
        Ok(seq)
    }

    /// Enters how the pull of a piece failed; without `piece`, of the piece that was pulled last.
    pub(super) fn pulled(
        &mut self,
        now: Now,
        station: Option<String>,
        piece: Option<u32>,
        mode: PullMode,
        by: Means,
    ) -> Result<Seq, Refusal> {
        let station = self.station_named(station)?;
        let series = self.open_series(&station)?;
        let last = || {
            series
                .readings
                .iter()
                .rev()
                .find(|reading| reading.axis.is_destructive())
        };
        let reading = match (piece, series.next_question()) {
            (Some(piece), _) | (None, Some(Question::PullMode { piece, .. })) => {
                series.pull_of(piece)
            }
            (None, Some(Question::Look { .. }) | None) => last(),
        };
        let Some(reading) = reading else {
            return Err(Refusal::NotPulled {
                piece,
                series: series.id,
            });
        };
        let pulled = Pulled {
            series: series.id,
            piece: reading.piece,
            reading: reading.seq,
            mode,
            by,
            station: station.clone(),
        };
        let seq = self.append(now, pulled);
        self.complete_if_full(now, &station);
        Ok(seq)
    }
}

/// The piece that an answer is about; `None` is the series as a whole.
fn looked_at(series: &SeriesState, piece: Option<u32>, look: u32) -> Result<Option<u32>, Refusal> {
    let meant = match (piece, series.spec.questions.looks_per) {
        (Some(_), _) | (None, LooksPer::Series) => piece,
        (None, LooksPer::Piece) => Some(series.due_for(look).ok_or(Refusal::NotDue {
            look,
            series: series.id,
        })?),
    };
    if series.can_be_looked_at(meant) {
        return Ok(meant);
    }
    Err(Refusal::NoPieceToLookAt {
        got: meant,
        series: series.id,
        pieces: series.last_piece(),
    })
}
