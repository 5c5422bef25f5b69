//! The appendix, if it is requested: everything for which the sheet of a series has no room.

use super::table::{Table, number, td, th, verdict};
use super::{about, answers, copies, figures, found, heading, remarks, used};
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::facts::Facts;
use crate::report::words;

/// Checks the chain without tallyjaw. `verify` prints the same text, and a test runs it.
const COMMON_TOOLS: &str = include_str!("../../cli/verify_chain.sh");

/// The appendix of one series.
pub(super) fn of_series(report: &Report, facts: &Facts, level: usize) -> Element {
    let id = facts.record.series.id;
    let mut appendix = el("section")
        .class("appendix")
        .child(heading(level, format!("Appendix to series {id}")));
    if !facts.is_of_blocks() {
        appendix = appendix.children(found::pictures(facts));
    }
    appendix
        .children(copies::others(report, facts, level + 1))
        .children(answers::drawn(facts, level + 1))
        .children(figures::parts(facts, level + 1))
        .child(el("section").class("times").children([
            heading(level + 1, "Times and entries"),
            times(facts),
            used::zeros_table(facts),
        ]))
        .children(used::ports(facts))
        .children(remarks::all(facts))
}

/// Every reading with its time and its entry, in the order of entries.
fn times(facts: &Facts) -> Element {
    let heads = &[
        "Entry",
        "Time",
        "Piece",
        "Axis",
        "Value",
        "Verdict",
        "By",
        "Instrument",
    ];
    let mut table = Table::new("times", "Every reading in the order of its entry", heads);
    for row in &facts.readings {
        let slot = row.slot();
        let piece = slot.map_or("–".to_owned(), |slot| slot.piece.to_string());
        let axis = slot.map_or("–".to_owned(), |slot| slot.axis.words());
        let said = match slot.zip(row.verdict()) {
            Some((slot, said)) => verdict(slot, said),
            None => td(row.standing().replace('_', " ")),
        };
        table.row(
            &format!("{}, reading {} in the appendix", about(facts), row.seq),
            vec![
                th(row.seq.to_string()),
                td(words::time_of_day(row.at, facts)),
                number(piece),
                el("td").child(free(axis)),
                number(row.reading.value.to_string()),
                said,
                el("td").child(free(row.operator.as_deref().unwrap_or("–"))),
                el("td").child(free(&*row.reading.instrument)),
            ],
        );
    }
    table.element()
}

/// How to check the journal without tallyjaw.
pub(super) fn by_hand(report: &Report) -> Element {
    let lines = report.last.0 - report.first.0 + 1;
    let by_hand =
        COMMON_TOOLS.replace("cat *.jsonl |", &format!("cat *.jsonl | head -n {lines} |"));
    el("section")
        .class("appendix")
        .about("how to check it without tallyjaw")
        .child(heading(2, "How to check it without tallyjaw"))
        .child(el("p").text(
            "Every value was entered in a journal before anyone was shown it, and each entry names the SHA-256 of the one before. Whoever keeps the digest of the last entry can tell later whether anything before it was changed. In the folder of the journal, this ends in that digest:",
        ))
        .child(el("pre").child(code(&by_hand)))
}

/// Text whose line breaks are kept.
fn code(text: &str) -> Element {
    let mut code = el("code");
    for (at, line) in text.trim_end().lines().enumerate() {
        let before = if at == 0 { "" } else { "\n" };
        code = code.raw(before.to_owned()).text(line);
    }
    code
}
