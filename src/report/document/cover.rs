//! The cover of several series: how each came out, and what is said once for all.

use super::table::{Table, shape, td};
use super::{
    List, closing, comparison, head, heading_of_several, id, part, remarks, subject_nodes,
};
use crate::entry::Outcome;
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::facts::Facts;
use crate::report::words;

pub(super) fn cover(report: &Report) -> Element {
    let several = report.series.len();
    let mut list = List::new("the head");
    if let Some(job) = head::shared_job(report) {
        head::of_job(job, &mut list);
    }
    head::made(report, &mut list);
    let mut cover = el("article")
        .class("sheet cover")
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
        .children(remarks::warnings_of_all(report))
        .child(closing::not_shown(report, 2))
        .child(closing::how_to_check(report, 2))
        .child(closing::signature())
}

/// `4 accepted, 1 rejected`.
fn outcomes(report: &Report) -> String {
    let kinds = Outcome::ALL.map(Some).into_iter().chain([None]);
    let said = kinds.filter_map(|kind| {
        let of = report.series.iter();
        let of = of.filter(|facts| facts.outcome() == kind).count();
        (of > 0).then(|| format!("{of} {}", words::outcome(kind).0.to_lowercase()))
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
        || "–".to_owned(),
        |tool| match &tool.nest {
            Some(nest) => format!("{}, nest {nest}", tool.id),
            None => tool.id.clone(),
        },
    )
}
