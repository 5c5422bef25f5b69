//! What came out of a series: every reading, those that do not count among them, and what else happened.

use super::table::{Table, number, td, th, verdict};
use super::{about, heading};
use crate::entry::{ReadingSlot, words as entry_words};
use crate::markup::{Element, el, free};
use crate::report::facts::{Facts, ReportReading};
use crate::report::picture::{self, DOES_NOT_COUNT};
use crate::report::words;
use crate::spec::{ArmedAxis, Verdict};
use std::collections::BTreeSet;

/// Kinds of entries that the page shows elsewhere.
const ELSEWHERE: &[&str] = &[
    "armed",
    "begun",
    "completed",
    "reading",
    "segment",
    "zeroed",
];
/// At most this number of other entries is shown; noise on a line must not fill a book.
const MOST_EVENTS: usize = 200;

pub(super) fn section(facts: &Facts, level: usize) -> Element {
    let mut section = el("section").child(heading(level, "Results"));
    if facts.is_of_blocks() {
        section = section.child(errors(facts));
    } else {
        for (at, axis) in facts.record.series.spec.axes.iter().enumerate() {
            section = section.child(self::axis(facts, axis, at, level + 1));
        }
    }
    match fallen(facts) {
        Some(table) => section
            .child(heading(level + 1, "Readings that do not count"))
            .child(table),
        None => section.child(
            el("p")
                .about(format!("{}, readings that do not count", about(facts)))
                .text("There is no other reading: none was doubted, retracted or left out."),
        ),
    }
}

fn axis(facts: &Facts, axis: &ArmedAxis, at: usize, level: usize) -> Element {
    let counted: Vec<&ReportReading> = facts
        .on(axis)
        .filter(|row| row.verdict().is_some())
        .collect();
    let words = axis.name.words();
    let name = format!("{} against its limits", capital(&words));
    let section = el("section")
        .class("axis")
        .child(heading(level, free(capital(&words))));
    if facts.on(axis).next().is_none() {
        let none = el("p").about(format!("{}, {words}", about(facts)));
        return section.child(none.text("No reading was taken."));
    }
    let id = format!("s{}-a{at}", facts.record.series.id);
    let figure = el("figure")
        .child(picture::readings(&id, &name, facts, axis))
        .child(legend(facts, axis));
    section.child(figure).child(table(facts, axis, &counted))
}

/// The shapes that stand in the picture, in words.
fn legend(facts: &Facts, axis: &ArmedAxis) -> Element {
    let seen: BTreeSet<Option<Verdict>> = facts.on(axis).map(ReportReading::verdict).collect();
    let mut shown: Vec<String> = Vec::new();
    for verdict in Verdict::ALL {
        if seen.contains(&Some(verdict)) {
            let said = format!(
                "{} {}",
                words::shape(verdict),
                entry_words::verdict(verdict, &axis.name, &axis.limits)
            );
            shown.push(said);
        }
    }
    if seen.contains(&None) {
        shown.push(format!("{DOES_NOT_COUNT} does not count"));
    }
    if axis.guards.iter().any(|guard| guard.width > 0) {
        shown.push("grey: unsure within".to_owned());
    }
    el("figcaption").text(shown.join("   "))
}

/// What differs from reading to reading, and so needs a column.
struct Columns {
    operator: bool,
    instrument: bool,
}

impl Columns {
    fn of(facts: &Facts) -> Self {
        let instruments: BTreeSet<&str> = facts
            .readings
            .iter()
            .map(|row| row.reading.instrument.as_str())
            .collect();
        Self {
            operator: facts.operators.len() > 1,
            instrument: instruments.len() > 1,
        }
    }

    fn heads(&self, first: &[&'static str]) -> Vec<&'static str> {
        let more = [
            ("Measured by", self.operator),
            ("Instrument", self.instrument),
        ];
        let more = more.into_iter().filter(|(_, is_there)| *is_there);
        first
            .iter()
            .copied()
            .chain(more.map(|(head, _)| head))
            .collect()
    }

    fn cells(&self, row: &ReportReading) -> Vec<Element> {
        let operator = row.operator.as_deref().unwrap_or("–");
        let more = [
            (operator, self.operator),
            (row.reading.instrument.as_str(), self.instrument),
        ];
        let more = more.into_iter().filter(|(_, is_there)| *is_there);
        more.map(|(text, _)| el("td").child(free(text))).collect()
    }
}

fn table(facts: &Facts, axis: &ArmedAxis, counted: &[&ReportReading]) -> Element {
    let columns = Columns::of(facts);
    let heads = columns.heads(&["Piece", "Value", "Deviation", "Verdict", "Time", "Entry"]);
    let words = axis.name.words();
    let caption = format!(
        "Every reading of {words} that counts; limits {}",
        axis.limits
    );
    let mut table = Table::new("readings", caption, &heads);
    for row in counted {
        let (Some(slot), Some(verdict)) = (row.slot(), row.verdict()) else {
            continue;
        };
        let about = format!(
            "{}, piece {}, {words} (entry {})",
            about(facts),
            slot.piece,
            row.seq
        );
        let mut cells = vec![th(slot.piece.to_string())];
        cells.extend(judged(facts, row, slot, verdict));
        cells.extend(columns.cells(row));
        table.row(&about, cells);
    }
    if table.is_empty() {
        let about = format!("{}, {words}", about(facts));
        return el("p").about(about).text("None of its readings counts.");
    }
    table.element()
}

fn judged(
    facts: &Facts,
    row: &ReportReading,
    slot: &ReadingSlot,
    verdict: Verdict,
) -> [Element; 5] {
    [
        number(row.reading.value.to_string()),
        number(words::deviation(row).unwrap_or_else(|| "–".to_owned())),
        self::verdict(slot, verdict),
        td(words::time_of_day(row.at, facts)),
        number(row.seq.to_string()),
    ]
}

/// Of gauge blocks: what was shown for each, and the error of it.
fn errors(facts: &Facts) -> Element {
    let columns = Columns::of(facts);
    let heads = columns.heads(&["Block", "Time", "Shown", "Error", "Verdict", "At", "Entry"]);
    let mut table = Table::new("readings", "What was shown for each gauge block", &heads);
    for axis in &facts.record.series.spec.axes {
        for row in facts.on(axis) {
            let (Some(slot), Some(verdict)) = (row.slot(), row.verdict()) else {
                continue;
            };
            let words = axis.name.words();
            let about = format!(
                "{}, {words}, time {} (entry {})",
                about(facts),
                slot.piece,
                row.seq
            );
            let mut cells = vec![th(free(words)), number(slot.piece.to_string())];
            cells.extend(judged(facts, row, slot, verdict));
            cells.extend(columns.cells(row));
            table.row(&about, cells);
        }
    }
    if table.is_empty() {
        let about = format!("{}, readings", about(facts));
        return el("p").about(about).text("No reading counts.");
    }
    table.element()
}

/// Doubted, retracted, never counted; `None` if there is none.
fn fallen(facts: &Facts) -> Option<Element> {
    let columns = Columns::of(facts);
    let heads = columns.heads(&["Entry", "Time", "Piece", "Axis", "Value", "Became", "Why"]);
    let mut table = Table::new("fallen", "Shown, and in no figure or verdict above", &heads);
    for row in &facts.readings {
        let Some(why) = words::why_not_counted(facts, row) else {
            continue;
        };
        let word = row.standing().replace('_', " ");
        let slot = row.slot();
        let judged = slot.and_then(|slot| {
            let said = entry_words::verdict(slot.verdict?, &slot.axis, &slot.limits);
            Some(format!(", was {said}"))
        });
        let piece = slot.map_or("–".to_owned(), |slot| slot.piece.to_string());
        let axis = slot.map_or("–".to_owned(), |slot| slot.axis.words());
        let mut cells = vec![
            th(row.seq.to_string()),
            td(words::time_of_day(row.at, facts)),
            number(piece),
            el("td").child(free(axis)),
            number(row.reading.value.to_string()),
            td(format!(
                "{DOES_NOT_COUNT} {word}{}",
                judged.unwrap_or_default()
            )),
            el("td").child(free(why)),
        ];
        cells.extend(columns.cells(row));
        table.row(
            &format!("{}, reading {} that does not count", about(facts), row.seq),
            cells,
        );
    }
    (!table.is_empty()).then(|| table.element())
}

/// Notes, alerts, doubts, lost ports, noise: in the order in which they came.
pub(super) fn events(facts: &Facts, level: usize) -> Option<Element> {
    let entries = facts.record.entries.iter();
    let events: Vec<_> = entries
        .filter(|stamped| !ELSEWHERE.contains(&stamped.entry.kind()))
        .collect();
    if events.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "events",
        "Notes, alerts, doubts and faults of the station",
        &["Entry", "Time", "Kind", "What"],
    );
    for stamped in events.iter().take(MOST_EVENTS) {
        let kind = stamped.entry.kind().replace('_', " ");
        table.row(
            &format!("{}, entry {}", about(facts), stamped.seq),
            vec![
                th(stamped.seq.to_string()),
                td(words::time_of_day(stamped.at, facts)),
                td(kind),
                el("td").child(free(entry_words::words_in(&stamped.entry, &facts.zone))),
            ],
        );
    }
    let section = el("section")
        .child(heading(level, "What else happened"))
        .child(table.element());
    let more = events.len().saturating_sub(MOST_EVENTS);
    Some(if more > 0 {
        section.child(el("p").text(format!("And {more} more; they are in the journal.")))
    } else {
        section
    })
}

/// With a large first letter.
pub(super) fn capital(words: &str) -> String {
    let mut chars = words.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}
