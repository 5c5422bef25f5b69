//! The answers of a person: visual checks, and how pulls failed.

use super::about;
use super::found::capital;
use super::table::{Table, number, td, th};
use crate::drawings::{self, Shown};
use crate::entry::Answer;
use crate::entry::ledger::Disposition;
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::facts::Facts;
use crate::report::pulls::{ByMode, INTERVALS};
use crate::spec::PullMode;
use crate::spec::question::LOOKS;

/// The style of drawings, for pages that have drawings.
pub(super) const STYLE: &str = include_str!("drawings.css");

/// The answers; `None` if the plan has no questions and nobody answered.
pub(super) fn part(facts: &Facts, level: usize) -> Option<Element> {
    let tables = [looks(facts), pulls(facts)];
    let tables: Vec<Element> = tables.into_iter().flatten().collect();
    (!tables.is_empty()).then(|| super::part(level, "Answers", tables))
}

/// Whether the page of these series has drawings.
pub(super) fn any_drawn(report: &Report) -> bool {
    let series = report.series.iter();
    let mut looks = series.flat_map(|facts| &facts.record.series.spec.questions.looks);
    report.asked.full && looks.any(|look| look.name.is_some())
}

/// The drawings of the plan's customary checks; `None` if it has none.
pub(super) fn drawn(facts: &Facts, level: usize) -> Option<Element> {
    let looks = facts.record.series.spec.questions.looks.iter();
    let figures = looks.enumerate().filter_map(|(at, look)| {
        let mut known = LOOKS.iter();
        let known = known.find(|one| Some(one.name) == look.name.as_deref())?;
        let number = at + 1;
        let label = format!("visual check {number}: on the left as it should be, on the right not");
        let about = format!("{}, drawing of visual check {number}", about(facts));
        let words = el("figcaption").child(free(format!("{number}. {}", look.question)));
        let words = words.text(format!(" {}", known.why));
        let drawing = drawings::of_look(known.name, Shown::Both, &label)?;
        let figure = el("figure").class("drawn").about(about);
        Some(figure.child(drawing).child(words))
    });
    let figures: Vec<Element> = figures.collect();
    if figures.is_empty() {
        return None;
    }
    let drawn = el("div").class("drawings").children(figures);
    Some(super::part(
        level,
        "What the visual checks look for",
        [drawn],
    ))
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
    let counted = readings.iter();
    let counted = counted.filter(|entered| entered.disposition == Disposition::Counted);
    let forces = counted.map(|entered| {
        let reading = &entered.kept.reading;
        let base = reading.value.quantity().base();
        (entered.pull_mode, base, reading)
    });
    let by_mode = ByMode::of(forces.clone(), None)?;
    let heads = &["Failure", "Pieces", "Minimum", "Share", "95 % interval"];
    let mut table = Table::new("pulls", "How the pulls failed", heads);
    for of in &by_mode.modes {
        let of_it = forces.clone();
        let of_it = of_it.filter(|(mode, ..)| *mode == Some(of.mode));
        let pieces = of_it.filter_map(|(_, _, reading)| reading.slot.as_ref());
        let pieces: Vec<String> = pieces.map(|slot| slot.piece.to_string()).collect();
        let (share, interval) = of.share_words().unwrap_or_default();
        let about = format!("{}, pulls, {}", about(facts), of.mode.words());
        table.row(
            &about,
            vec![
                th(of.mode.words()),
                td(named(&pieces)),
                number(of.place.value.to_string()),
                number(share),
                number(interval),
            ],
        );
    }
    let said = format!("{}. {}.", capital(&by_mode.sentence()), capital(INTERVALS));
    let said = el("p")
        .class("fine")
        .about(format!("{}, how the pulls failed", about(facts)))
        .text(said);
    Some(el("div").child(table.element()).child(said))
}

fn named(pieces: &[String]) -> String {
    match pieces {
        [] => "none".to_owned(),
        some => some.join(", "),
    }
}
