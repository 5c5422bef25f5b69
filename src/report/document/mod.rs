//! The page of a report: which part stands where.

mod asked;
mod closing;
mod comparison;
mod figures;
mod found;
mod table;
mod used;

use super::facts::Facts;
use super::{HEAD, Report, data, words};
use crate::entry::reservation;
use crate::markup::{Element, Node, Written, el, free};
use crate::quantity::WallMicros;
use crate::stats::picture::shapes::STYLE as STYLE_OF_PICTURES;
use table::{Table, td};

const STYLE: &str = include_str!("../style.css");
/// Nothing may be fetched or run, whatever stands in the page.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// The page as text, with what stands where.
pub(super) fn written(report: &Report) -> Written {
    let title = title(report);
    let head = el("head")
        .about("the head of the page")
        .child(el("meta").with("charset", "utf-8"))
        .child(
            el("meta")
                .with("http-equiv", "Content-Security-Policy")
                .with("content", POLICY),
        )
        .child(
            el("meta")
                .with("name", "viewport")
                .with("content", "width=device-width"),
        )
        .child(el("title").text(title.as_str()).about("the title"))
        .child(
            el("style")
                .raw(format!("\n{STYLE}{STYLE_OF_PICTURES}"))
                .about("the style sheet"),
        );
    let body = el("body")
        .child(header(report))
        .child(main(report))
        .child(footer(report))
        .child(
            el("script")
                .with("type", "application/json")
                .with("id", data::ID)
                .raw(data::text(&data::value(report)))
                .about("the data for programs"),
        );
    let root = el("html").with("lang", "en").child(head).child(body);
    Written::new(HEAD, &root)
}

/// `Series 37, QF-250-F on 2.0 mm²: accepted`, for the window and the list of files.
fn title(report: &Report) -> String {
    match &report.series[..] {
        [only] if report.compared.is_empty() => {
            let (name, said) = subject(only);
            let outcome = words::outcome(only.outcome()).0.to_lowercase();
            let beside = match only.reservations() {
                [] => "",
                _ => ", with reservations",
            };
            format!(
                "Series {}, {name}{said}: {outcome}{beside}",
                only.record.series.id
            )
        }
        several => heading_of_several(report, several.len()),
    }
}

/// `Compared by tool: T-07, R-02`, or how many series there are.
fn heading_of_several(report: &Report, series: usize) -> String {
    let compare = report.asked.compare.as_ref();
    let Some((compare, first)) = compare.zip(report.compared.first()) else {
        return format!("Report of {}", words::series(series));
    };
    let names: Vec<&str> = first.groups.iter().map(|(name, _)| name.as_str()).collect();
    format!("Compared by {}: {}", compare.by.name(), names.join(", "))
}

/// `QF-250-F on 2.0 mm²`: a name, and what is said of it.
fn subject(facts: &Facts) -> (String, String) {
    if let Some(crimp) = facts.record.series.spec.subject.crimp() {
        return (crimp.terminal.clone(), format!(" on {}", crimp.wire.area));
    }
    let names = facts.record.series.spec.instruments.iter();
    let names: Vec<&str> = names.map(|known| known.name.as_str()).collect();
    (names.join(" and "), " against gauge blocks".to_owned())
}

/// The same as parts of an element.
fn subject_nodes(facts: &Facts) -> [Node; 2] {
    let (name, said) = subject(facts);
    [free(name).into(), said.into()]
}

fn header(report: &Report) -> Element {
    let kind = el("p")
        .class("kind")
        .text("Report of measurements, judged as they were taken");
    let header = el("header").child(kind);
    let facts = facts_list(report);
    match &report.series[..] {
        [only] if report.compared.is_empty() => header
            .child(el("h1").children(subject_nodes(only)).about("the heading"))
            .child(banner(only, "the outcome"))
            .child(facts),
        several => header
            .child(
                el("h1")
                    .child(free(heading_of_several(report, several.len())))
                    .about("the heading"),
            )
            .children(comparison::sentences(report))
            .child(facts),
    }
}

/// The outcome in words, the first thing that is read.
fn banner(facts: &Facts, about: &str) -> Element {
    let (word, class, shape) = words::outcome(facts.outcome());
    el("p")
        .class(format!("outcome {class}"))
        .about(about)
        .child(table::shape(shape))
        .child(el("strong").text(word))
        .text(" ")
        .children(reservations(facts))
        .child(el("span").text(words::outcome_sentence(facts)))
}

/// What stands beside an outcome, wherever it is.
fn reservations(facts: &Facts) -> Vec<Node> {
    match facts.reservations() {
        [] => Vec::new(),
        some => {
            let said = format!("with reservations: {}", reservation::words(some));
            vec![el("em").class("reservations").text(said).into(), " ".into()]
        }
    }
}

fn facts_list(report: &Report) -> Element {
    let mut list = List::new("the head");
    if let [only] = &report.series[..] {
        list.put("Series", only.record.series.id.to_string());
        list.children(series_times(only));
    }
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
    list.element.class("head")
}

fn series_times(facts: &Facts) -> Vec<(&'static str, Node)> {
    let record = &facts.record;
    let mut shown: Vec<(&'static str, Node)> = vec![
        ("Station", free(record.series.spec.station.as_str()).into()),
        ("Opened", record.series.opened.local(&facts.zone).into()),
    ];
    let closed = record.series.closed.as_ref();
    let closed = closed.map_or("not yet".to_owned(), |closed| closed.at.local(&facts.zone));
    shown.push(("Closed", closed.into()));
    if !facts.operators.is_empty() {
        let who = facts.operators.join(", then ");
        shown.push(("Measured by", free(who).into()));
    }
    shown
}

fn main(report: &Report) -> Element {
    let mut main = el("main");
    if let ([only], true) = (&report.series[..], report.compared.is_empty()) {
        main = main
            .children(parts(only, 2))
            .children(used::warnings(only, 2));
    } else {
        if !report.compared.is_empty() {
            main = main.child(comparison::section(report));
        }
        main = main
            .child(overview(report))
            .children(used::warnings_of_all(report));
        for facts in &report.series {
            main = main.child(series(facts));
        }
    }
    main.child(closing::not_shown(report))
        .child(closing::how_to_check(report))
}

fn overview(report: &Report) -> Element {
    let heads = &["Series", "Opened", "Of what", "Tool", "Outcome", "Readings"];
    let mut table = Table::new("overview", "Every series of this report", heads);
    for facts in &report.series {
        let record = &facts.record;
        let (word, class, shape) = words::outcome(facts.outcome());
        let link = el("a")
            .with("href", format!("#{}", id(facts)))
            .text(record.series.id.to_string());
        table.row(
            &format!("the overview, series {}", record.series.id),
            vec![
                el("th").with("scope", "row").child(link),
                td(record.series.opened.local(&facts.zone)),
                el("td").children(subject_nodes(facts)),
                el("td").child(free(tool(facts))),
                el("td")
                    .class(class)
                    .child(table::shape(shape))
                    .text(format!("{word} "))
                    .children(reservations(facts)),
                td(words::tallied(facts)),
            ],
        );
    }
    el("section")
        .child(el("h2").text("Overview"))
        .child(table.element())
}

fn tool(facts: &Facts) -> String {
    let tool = facts.record.series.spec.tool.as_ref();
    tool.map_or_else(String::new, |tool| match &tool.nest {
        Some(nest) => format!("{}, nest {nest}", tool.id),
        None => tool.id.clone(),
    })
}

/// What ids of a series begin with.
fn id(facts: &Facts) -> String {
    format!("s{}", facts.record.series.id)
}

/// A series among several.
fn series(facts: &Facts) -> Element {
    let about = about(facts);
    let mut list = List::new(&about);
    list.children(series_times(facts));
    el("section")
        .class("series")
        .with("id", id(facts))
        .about(about.clone())
        .child(
            el("h2")
                .text(format!("Series {}: ", facts.record.series.id))
                .children(subject_nodes(facts)),
        )
        .child(banner(facts, &format!("{about}, the outcome")))
        .child(list.element.class("head"))
        .children(parts(facts, 3))
}

/// What a difference within a series is named by.
fn about(facts: &Facts) -> String {
    format!("series {}", facts.record.series.id)
}

/// The parts of a series, their headings at this level.
fn parts(facts: &Facts, level: usize) -> Vec<Element> {
    [
        Some(asked::section(facts, level)),
        Some(found::section(facts, level)),
        Some(used::section(facts, level)),
        figures::section(facts, level),
        found::events(facts, level),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A heading of this level.
fn heading(level: usize, text: impl Into<Node>) -> Element {
    let name = match level {
        2 => "h2",
        3 => "h3",
        _ => "h4",
    };
    el(name).child(text)
}

fn footer(report: &Report) -> Element {
    el("footer")
        .about("the foot of the page")
        .child(el("p").text(format!(
            "Made by tallyjaw {} on {} from journal {}, entries {} to {}. Times are local, with the offset from UTC.",
            report.asked.version,
            report.asked.made.local(&report.asked.zone),
            report.journal,
            report.first,
            report.last
        )))
}

/// Words with what they say.
struct List {
    about: String,
    element: Element,
}

impl List {
    fn new(about: &str) -> Self {
        Self {
            about: about.to_owned(),
            element: el("dl"),
        }
    }

    fn put(&mut self, word: &str, says: impl Into<Node>) {
        let about = format!("{}, {}", self.about, word.to_lowercase());
        let pair = el("div")
            .about(about)
            .child(el("dt").text(word))
            .child(el("dd").child(says));
        let list = std::mem::replace(&mut self.element, el("dl"));
        self.element = list.child(pair);
    }

    /// Text from outside.
    fn put_free(&mut self, word: &str, says: impl Into<String>) {
        self.put(word, free(says));
    }

    fn children(&mut self, pairs: Vec<(&'static str, Node)>) {
        for (word, says) in pairs {
            self.put(word, says);
        }
    }
}
