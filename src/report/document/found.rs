//! The result of a series: its readings against their limits, every reading, and those that do not count.

use super::table::{Table, number, td, th};
use super::{about, readings};
use crate::entry::{Seq, words as entry_words};
use crate::markup::{Element, el, free};
use crate::report::facts::{self, Facts};
use crate::report::lane::lane;
use crate::report::picture::{self, DOES_NOT_COUNT};
use crate::report::words;
use crate::spec::ArmedAxis;
use crate::stats::capability::Capability;
use crate::stats::describe;
use crate::stats::text::{self, Digits};

/// With fewer pieces capability is not stated (common practice, no source).
const FEWEST_OF_CAPABILITY: u64 = 20;

pub(super) fn part(facts: &Facts, level: usize) -> Element {
    let mut said = Vec::new();
    let mut below = Vec::new();
    if !facts.is_of_blocks() {
        let axes = facts.record.series.spec.axes.iter().enumerate();
        let lanes = axes.map(|(at, axis)| self::axis(facts, axis, at));
        said.push(el("div").class("lanes").children(lanes));
        below = capability(facts);
    }
    said.extend(readings::here(facts));
    match fallen(facts) {
        Some(table) => said.push(table),
        None => below.push(
            el("span")
                .about(format!("{}, readings that do not count", about(facts)))
                .text("There is no other reading: none was doubted, retracted or left out."),
        ),
    }
    if !below.is_empty() {
        let mut line = el("p").class("fine");
        for (nth, sentence) in below.into_iter().enumerate() {
            line = line.text(if nth == 0 { "" } else { " " }).child(sentence);
        }
        said.push(line);
    }
    super::part(level, "Result", said)
}

/// The readings of an axis against their limits, and their figures in one line.
fn axis(facts: &Facts, axis: &ArmedAxis, at: usize) -> Element {
    let words = axis.name.words();
    let about = format!("{}, {words}", about(facts));
    let id = format!("s{}-l{at}", facts.record.series.id);
    el("figure")
        .child(
            el("figcaption")
                .about(about.as_str())
                .child(el("strong").child(free(capital(&words))))
                .text(format!(": {}", amounts(facts, axis))),
        )
        .children(lane(&id, facts, axis))
}

/// `5 readings, 1.61 mm to 1.63 mm, mean 1.6200 mm, standard deviation 0.0079 mm`.
fn amounts(facts: &Facts, axis: &ArmedAxis) -> String {
    let rows = || facts.on(axis).filter(|row| row.verdict().is_some());
    let ends = (
        rows().min_by_key(|row| row.base()),
        rows().max_by_key(|row| row.base()),
    );
    let ((Some(least), Some(most)), Ok(sample)) = (ends, facts.sample(axis)) else {
        return "no reading counts".to_owned();
    };
    if rows().nth(1).is_none() {
        return format!("1 reading, {}", least.reading.value);
    }
    let all = sample.summary();
    let digits = Digits::of(all);
    let figures = text::all(describe::FIGURES, all);
    let figure = |name: &str| {
        let figure = figures.iter().find(|figure| figure.name == name)?;
        let value = figure.value.ok()?;
        Some(format!(
            "{} {}",
            figure.words,
            digits.text(figure.kind, value)
        ))
    };
    let (lowest, highest) = (least.reading.value, most.reading.value);
    let ends = if facts::is_pull(axis) {
        format!("minimum {lowest}, maximum {highest}")
    } else {
        format!("{lowest} to {highest}")
    };
    let count = words::count(rows().count(), "reading");
    let said = [Some(count), Some(ends), figure("mean"), figure("sd")];
    said.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// What the readings show about the process; one sentence if there are too few.
fn capability(facts: &Facts) -> Vec<Element> {
    let about = |of: &str| format!("{}, capability{of}", about(facts));
    let axes = facts.record.series.spec.axes.iter();
    let samples = axes.filter_map(|axis| Some((axis, facts.sample(axis).ok()?)));
    let samples: Vec<_> = samples.filter(|(_, sample)| sample.count() > 0).collect();
    let enough = |count: u64| count >= FEWEST_OF_CAPABILITY;
    let most = samples.iter().map(|(_, sample)| sample.count()).max();
    let Some(most) = most else { return Vec::new() };
    if !enough(most) {
        let said = format!(
            "Capability (Ppk) is not stated: it takes {FEWEST_OF_CAPABILITY} pieces or more, and here are {most}."
        );
        return vec![el("span").about(about("")).text(said)];
    }
    let stated = samples.into_iter().map(|(axis, sample)| {
        let words = axis.name.words();
        let claim = Capability::of_singles(&sample, facts::limits(axis)).claim();
        let said = if enough(sample.count()) {
            // The remedy is for the shop only; the claim is for every reader.
            let (stated, _) = claim
                .sentence
                .split_once(". ")
                .unwrap_or((&claim.sentence, ""));
            format!("{}: {stated}.", capital(&words))
        } else {
            format!("{}: capability is not stated.", capital(&words))
        };
        let about = about(&format!(" of {words}"));
        el("span").about(about).child(free(said))
    });
    stated.collect()
}

/// The readings in order, one axis after the other.
pub(super) fn pictures(facts: &Facts) -> Vec<Element> {
    let axes = facts.record.series.spec.axes.iter().enumerate();
    let drawn = axes.filter(|(_, axis)| facts.on(axis).next().is_some());
    let drawn = drawn.map(|(at, axis)| {
        let name = format!("{} against its limits", capital(&axis.name.words()));
        let id = format!("s{}-a{at}", facts.record.series.id);
        el("figure")
            .child(picture::readings(&id, &name, facts, axis))
            .child(picture::legend(facts, axis))
    });
    drawn.collect()
}

/// The readings that were doubted, retracted or not counted; `None` if there are none.
fn fallen(facts: &Facts) -> Option<Element> {
    let heads = &["Entry", "Time", "Piece", "Value", "Became", "Why"];
    let caption = "Readings that do not count, and why";
    let mut table = Table::new("fallen", caption, heads);
    let mut said: Vec<(String, Seq)> = Vec::new();
    for row in &facts.readings {
        let Some(why) = words::why_not_counted(facts, row) else {
            continue;
        };
        let first = said.iter().find(|(known, _)| *known == why);
        let why = if let Some((_, first)) = first {
            format!("as entry {first}")
        } else {
            said.push((why.clone(), row.seq));
            why
        };
        let word = row.standing().replace('_', " ");
        let slot = row.slot();
        let judged = slot.and_then(|slot| {
            let said = entry_words::verdict(slot.verdict?, &slot.axis, &slot.limits);
            Some(format!(", was {said}"))
        });
        let piece = slot.map_or("–".to_owned(), |slot| {
            format!("{}, {}", slot.piece, slot.axis.words())
        });
        table.row(
            &format!("{}, reading {} that does not count", about(facts), row.seq),
            vec![
                th(row.seq.to_string()),
                td(words::time_of_day(row.at, facts)),
                el("td").child(free(piece)),
                number(row.reading.value.to_string()),
                td(format!(
                    "{DOES_NOT_COUNT} {word}{}",
                    judged.unwrap_or_default()
                )),
                el("td").child(free(why)),
            ],
        );
    }
    (!table.is_empty()).then(|| table.element())
}

/// The text with a capital first letter.
pub(in crate::report) fn capital(words: &str) -> String {
    let mut chars = words.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}
