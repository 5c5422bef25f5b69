//! The page of a report: the order of its parts.
//!
//! A series is one sheet of paper: what was required, every reading, what it was measured with, and a line for a
//! signature. Several series have a cover before them, with what is said once for all. The appendix, where it was
//! requested, follows every sheet.

mod answers;
mod appendix;
mod closing;
mod comparison;
mod copies;
mod cover;
mod figures;
mod found;
mod head;
mod production;
mod qualified;
mod readings;
mod recomputed;
mod remarks;
mod required;
mod sheet;
mod table;
mod used;

pub(super) use found::capital;

use super::facts::Facts;
use super::{HEAD, Report, data, run_line, words};
use crate::drawings;
use crate::markup::{Element, Node, Written, el, free};
use crate::stats::picture::shapes::STYLE as STYLE_OF_PICTURES;

const STYLE: &str = include_str!("../style.css");
/// The policy of a page without pictures: nothing may be loaded or run, whatever the page contains.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";
/// The addition for logo and copies, which are embedded. As pictures they cannot run anything.
const WITH_PICTURES: &str = "; img-src data:";
/// The text before the address of the logo.
pub(super) const LOGO: &str = "<img class=\"logo\" src=\"";

/// The page as text, and what each part of it is about.
pub(super) fn written(report: &Report) -> Written {
    let title = title(report);
    let has_pictures = report.asked.letterhead.logo.is_some() || !report.asked.copies.is_empty();
    let is_checkable = report.asked.lines.is_some();
    let mut policy = POLICY.to_owned();
    if has_pictures {
        policy.push_str(WITH_PICTURES);
    }
    if is_checkable {
        policy.push_str(recomputed::policy());
    }
    let head = el("head")
        .about("the head of the page")
        .child(el("meta").with("charset", "utf-8"))
        .child(
            el("meta")
                .with("http-equiv", "Content-Security-Policy")
                .with("content", policy),
        )
        .child(
            el("meta")
                .with("name", "viewport")
                .with("content", "width=device-width, initial-scale=1"),
        )
        .child(el("title").text(title.as_str()).about("the title"))
        .child(el("style").raw(style(report)).about("the style sheet"));
    let main = match &report.asked.lines {
        Some(lines) => {
            of_series(report, el("main").child(recomputed::found())).child(recomputed::lines(lines))
        }
        None => of_series(report, el("main")),
    };
    let body = el("body")
        .child(main)
        .child(
            el("script")
                .with("type", "application/json")
                .with("id", data::ID)
                .raw(data::text(&data::value(report)))
                .about("the data for programs"),
        )
        .children(is_checkable.then(recomputed::script));
    let root = el("html").with("lang", "en").child(head).child(body);
    if is_checkable {
        Written::naming(HEAD, &root)
    } else {
        Written::new(HEAD, &root)
    }
}

/// The style of every page.
const STYLE_OF_ALL: &[&str] = &["\n", STYLE, STYLE_OF_PICTURES];
/// The styles of some pages, in the order of the style sheet.
const STYLES_OF_SOME: [&[&str]; 3] = [
    &[run_line::STYLE],
    &[copies::STYLE],
    &[answers::STYLE, drawings::STYLE],
];

/// The style sheet: the style of all pages, those that this page needs, and the foot of the paper.
fn style(report: &Report) -> String {
    let is_checkable = report.asked.lines.is_some();
    let has = [
        report.run.is_some(),
        copies::any(report),
        answers::any_drawn(report),
    ];
    let of_some = has.into_iter().zip(STYLES_OF_SOME);
    let of_some = of_some.filter(|(has, _)| *has).map(|(_, parts)| parts);
    let mut style = STYLE_OF_ALL.concat();
    if is_checkable {
        style.push_str(recomputed::STYLE);
    }
    for parts in of_some {
        style.push_str(&parts.concat());
    }
    style + &paper(report)
}

/// The foot of every sheet of paper, so that a lost sheet can be put back: `Series 23 · made 2026-11-29 20:10 +00:00 ·
/// journal 0123abcd`. It is part of the style sheet, so it has only digits and our own words.
fn paper(report: &Report) -> String {
    let made = report.asked.made.local_minute(&report.asked.zone);
    let of = match (&report.run, &report.series[..]) {
        _ if report.qualified.is_some() => "Qualifications".to_owned(),
        (Some(run), _) => format!("Run {}", run.id),
        (None, [only]) => format!("Series {}", only.record.series.id),
        (None, several) => format!("Report of {}", words::series(several.len())),
    };
    let journal = report.journal.0.chars();
    let journal = journal.filter(char::is_ascii_hexdigit).take(8);
    let journal: String = journal.collect();
    let size = report.asked.letterhead.page_size;
    let size = size.map(|size| format!("size: {}; ", size.name()));
    let size = size.unwrap_or_default();
    format!(
        "@page {{ {size}@bottom-left {{ content: \"{of} · made {made} · journal {journal}\" }} }}\n"
    )
}

/// `Series 37, QF-250-F on 2.0 mm²: accepted`, for the window and the list of files.
fn title(report: &Report) -> String {
    if let Some(qualified) = &report.qualified {
        return format!("Qualifications: {}", qualified::in_words(qualified));
    }
    if let Some(run) = &report.run {
        return format!(
            "Run {}, {}: {}",
            run.id,
            run.settings.id,
            production::in_words(run)
        );
    }
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

/// `Compared by tool: T-07, R-02`, `Job 4711, pump harness`, or the number of series.
fn heading_of_several(report: &Report, series: usize) -> String {
    let compare = report.asked.compare.as_ref();
    let Some((compare, first)) = compare.zip(report.compared.first()) else {
        return match head::shared_job(report) {
            Some(job) => {
                let item = job.item.iter().map(|item| format!(", {item}"));
                format!("Job {}{}", job.id, item.collect::<String>())
            }
            None => format!("Report of {}", words::series(series)),
        };
    };
    let names: Vec<&str> = first.groups.iter().map(|(name, _)| name.as_str()).collect();
    format!("Compared by {}: {}", compare.by.name(), names.join(", "))
}

/// `QF-250-F on 2.0 mm²`: a name and the rest.
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

/// The sheets, and the appendix.
fn of_series(report: &Report, mut main: Element) -> Element {
    if let Some(qualified) = &report.qualified {
        return main.child(qualified::sheet(report, qualified));
    }
    let is_alone = report.compared.is_empty() && report.run.is_none();
    if let ([only], true) = (&report.series[..], is_alone) {
        main = main.child(sheet::only(report, only));
        if report.asked.full {
            main = main.child(appendix::of_series(report, only, 2));
        }
    } else {
        main = main.child(match &report.run {
            Some(run) => production::sheet(report, run),
            None => cover::cover(report),
        });
        for facts in &report.series {
            main = main.child(sheet::one_of_several(report, facts));
            if report.asked.full {
                main = main.child(appendix::of_series(report, facts, 3));
            }
        }
    }
    if report.asked.full {
        return main.child(appendix::by_hand(report));
    }
    main
}

/// The beginning of all ids of a series.
fn id(facts: &Facts) -> String {
    format!("s{}", facts.record.series.id)
}

/// The name of the series in a difference.
fn about(facts: &Facts) -> String {
    format!("series {}", facts.record.series.id)
}

/// A heading of this level.
fn heading(level: usize, text: impl Into<Node>) -> Element {
    let name = match level {
        1 => "h1",
        2 => "h2",
        3 => "h3",
        _ => "h4",
    };
    el(name).child(text)
}

/// A part of a sheet: its name in the margin, its text beside it.
fn part(level: usize, name: &str, said: impl IntoIterator<Item = Element>) -> Element {
    el("section")
        .class("part")
        .child(heading(level, name))
        .child(el("div").children(said))
}

/// Labels with their texts.
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
}
