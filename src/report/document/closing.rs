//! What a report does not show, how anyone can check what it shows, and a line for a signature.

use super::List;
use crate::entry::seal::check_by_hand;
use crate::markup::{Element, el};
use crate::report::Report;
use crate::report::facts::is_pull;

pub(super) fn not_shown(report: &Report, level: usize) -> Element {
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
        items.push("A verification against gauge blocks is no calibration; the certificates of instrument and blocks are not checked here.");
    }
    items.push("What the shop configured is taken as it was configured: limits, maximum permissible errors, dates of calibration and checks. Who measured and which tool was in the hand is what was said at the bench.");
    items.push("No accreditation is claimed, and this is no certificate.");
    let items = items.into_iter().map(|item| el("li").text(item));
    super::part(
        level,
        "Not shown",
        [el("ul").class("run small").children(items)],
    )
    .about("what it does not show")
}

pub(super) fn how_to_check(report: &Report, level: usize) -> Element {
    let mut list = List::new("how to check it");
    list.put("Journal", el("code").text(report.journal.to_string()));
    list.put("Entries", format!("{} to {}", report.first, report.last));
    list.put(
        format!("SHA-256 of entry {}", report.last).as_str(),
        el("code").text(report.digest.to_string()),
    );
    let letterhead = if report.asked.letterhead.is_blank() {
        ""
    } else {
        "the letterhead, "
    };
    let said = el("p")
        .class("small")
        .child(el("code").text("tallyjaw verify FILE"))
        .text(format!(
            ", beside the journal, makes this page again from the entries and names every difference. The journal cannot vouch for {letterhead}when the page was made, by which release (it says tallyjaw {}), and which time zone and offset from UTC its times have; so every date has its offset beside it.",
            report.asked.version
        ));
    let said = std::iter::once(said).chain(report.key.as_deref().map(signature_by_hand));
    let said = std::iter::once(list.element.class("run small")).chain(said);
    super::part(level, "Check", said).about("how to check it")
}

/// How to check the signature beside the file. A page does not know the name of its file, nor where a reader keeps the
/// public key.
fn signature_by_hand(key: &str) -> Element {
    el("p")
        .class("small")
        .text("FILE.sig, where it was handed on with FILE, is its signature by the key of this bench. KEPT.allowed is the file with the public part of that key, had by another way than this page; its fingerprint is ")
        .child(el("code").text(key))
        .text(". Without tallyjaw: ")
        .child(el("code").text(check_by_hand("FILE", "FILE.sig", "KEPT.allowed")))
        .text(". A signature shows that somebody who had the key wrote these bytes; it does not show that they are true, or when they were written.")
}

/// Three lines to be filled in by hand.
pub(super) fn signature() -> Element {
    let lines = ["Name", "Signature", "Date"].map(|line| el("p").text(line));
    el("div")
        .class("signature")
        .about("the line for a signature")
        .children(lines)
}
