//! The cover of several series: the outcome of each, and everything that is said once for all of them.

use super::table::{Table, shape, td};
use super::{
    List, closing, comparison, head, heading_of_several, id, part, remarks, subject_nodes,
};
use crate::entry::Outcome;
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::facts::Facts;
use crate::report::lane::lane;
use crate::report::words;
use crate::spec::Purpose;

pub(super) fn cover(report: &Report) -> Element {
    let several = report.series.len();
    let mut list = List::new("the head");
    if let Some(job) = head::shared_job(report) {
        head::of_job(job, &mut list);
    }
    head::made(report, &mut list);
    let pictures = pictures(report);
    let class = match pictures {
        Some(_) => "sheet cover short",
        None => "sheet cover",
    };
    let mut cover = el("article")
        .class(class)
        .child(head::letterhead(report, &words::series(several)))
        .child(
            el("h1")
                .child(free(heading_of_several(report, several)))
                .about("the heading"),
        );
    if report.compared.is_empty() {
        let outcomes = el("strong").text(outcomes(report));
        cover = cover.child(
            el("p")
                .class("outcome plain")
                .about("the outcomes")
                .child(outcomes),
        );
    }
    cover
        .children(comparison::sentences(report))
        .child(list.element.class("head"))
        .children(comparison::parts(report))
        .child(part(2, "Series", [overview(report)]).with("id", "series"))
        .children(pictures)
        .children(remarks::warnings_of_all(report))
        .child(closing::not_shown(report, 2))
        .child(closing::how_to_check(report, 2))
        .child(closing::signature())
}

/// Lines of a sheet that the table of series, the warnings and the pictures may take together.
const ROOM: usize = 32;
/// Number of pictures side by side, and the lines that they take.
const ACROSS: usize = 3;
const LINES_OF_PICTURES: usize = 5;

/// The readings of every series over their limits, if the cover has room for all of them; the signature then stands at
/// the foot of the sheet.
fn pictures(report: &Report) -> Option<Element> {
    let crimps = report.series.iter().filter(|facts| !facts.is_of_blocks());
    let pictured = crimps.flat_map(|facts| {
        let axes = facts.record.series.spec.axes.iter().enumerate();
        axes.filter_map(|(at, axis)| {
            let series = facts.record.series.id;
            let picture = lane(&format!("c{series}-l{at}"), facts, axis)?;
            let words = format!(", {}", axis.name.words());
            let caption = el("figcaption")
                .child(el("strong").text(format!("{series} ")))
                .children(subject_nodes(facts))
                .text(words.as_str());
            let about = format!("the cover, series {series}{words}");
            Some(el("figure").about(about).child(caption).child(picture))
        })
    });
    let pictured: Vec<Element> = pictured.collect();
    let warnings = remarks::of_all(report).len();
    let lines = report.series.len() + 2 * warnings;
    let rows = pictured.len().div_ceil(ACROSS);
    let has_room = lines + rows * LINES_OF_PICTURES <= ROOM;
    let is_shown = report.compared.is_empty() && !pictured.is_empty() && has_room;
    is_shown.then(|| {
        let class = match rows {
            1 => "lanes",
            _ => "lanes small",
        };
        let across = el("div").class(class).children(pictured);
        part(2, "Results", [across])
    })
}

/// `4 accepted, 1 rejected`.
fn outcomes(report: &Report) -> String {
    let kinds = Outcome::ALL.map(Some).into_iter().chain([None]);
    let said = kinds.filter_map(|kind| {
        let of = report.series.iter();
        let of: Vec<&Facts> = of.filter(|facts| facts.outcome() == kind).collect();
        let reserved = of.iter().filter(|facts| !facts.reservations().is_empty());
        let beside = match reserved.count() {
            0 => String::new(),
            all if all == of.len() => " with reservations".to_owned(),
            some => format!(" ({some} of them with reservations)"),
        };
        let word = words::outcome(kind).0.to_lowercase();
        (!of.is_empty()).then(|| format!("{} {word}{beside}", of.len()))
    });
    said.collect::<Vec<_>>().join(", ")
}

fn overview(report: &Report) -> Element {
    let heads = &["Series", "Opened", "Of what", "Tool", "Outcome", "Readings"];
    let mut table = Table::new("overview", "Every series of this report", heads);
    for facts in &report.series {
        let record = &facts.record;
        let (word, class, mark) = words::outcome(facts.outcome());
        let link = el("a")
            .with("href", format!("#{}", id(facts)))
            .text(record.series.id.to_string());
        table.row(
            &format!("the overview, series {}", record.series.id),
            vec![
                el("th").with("scope", "row").child(link),
                td(record.series.opened.local_minute(&facts.zone)),
                el("td").children(subject_nodes(facts)),
                el("td").child(free(tool(facts))),
                el("td")
                    .class(class)
                    .child(shape(mark))
                    .text(format!("{word} "))
                    .children(head::reservations(facts)),
                td(words::tallied(facts)),
            ],
        );
    }
    table.element()
}

fn tool(facts: &Facts) -> String {
    let tool = facts.record.series.spec.tool.as_ref();
    tool.map_or_else(
        || {
            let purpose = facts.record.series.spec.purpose;
            let is_reference = purpose == Purpose::Reference;
            if is_reference {
                "factory pieces"
            } else {
                "–"
            }
            .to_owned()
        },
        |tool| match &tool.nest {
            Some(nest) => format!("{}, nest {nest}", tool.id),
            None => tool.id.clone(),
        },
    )
}
