//! The sentences of a page message, as keys of the table of texts.
//!
//! In: the message. Out: for each sentence that the daemon worded, its key and the values for its placeholders. Text
//! written by people and other programs has no key.

use super::{BenchMessage, Face};
use crate::message::reply::Status;
use crate::texts::{Texts, gather};

pub(super) fn texts(status: &Status, benches: &[BenchMessage]) -> Texts {
    let mut texts = Texts::new();
    for bench in benches {
        gather(&mut texts, of_face(&bench.face));
        gather(&mut texts, bench.todo.iter().flat_map(of_face));
        gather(
            &mut texts,
            bench.recent.iter().map(|one| one.words.as_str()),
        );
        let closed = bench.closed.as_ref();
        gather(&mut texts, closed.and_then(|closed| closed.wire.as_deref()));
    }
    for station in &status.state.stations {
        gather(&mut texts, [station.prompt.as_str()]);
        if let Some(production) = &station.production {
            let says = production.open.iter().map(|run| run.says.as_str());
            gather(&mut texts, says.chain(production.held_says.as_deref()));
        }
        if let Some(armed) = &station.armed {
            gather(&mut texts, armed.wire.as_deref());
            gather(&mut texts, armed.warnings.iter().map(String::as_str));
            gather(
                &mut texts,
                armed.alerts.iter().map(|alert| alert.text.as_str()),
            );
        }
    }
    for instrument in &status.state.instruments {
        gather(&mut texts, instrument.detached_because.as_deref());
    }
    for trouble in &status.troubles {
        gather(&mut texts, [trouble.message.as_str()]);
        gather(&mut texts, trouble.remedy.as_deref());
    }
    for trouble in &status.folders {
        gather(
            &mut texts,
            [trouble.message.as_str(), trouble.remedy.as_str()],
        );
    }
    for failing in status.sinks.iter().filter_map(|sink| sink.failing.as_ref()) {
        gather(
            &mut texts,
            [failing.error.as_str(), failing.remedy.as_str()],
        );
    }
    for over in status
        .sinks
        .iter()
        .filter_map(|sink| sink.recovered.as_ref())
    {
        gather(&mut texts, [over.error.as_str()]);
    }
    texts
}

fn of_face(face: &Face) -> Vec<&str> {
    match face {
        Face::NotCounted { hint: text, .. } | Face::Unplugged { why: text, .. } => {
            text.as_deref().into_iter().collect()
        }
        Face::Unread { reason, remedy, .. } | Face::Refused { reason, remedy, .. } => {
            std::iter::once(reason.as_str())
                .chain(remedy.as_deref())
                .collect()
        }
        Face::Idle
        | Face::Limits
        | Face::Verdict
        | Face::Adapter { .. }
        | Face::Shared { .. }
        | Face::Zero { .. }
        | Face::ZeroOff { .. }
        | Face::Doubted { .. }
        | Face::Retracted { .. }
        | Face::Look { .. }
        | Face::PullMode { .. }
        | Face::Held
        | Face::Sample
        | Face::Crimping
        | Face::Over => Vec::new(),
    }
}
