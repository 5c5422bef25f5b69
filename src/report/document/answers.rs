//! What a person answered: visual checks, and how pulls failed.

use super::about;
use super::table::{Table, td, th};
use crate::entry::Answer;
use crate::entry::ledger::Disposition;
use crate::markup::{Element, el, free};
use crate::report::facts::Facts;
use crate::spec::PullMode;

/// `None` where the plan asks nothing and nobody answered.
pub(super) fn part(facts: &Facts, level: usize) -> Option<Element> {
    let tables = [looks(facts), pulls(facts)];
    let tables: Vec<Element> = tables.into_iter().flatten().collect();
    (!tables.is_empty()).then(|| super::part(level, "Looked at", tables))
}

/// The number of lines that it takes.
pub(super) fn lines(facts: &Facts) -> usize {
    let spec = &facts.record.series.spec;
    spec.questions.looks.len() + usize::from(spec.questions.pull_mode) * PullMode::ALL.len()
}

fn looks(facts: &Facts) -> Option<Element> {
    let series = &facts.record.series;
    let heads = &["Check", "Question", "Good", "Bad"];
    let mut table = Table::new("looks", "Visual checks, by the operator's eye", heads);
    for (at, look) in series.spec.questions.looks.iter().enumerate() {
        let pieces = |want: Answer| {
            let counted = series.counted_looks();
            let of_it = counted.filter(|(_, number, _, answer)| {
                usize::try_from(*number).is_ok_and(|number| number == at + 1) && *answer == want
            });
            let pieces = of_it.map(|(piece, ..)| {
                piece.map_or_else(|| "the series".to_owned(), |piece| piece.to_string())
            });
            named(&pieces.collect::<Vec<_>>())
        };
        let about = format!("{}, visual check {}", about(facts), at + 1);
        table.row(
            &about,
            vec![
                th((at + 1).to_string()),
                el("td").child(free(look.question.as_str())),
                td(pieces(Answer::Good)),
                td(pieces(Answer::Bad)),
            ],
        );
    }
    (!table.is_empty()).then(|| table.element())
}

fn pulls(facts: &Facts) -> Option<Element> {
    let readings = &facts.record.series.readings;
    let mut table = Table::new("pulls", "How the pulls failed", &["Failure", "Pieces"]);
    for mode in PullMode::ALL {
        let of_it = readings.iter().filter(|entered| {
            entered.pull_mode == Some(mode) && entered.disposition == Disposition::Counted
        });
        let pieces = of_it.filter_map(|entered| entered.kept.reading.slot.as_ref());
        let pieces: Vec<String> = pieces.map(|slot| slot.piece.to_string()).collect();
        if pieces.is_empty() {
            continue;
        }
        let about = format!("{}, pulls, {}", about(facts), mode.words());
        table.row(&about, vec![th(mode.words()), td(named(&pieces))]);
    }
    (!table.is_empty()).then(|| table.element())
}

fn named(pieces: &[String]) -> String {
    match pieces {
        [] => "none".to_owned(),
        some => some.join(", "),
    }
}
