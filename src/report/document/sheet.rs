//! The sheet of one series: one page of paper, where it fits on one.

use super::{Facts, about, answers, closing, found, head, id, readings, remarks, required, used};
use crate::markup::{Element, el};
use crate::report::Report;

/// With more lines than this beyond those that every sheet has, they are set closer.
const ROOMY: usize = 8;

/// Of the only series of a report: what is not shown and how to check it are on it too.
pub(super) fn only(report: &Report, facts: &Facts) -> Element {
    let about = "the head";
    let head = head::title(facts, 1, ["the heading", "the outcome"]);
    sheet(facts, false)
        .child(head::letterhead(report, &number(facts)))
        .children(head)
        .child(head::facts_list(report, facts, about))
        .children(parts(facts, 2, false))
        .child(closing::not_shown(report, 2))
        .child(closing::how_to_check(report, 2))
        .child(closing::signature())
        .children(readings::continued(facts, 2))
}

/// Of a series among several.
pub(super) fn one_of_several(report: &Report, facts: &Facts) -> Element {
    let about = about(facts);
    let heading = format!("{about}, the heading");
    let outcome = format!("{about}, the outcome");
    sheet(facts, true)
        .about(about.clone())
        .child(head::letterhead_behind(report, &number(facts)))
        .children(head::title(facts, 2, [&heading, &outcome]))
        .child(head::facts_list(report, facts, &about))
        .children(parts(facts, 3, true))
        .child(closing::signature())
        .children(readings::continued(facts, 3))
}

fn number(facts: &Facts) -> String {
    format!("Series {}", facts.record.series.id)
}

/// Its lines are closer where there is much to show.
fn sheet(facts: &Facts, has_cover: bool) -> Element {
    let class = if weight(facts, has_cover) > ROOMY {
        "sheet close"
    } else {
        "sheet"
    };
    el("article").class(class).with("id", id(facts))
}

/// Lines beyond those that every sheet has.
fn weight(facts: &Facts, has_cover: bool) -> usize {
    let spec = &facts.record.series.spec;
    let readings = if readings::is_long(facts) {
        0
    } else {
        readings::lines(facts)
    };
    let fallen = facts.readings.iter();
    let fallen = fallen.filter(|row| row.verdict().is_none()).count();
    let warnings = if has_cover {
        0
    } else {
        2 * spec.warnings.len()
    };
    let job = if spec.job.is_some() { 3 } else { 0 };
    readings
        + fallen
        + spec.axes.len()
        + warnings
        + job
        + answers::lines(facts)
        + remarks::lines(facts)
}

/// The parts of a series, their headings at this level; what a cover says is not said again.
fn parts(facts: &Facts, level: usize, has_cover: bool) -> Vec<Element> {
    let parts = [
        Some(required::part(facts, level)),
        Some(found::part(facts, level)),
        answers::part(facts, level),
        Some(used::part(facts, level)),
        remarks::part(facts, level, has_cover),
    ];
    parts.into_iter().flatten().collect()
}
