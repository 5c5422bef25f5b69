//! The sheet of one series: one page of paper, if it fits on one.

use super::{
    Facts, about, answers, closing, copies, found, head, id, readings, remarks, required, used,
};
use crate::markup::{Element, el};
use crate::report::Report;
use crate::spec::Papers;

/// If a sheet has more lines than this beyond those of every sheet, its lines are set closer.
const ROOMY: usize = 8;
/// If a sheet with pictures has more lines than this, the pictures are on a page of their own. First for a sheet that
/// also has the content of a cover, then for one without.
const FULL: [usize; 2] = [22, 30];
/// Number of lines by which a whole letterhead exceeds one line.
const LETTERHEAD: usize = 3;
/// Number of lines about the check of a signature.
const SIGNATURE: usize = 4;

/// The sheet of the only series. It also says what is not shown and how to check it, because there is no cover.
pub(super) fn only(report: &Report, facts: &Facts) -> Element {
    let about = "the head";
    let head = head::title(facts, 1, ["the heading", "the outcome"]);
    sheet(report, facts, false)
        .child(head::letterhead(report, &number(facts)))
        .children(head)
        .child(head::facts_list(report, facts, about))
        .children(parts(report, facts, 2, false))
        .child(closing::not_shown(report, 2))
        .child(closing::how_to_check(report, 2))
        .child(closing::signature())
        .children(readings::continued(facts, 2))
}

/// The sheet of one of several series.
pub(super) fn one_of_several(report: &Report, facts: &Facts) -> Element {
    let about = about(facts);
    let heading = format!("{about}, the heading");
    let outcome = format!("{about}, the outcome");
    sheet(report, facts, true)
        .about(about.clone())
        .child(head::letterhead_behind(report, &number(facts)))
        .children(head::title(facts, 2, [&heading, &outcome]))
        .child(head::facts_list(report, facts, &about))
        .children(parts(report, facts, 3, true))
        .child(closing::signature())
        .children(readings::continued(facts, 3))
}

fn number(facts: &Facts) -> String {
    format!("Series {}", facts.record.series.id)
}

/// The element of a sheet. Its lines are set closer if it has many.
fn sheet(report: &Report, facts: &Facts, has_cover: bool) -> Element {
    let class = if weight(report, facts, has_cover) > ROOMY {
        "sheet close"
    } else {
        "sheet"
    };
    el("article").class(class).with("id", id(facts))
}

/// Lines beyond those that every sheet has.
fn weight(report: &Report, facts: &Facts, has_cover: bool) -> usize {
    let has_shop = !has_cover && !report.asked.letterhead.is_blank();
    let letterhead = if has_shop { LETTERHEAD } else { 0 };
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
    let signature = match &report.key {
        Some(_) if !has_cover => SIGNATURE,
        _ => 0,
    };
    let job = if spec.job.is_some() { 3 } else { 0 };
    let papers = spec.instruments.iter();
    let papers = papers.filter(|known| known.papers != Papers::default());
    readings
        + fallen
        + spec.axes.len()
        + warnings
        + job
        + papers.count()
        + letterhead
        + signature
        + answers::lines(facts)
        + copies::lines(facts)
        + remarks::lines(facts)
}

/// The parts of a series, with headings of this level. What the cover says is left out.
fn parts(report: &Report, facts: &Facts, level: usize, has_cover: bool) -> Vec<Element> {
    let [only, one_of_several] = FULL;
    let most = if has_cover { one_of_several } else { only };
    let is_full = weight(report, facts, has_cover) > most;
    let pictures = copies::part(report, facts, level);
    let (beside, apart) = match pictures {
        Some(pictures) if is_full => (None, Some(el("div").class("apart").child(pictures))),
        pictures => (pictures, None),
    };
    let parts = [
        Some(required::part(facts, level)),
        Some(found::part(facts, level)),
        answers::part(facts, level),
        beside,
        Some(used::part(facts, level)),
        remarks::part(facts, level, has_cover),
        apart,
    ];
    parts.into_iter().flatten().collect()
}
