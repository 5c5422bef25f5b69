//! The sheet of the qualifications of a shop: every combination with its standing, and what is missing.

use super::table::{Table, number, shape, td, th};
use super::{List, closing, head, part};
use crate::entry::reservation;
use crate::markup::{Element, el, free};
use crate::qualification::{Cell, Lacking, Lapse, Standing};
use crate::quantity::Decimal;
use crate::report::Report;
use crate::report::qualified::QualifiedReport;
use crate::spec::WireSize;

/// The page.
pub(super) fn sheet(report: &Report, qualified: &QualifiedReport) -> Element {
    let mut sheet = el("article")
        .class("sheet cover")
        .child(head::letterhead(report, &combinations(qualified)))
        .child(el("h1").about("the heading").text("Qualifications"))
        .child(
            el("p")
                .class("outcome plain")
                .about("the outcome")
                .child(el("strong").text(super::capital(&in_words(qualified)))),
        )
        .child(facts(report, qualified))
        .child(part(2, "Combinations", [table(qualified), how_to_read()]).with("id", "series"));
    if let Some(remarks) = remarks(qualified) {
        sheet = sheet.child(part(2, "Remarks", [remarks]));
    }
    sheet
        .child(not_shown(qualified))
        .child(closing::how_to_check(report, 2))
        .child(closing::signature())
}

/// `2 shown, 1 not shown, 4 never tried`.
pub(super) fn in_words(qualified: &QualifiedReport) -> String {
    let counts = Standing::ALL.map(|standing| (qualified.count(standing), standing.words()));
    let counts = counts.into_iter().filter(|(count, _)| *count > 0);
    let words: Vec<String> = counts
        .map(|(count, words)| format!("{count} {words}"))
        .collect();
    match words.as_slice() {
        [] => "no combination".to_owned(),
        some => some.join(", "),
    }
}

fn combinations(qualified: &QualifiedReport) -> String {
    let count = qualified.matrix.cells().count();
    crate::report::words::count(count, "combination")
}

fn facts(report: &Report, qualified: &QualifiedReport) -> Element {
    let rule = &qualified.frame.rule;
    let mut list = List::new("the head");
    list.put("Pieces", format!("at least {}", rule.pieces));
    let ppk = Decimal::new(rule.ppk_hundredths.into(), 2);
    list.put("Ppk", format!("lower 95 % confidence bound at least {ppk}"));
    let pull = if rule.pull {
        "required, at or above the minimum"
    } else {
        "not required"
    };
    list.put("Pull tests", pull);
    list.put("Counts for", format!("{} months", rule.months));
    head::made(report, &mut list);
    list.element.class("head")
}

fn wire(wire: &WireSize) -> String {
    match &wire.gauge {
        None => wire.area.to_string(),
        Some(gauge) => format!("{} ({gauge} ga)", wire.area),
    }
}

/// The name of a row: `QF-250-F on 2.0 mm², T-07 2.0`.
fn name(cell: &Cell<'_>) -> String {
    let nest = cell
        .nest
        .map_or_else(String::new, |nest| format!(" {nest}"));
    format!(
        "{} on {}, {}{nest}",
        cell.terminal,
        wire(cell.wire),
        cell.tool
    )
}

fn table(qualified: &QualifiedReport) -> Element {
    let heads = &[
        "Terminal",
        "Wire",
        "Tool, nest",
        "Standing",
        "Pieces",
        "Ppk at least",
        "Lowest pull",
        "Minimum",
        "Since",
        "Until",
        "Series",
    ];
    let mut table = Table::new(
        "overview",
        "Every combination of terminal and wire with tool and nest",
        heads,
    );
    for cell in qualified.matrix.cells() {
        let found = cell.found;
        let dash = |text: Option<String>| text.unwrap_or_else(|| "–".to_owned());
        let pull = found.pull();
        let lowest = pull
            .and_then(|pull| pull.lowest)
            .map(|lowest| lowest.to_string());
        let minimum = pull.and_then(|pull| pull.limits.lower());
        let minimum = minimum.map(|minimum| minimum.to_string());
        let bound = found
            .worst()
            .map(|(_, bound)| Decimal::new(bound, 3).to_string());
        let series: Vec<String> = found.series().iter().map(ToString::to_string).collect();
        let series = Some(series.join(", ")).filter(|series| !series.is_empty());
        let nest = cell
            .nest
            .map_or_else(String::new, |nest| format!(" {nest}"));
        table.row(
            &name(&cell),
            vec![
                th(free(cell.terminal)),
                number(wire(cell.wire)),
                td("").child(free(format!("{}{nest}", cell.tool))),
                standing(&cell),
                number(dash(found.pieces().map(|pieces| pieces.to_string()))),
                number(dash(bound)),
                number(dash(lowest)),
                number(dash(minimum)),
                number(dash(found.on().map(|day| day.to_string()))),
                number(dash(found.until.map(|day| day.to_string()))),
                td(dash(series)),
            ],
        );
    }
    table.element()
}

fn how_to_read() -> Element {
    el("p").class("small").text(
        "Ppk at least is the lowest of the lower 95 % confidence bounds of its axes, rounded down. Days are those of UTC: of its oldest series, and the last one on which it counts.",
    )
}

fn standing(cell: &Cell<'_>) -> Element {
    let found = cell.found;
    let (class, mark) = match found.standing {
        Standing::Shown => ("pass", "✓"),
        Standing::NotShown => ("fail", "✗"),
        Standing::Lapsed => ("unsure", "?"),
        Standing::NeverTried => return td(found.standing.words()),
    };
    el("td")
        .class(class)
        .child(shape(mark))
        .text(found.standing.words())
}

/// What is missing, why a combination has lapsed, and reservations; `None` if there is none of these.
fn remarks(qualified: &QualifiedReport) -> Option<Element> {
    let mut list = el("ul").class("small");
    let mut is_empty = true;
    for cell in qualified.matrix.cells() {
        let missing = cell.found.missing.iter().map(Lacking::to_string);
        let lapses = cell.found.lapses.iter().map(Lapse::to_string);
        let reservations = &cell.found.reservations;
        let reserved = (!reservations.is_empty()).then(|| reservation::words(reservations));
        let reserved = reserved.map(|words| format!("reservations: {words}"));
        let why: Vec<String> = missing.chain(lapses).chain(reserved).collect();
        if !why.is_empty() {
            is_empty = false;
            let about = format!("{}, remarks", name(&cell));
            let item = el("li").about(about).child(free(name(&cell)));
            list = list.child(item.text(": ").child(free(why.join("; "))));
        }
    }
    for of in &qualified.left_out {
        is_empty = false;
        let nest = of
            .nest
            .as_ref()
            .map_or_else(String::new, |nest| format!(" {nest}"));
        let name = format!("{} on {}, {}{nest}", of.terminal, of.wire, of.tool);
        let item = el("li").about("what is left out").child(free(name));
        list = list.child(item.text(": has qualification series, and no row or column here"));
    }
    (!is_empty).then_some(list)
}

fn not_shown(qualified: &QualifiedReport) -> Element {
    let pull = if qualified.frame.rule.pull {
        "A pull test shows the strength of the pieces that it destroyed. It replaces no cross-section that the maker of the terminal asks for."
    } else {
        "Pull tests are not required by this rule. Height and width show that the tool pressed to the size, not that the joint holds or conducts."
    };
    let items = [
        "This report is about the pieces of qualification series. It does not show that later pieces are as good: samples of production do.",
        "An index presupposes a stable process with independent, normally distributed pieces. Each of these was tested for every index that is shown; a test that does not reject is no proof.",
        pull,
        "The rule, the limits of the sheets, and the checks of the tools are taken as the shop configured them. Which tool was in the hand is what was said at the bench.",
        "No accreditation is claimed, and this is no certificate.",
    ];
    let items = items.into_iter().map(|item| el("li").text(item));
    let list = el("ul").class("run small").children(items);
    part(2, "Not shown", [list]).about("what it does not show")
}
