//! The warnings and other events, each once.

use super::about;
use super::table::{Table, td, th};
use crate::entry::{Stamped, words as entry_words};
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::facts::Facts;
use crate::report::words;

/// Kinds of entries that the page shows elsewhere.
const ELSEWHERE: &[&str] = &[
    "armed",
    "begun",
    "completed",
    "pictured",
    "reading",
    "segment",
    "zeroed",
];
/// Kinds whose result is on the sheet; the entries are in the appendix.
const SHOWN_BY_RESULT: &[&str] = &[
    "disarmed",
    "doubted",
    "looked",
    "pulled",
    "refused",
    "retracted",
    "started",
    "stopped",
    "zero_due",
    "zero_said",
];
/// Remarks that the sheet has room for.
const MOST_REMARKS: usize = 8;
/// The largest number of other entries that is shown. Noise on a line could make very many.
const MOST_EVENTS: usize = 200;

/// The warnings of all series of a cover, each once, with the series that it concerns.
pub(super) fn of_all(report: &Report) -> Vec<(&str, Vec<String>)> {
    let mut found: Vec<(&str, Vec<String>)> = Vec::new();
    for record in report.series.iter().map(|facts| &facts.record.series) {
        for warning in &record.spec.warnings {
            let id = record.id.to_string();
            match found.iter_mut().find(|(known, _)| known == warning) {
                Some((_, series)) if series.last() == Some(&id) => {}
                Some((_, series)) => series.push(id),
                None => found.push((warning.as_str(), vec![id])),
            }
        }
    }
    found
}

/// The same as a part of the cover.
pub(super) fn warnings_of_all(report: &Report) -> Option<Element> {
    let found = of_all(report);
    let items = found.iter().map(|(warning, series)| {
        let of = match &series[..] {
            _ if series.len() == report.series.len() => "every series".to_owned(),
            several => format!("series {}", several.join(", ")),
        };
        el("li").child(free(*warning)).text(format!(" ({of})"))
    });
    let list = el("ul").class("fine").about("the warnings").children(items);
    (!found.is_empty()).then(|| super::part(2, "Warnings", [list]))
}

/// The remarks on the sheet, with the warnings if there is no cover; `None` if there are none.
pub(super) fn part(facts: &Facts, level: usize, has_cover: bool) -> Option<Element> {
    let mut items = Vec::new();
    let warnings = facts.record.series.spec.warnings.iter();
    for warning in warnings.filter(|_| !has_cover) {
        let about = format!("{}, warnings", about(facts));
        items.push(el("li").about(about).child(free(warning.as_str())));
    }
    let events: Vec<&Stamped> = shown(facts).collect();
    let most = if events.len() > MOST_REMARKS + 1 {
        MOST_REMARKS
    } else {
        events.len()
    };
    for stamped in events.iter().take(most) {
        let about = format!("{}, entry {}", about(facts), stamped.seq);
        let at = words::time_of_day(stamped.at, facts);
        let said = entry_words::words_in(&stamped.entry, &facts.zone);
        let item = el("li").about(about).text(format!("{at} "));
        items.push(item.child(free(said)));
    }
    if events.len() > most {
        let about = format!("{}, how many remarks are left out", about(facts));
        items.push(el("li").about(about).text(format!(
            "{} more entries: the report with --full has them.",
            events.len() - most
        )));
    }
    if items.is_empty() {
        return None;
    }
    let list = el("ul").class("fine").children(items);
    Some(super::part(level, "Remarks", [list]))
}

/// Number of lines of the events on the sheet.
pub(super) fn lines(facts: &Facts) -> usize {
    shown(facts).count().min(MOST_REMARKS + 1)
}

fn shown(facts: &Facts) -> impl Iterator<Item = &Stamped> {
    events(facts).filter(|stamped| !SHOWN_BY_RESULT.contains(&stamped.entry.kind()))
}

fn events(facts: &Facts) -> impl Iterator<Item = &Stamped> {
    let entries = facts.record.entries.iter();
    entries.filter(|stamped| !ELSEWHERE.contains(&stamped.entry.kind()))
}

/// Notes, alerts, doubts, lost ports and noise, in order of time.
pub(super) fn all(facts: &Facts) -> Vec<Element> {
    let events: Vec<_> = events(facts).collect();
    if events.is_empty() {
        return Vec::new();
    }
    let mut table = Table::new(
        "events",
        "Notes, alerts, doubts and faults of the station",
        &["Entry", "Time", "Kind", "What"],
    );
    for stamped in events.iter().take(MOST_EVENTS) {
        let kind = stamped.entry.kind().replace('_', " ");
        table.row(
            &format!("{}, entry {} in the appendix", about(facts), stamped.seq),
            vec![
                th(stamped.seq.to_string()),
                td(words::time_of_day(stamped.at, facts)),
                td(kind),
                el("td").child(free(entry_words::words_in(&stamped.entry, &facts.zone))),
            ],
        );
    }
    let more = events.len().saturating_sub(MOST_EVENTS);
    let more = (more > 0).then(|| el("p").text(format!("{more} more are in the journal.")));
    std::iter::once(table.element()).chain(more).collect()
}
