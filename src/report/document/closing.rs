//! What a report does not show, and how anyone can check what it does.

use super::List;
use crate::markup::{Element, el};
use crate::report::Report;
use crate::report::facts::is_pull;

/// The chain without tallyjaw; as `verify` prints it, a test runs it.
const COMMON_TOOLS: &str = include_str!("../../cli/verify_chain.sh");

pub(super) fn not_shown(report: &Report) -> Element {
    let specs = || report.series.iter().map(|facts| &facts.record.series.spec);
    let is_of_blocks = report.series.iter().any(super::Facts::is_of_blocks);
    let is_of_crimps = report.series.iter().any(|facts| !facts.is_of_blocks());
    let is_of_pulls = specs().any(|spec| spec.axes.iter().any(is_pull));
    let mut items = Vec::new();
    if is_of_crimps {
        items.push("This report is about the pieces that were measured, and no others.");
        items.push(if is_of_pulls {
            "A pull test shows the strength of the pieces that it destroyed. It replaces neither crimp height and width nor the cross-section that the maker of the terminal asks for."
        } else {
            "Height and width are not the whole proof of a crimp. Without the pull test and the cross-section that the maker of the terminal asks for, they show that the tool pressed to the size, not that the joint holds or conducts."
        });
        items.push("The maker's sheet and the codes that apply where the harness is used decide. Where they differ from the limits above, they apply. Where a failing crimp can hurt someone or damage something, have it judged by who is qualified for it.");
    }
    if is_of_blocks {
        items.push("A verification against gauge blocks is no calibration; the certificates of instrument and blocks are not looked at here.");
    }
    items.push("What the shop configured is taken as it was configured: limits, maximum permissible errors, dates of calibration and checks. Who measured and which tool was in the hand is what was said at the bench.");
    items.push("No accreditation is claimed, and this is no certificate.");
    el("section")
        .class("caution")
        .about("what it does not show")
        .child(el("h2").text("What this does not show"))
        .child(el("ul").children(items.into_iter().map(|item| el("li").text(item))))
}

pub(super) fn how_to_check(report: &Report) -> Element {
    let mut list = List::new("how to check it");
    list.put("Journal", el("code").text(report.journal.to_string()));
    list.put("Entries", format!("{} to {}", report.first, report.last));
    list.put(
        format!("SHA-256 of entry {}", report.last).as_str(),
        el("code").text(report.digest.to_string()),
    );
    let lines = report.last.0 - report.first.0 + 1;
    let by_hand =
        COMMON_TOOLS.replace("cat *.jsonl |", &format!("cat *.jsonl | head -n {lines} |"));
    el("section")
        .about("how to check it")
        .child(el("h2").text("How to check it"))
        .child(el("p").text(
            "Every value above was entered in a journal before anyone was shown it, and each entry names the SHA-256 of the one before. Whoever keeps the digest below can tell later whether anything before it was changed.",
        ))
        .child(list.element)
        .child(
            el("p")
                .text("Beside the journal, ")
                .child(el("code").text("tallyjaw verify FILE"))
                .text(" makes this page again from the entries and names every word, number and line of a picture that differs. The journal cannot vouch for three things: when the page was made, by which release, and which time zone and offset from UTC its times have. So every time has its offset beside it. Without tallyjaw, in the folder of the journal, this ends in the digest above:"),
        )
        .child(el("pre").child(code(&by_hand)))
}

/// Lines that stay lines.
fn code(text: &str) -> Element {
    let mut code = el("code");
    for (at, line) in text.trim_end().lines().enumerate() {
        let before = if at == 0 { "" } else { "\n" };
        code = code.raw(before.to_owned()).text(line);
    }
    code
}
