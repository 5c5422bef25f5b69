//! The head of a sheet: letterhead, outcome, and the facts of who, what and when.

use super::{List, heading, subject_nodes, table};
use crate::entry::reservation;
use crate::letterhead::Logo;
use crate::markup::{Element, Node, el, free};
use crate::quantity::WallMicros;
use crate::report::Report;
use crate::report::facts::Facts;
use crate::report::words;
use crate::spec::{ArmedTool, Job, Material, ToolClass};

/// The largest size of a logo, in pixels of a screen: a third of the width of the paper, three lines high.
const LOGO_WITHIN: (u32, u32) = (190, 56);
const KIND: &str = "Report of measurements";

/// The first lines: the letterhead, the kind of document, and its subject.
pub(super) fn letterhead(report: &Report, number: &str) -> Element {
    let shop = &report.asked.letterhead;
    if shop.is_blank() {
        return line(el("p").class("kind").text(KIND), number);
    }
    let mut said = el("div").class("shop");
    if let Some(name) = &shop.name {
        said = said.child(el("p").class("name").child(free(name.as_str())));
    }
    if !shop.address.is_empty() {
        let lines = shop.address.iter().enumerate();
        let lines = lines.flat_map(|(nth, line)| {
            let between = if nth == 0 { "" } else { ", " };
            [Node::from(between), free(line.as_str()).into()]
        });
        said = said.child(el("p").class("address").children(lines));
    }
    let logo = shop.logo.as_ref().map(logo);
    el("div")
        .class("letterhead whole")
        .about("the letterhead")
        .children(logo)
        .child(said)
        .child(
            el("div")
                .class("what")
                .child(el("p").class("kind").text(KIND))
                .child(el("p").class("number").text(number)),
        )
}

/// The same in one line, on the sheets after a cover.
pub(super) fn letterhead_behind(report: &Report, number: &str) -> Element {
    let mut kind = el("p").class("kind");
    if let Some(name) = &report.asked.letterhead.name {
        kind = kind.child(free(name.as_str())).text(" · ");
    }
    line(kind.text(KIND), number)
}

fn line(kind: Element, number: &str) -> Element {
    el("div")
        .class("letterhead")
        .about("the letterhead")
        .child(kind)
        .child(el("p").class("number").text(number))
}

/// The logo. The shop's name is beside it, so its alternative text is empty.
fn logo(logo: &Logo) -> Element {
    let (width, height) = logo.fitted(LOGO_WITHIN);
    el("img")
        .class("logo")
        .with("src", logo.data_url())
        .with("alt", "")
        .with("width", width.to_string())
        .with("height", height.to_string())
}

/// `QF-250-F on 2.0 mm²`, and the outcome.
pub(super) fn title(facts: &Facts, level: usize, about: [&str; 2]) -> [Element; 2] {
    let [of_heading, of_outcome] = about;
    [
        heading(level, "")
            .children(subject_nodes(facts))
            .about(of_heading),
        outcome(facts, of_outcome),
    ]
}

/// The outcome in words. It comes first.
fn outcome(facts: &Facts, about: &str) -> Element {
    let (word, class, shape) = words::outcome(facts.outcome());
    el("p")
        .class(format!("outcome {class}"))
        .about(about)
        .child(table::shape(shape))
        .child(el("strong").text(word))
        .text(" ")
        .child(
            el("span")
                .children(reservations(facts))
                .text(words::outcome_sentence(facts)),
        )
}

/// What is shown beside an outcome, on the cover and on the sheet.
pub(super) fn reservations(facts: &Facts) -> Vec<Node> {
    match facts.reservations() {
        [] => Vec::new(),
        some => {
            let said = format!("with reservations: {}", reservation::words(some));
            vec![el("em").class("reservations").text(said).into(), " ".into()]
        }
    }
}

/// What was measured, for what, by whom and when.
pub(super) fn facts_list(report: &Report, facts: &Facts, about: &str) -> Element {
    let mut list = List::new(about);
    of_subject(facts, &mut list);
    of_work(facts, &mut list);
    if report.series.len() == 1 {
        made(report, &mut list);
    }
    list.element.class("head")
}

/// How the series were chosen, and when the page was made.
pub(super) fn made(report: &Report, list: &mut List) {
    let chosen = report.asked.query.iter();
    let chosen: Vec<String> = chosen
        .map(|(option, value)| {
            let is_time = matches!(option.as_str(), "--since" | "--until");
            let at = value.parse().ok().filter(|_| is_time);
            let local = at.map(|at: WallMicros| at.local(&report.asked.zone));
            format!("{option} {}", local.as_ref().unwrap_or(value))
        })
        .collect();
    if !chosen.is_empty() {
        list.put_free("Chosen by", chosen.join(" "));
    }
    list.put("Report made", report.asked.made.local(&report.asked.zone));
    if let Some(zone) = report.asked.zone.name() {
        list.put_free("Time zone", zone);
    }
}

fn of_subject(facts: &Facts, list: &mut List) {
    let spec = &facts.record.series.spec;
    if let Some(crimp) = spec.subject.crimp() {
        let name = spec.subject.sheet().and_then(|sheet| sheet.name.as_deref());
        let name = name.map_or(String::new(), |name| format!(", {name}"));
        list.put_free("Terminal", format!("{}{name}", crimp.terminal));
        list.put("Wire", words::wire(&crimp.wire));
    }
    let blocks = spec.subject.blocks().iter();
    let blocks: Vec<String> = blocks.map(ToString::to_string).collect();
    if !blocks.is_empty() {
        list.put("Gauge blocks", blocks.join(", "));
    }
    if let Some(tool) = &spec.tool {
        list.put_free("Tool", self::tool(tool));
        let check = check(tool);
        if !check.is_empty() {
            list.put("Tool’s check", check);
        }
        if let (Some(needs), ToolClass::Repair) = (&tool.needs, tool.class) {
            list.put_free("It needs, by the maker's sheet", needs.as_str());
        }
    }
    list.put("Purpose", words::purpose(spec.purpose));
    if facts.is_of_blocks() {
        list.put("Repeats", spec.pieces.to_string());
    } else {
        let order = words::order(spec.order);
        list.put("Pieces", format!("{}; {order}", spec.pieces));
    }
    if let Some(plan) = &spec.plan {
        list.put_free("Plan", plan.as_str());
    }
}

fn of_work(facts: &Facts, list: &mut List) {
    let record = &facts.record;
    if let Some(job) = &record.series.spec.job {
        of_job(job, list);
    }
    for (word, material) in [
        ("Terminal lot", Material::Terminal),
        ("Wire lot", Material::Wire),
    ] {
        let lots = record.series.lots_of(material);
        if !lots.is_empty() {
            list.put_free(word, lots.join(", then "));
        }
    }
    if !facts.operators.is_empty() {
        let who = facts.operators.join(", then ");
        list.put_free("Measured by", who);
    }
    list.put_free("Station", record.series.spec.station.as_str());
    list.put("Opened", record.series.opened.local(&facts.zone));
    let closed = record.series.closed.as_ref();
    let closed = closed.map_or("not yet".to_owned(), |closed| closed.at.local(&facts.zone));
    list.put("Closed", closed);
}

/// The job with its details.
pub(super) fn of_job(job: &Job, list: &mut List) {
    list.put_free("Job", job.id.as_str());
    let known = [
        ("Customer", &job.customer),
        ("Their reference", &job.reference),
        ("Item", &job.item),
        ("Serial number", &job.serial),
    ];
    for (word, said) in known {
        if let Some(said) = said {
            list.put_free(word, said.as_str());
        }
    }
}

/// The job, if all series of a report have the same.
pub(super) fn shared_job(report: &Report) -> Option<&Job> {
    let mut jobs = report.series.iter();
    let first = jobs.next()?.record.series.spec.job.as_ref()?;
    let is_same = |facts: &Facts| facts.record.series.spec.job.as_ref() == Some(first);
    jobs.all(is_same).then_some(first)
}

fn tool(tool: &ArmedTool) -> String {
    let class = match tool.class {
        ToolClass::Production => "production class",
        ToolClass::Repair => "repair class",
    };
    match &tool.nest {
        Some(nest) => format!("{}, {class}, nest {nest}", tool.id),
        None => format!("{}, {class}", tool.id),
    }
}

/// The check of a tool: the last one, the next one, and the crimps that it has made; empty if nothing is known.
fn check(tool: &ArmedTool) -> String {
    let care = &tool.care;
    let crimps = tool
        .crimps
        .map(|crimps| format!("{crimps} crimps made before this series"));
    let parts = [
        care.last_check.map(|day| format!("last on {day}")),
        care.check_due.map(|day| format!("good until {day}")),
        care.check_every_crimps
            .map(|every| format!("every {every} crimps")),
        crimps,
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(", ")
}
