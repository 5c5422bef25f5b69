//! The additional parts of a checkable page: at its head the findings of its script, at its end the lines of the
//! journal and the script.
//!
//! The page's policy allows only this script, by its digest. Only differences are printed on paper.

use super::{STYLE_OF_ALL, STYLES_OF_SOME, heading};
use crate::entry::line::Digest;
use crate::markup::{Element, el, free};
use crate::report::Lines;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use std::sync::LazyLock;

/// The parts of the script that recompute the page.
const CHECK: &[&str] = &[
    include_str!("../checkable/journal.js"),
    include_str!("../checkable/page.js"),
    include_str!("../checkable/words.js"),
    include_str!("../checkable/numbers.js"),
    include_str!("../checkable/figures.js"),
    include_str!("../checkable/capability.js"),
    include_str!("../checkable/charts.js"),
    include_str!("../checkable/compare.js"),
    include_str!("../checkable/runs.js"),
    include_str!("../checkable/order.js"),
    include_str!("../checkable/series.js"),
    include_str!("../checkable/subject.js"),
    include_str!("../checkable/check.js"),
];
/// The part that runs them in the reader's browser, and shows the findings.
const SHOW: &str = include_str!("../checkable/show.js");
pub(super) const STYLE: &str = include_str!("../checkable/checkable.css");

/// The script: the same on every page.
static SCRIPT: LazyLock<String> =
    LazyLock::new(|| format!("\n{}\n{}\n{SHOW}", CHECK.join("\n"), styles()));
/// The page's policy: it allows only the script.
static POLICY: LazyLock<String> = LazyLock::new(|| {
    let digest = STANDARD.encode(Digest::of(SCRIPT.as_bytes()).bytes());
    format!("; script-src 'sha256-{digest}'")
});

pub(super) fn policy() -> &'static str {
    &POLICY
}

/// The parts of our style sheets: length, SHA-256, and whether every page has it.
fn styles() -> String {
    let of_all = [STYLE_OF_ALL.concat(), STYLE.to_owned()].concat();
    let of_some = STYLES_OF_SOME.iter().map(|parts| (parts.concat(), false));
    let parts = std::iter::once((of_all, true)).chain(of_some);
    let known = parts.map(|(style, is_always)| {
        let length = style.encode_utf16().count();
        let digest = Digest::of(style.as_bytes());
        format!("[{length}, \"{digest}\", {is_always}]")
    });
    let known: Vec<String> = known.collect();
    format!("const STYLES = [{}];\n", known.join(", "))
}

/// The place at the head for the findings of the script. Its text is what a reader sees if the script does not run.
pub(super) fn found() -> Element {
    el("section")
        .class("recomputed")
        .with("id", "recomputed")
        .with("aria-label", "Recomputed in this browser")
        .about("the place of what the browser recomputes")
        .child(el("p").text(
            "This page has not recomputed itself: its script did not run in this program. Everything on it can be read even so; tallyjaw verify FILE compares it with the journal.",
        ))
}

/// The lines at the end of the page.
pub(super) fn lines(lines: &Lines) -> Element {
    let section = el("section")
        .class("journal-lines")
        .about("the journal's lines")
        .child(heading(2, "The journal's lines"));
    let Some((first, last)) = lines.ends() else {
        return section;
    };
    let others = lines.others();
    let said = el("p").class("small").text(format!(
        "Entries {first} to {last} as the bench wrote them, byte for byte, from which this page recomputes what it says. "
    ));
    let said = if others.is_empty() {
        said.text("They are about nothing but the series above, their station and the bench.")
    } else {
        said.text("A chain has no gaps, so there are also lines of: ")
            .child(free(others))
            .text(".")
    };
    let mut all = el("pre")
        .with("id", "journal-lines")
        .with("tabindex", "0")
        .with("dir", "ltr");
    for (seq, line) in lines.all() {
        all = all
            .child(
                el("code")
                    .about(format!("entry {seq}, its line"))
                    .raw(escaped(line)),
            )
            .raw("\n".to_owned());
    }
    let summary = el("summary").text(format!("Show entries {first} to {last}"));
    section
        .child(said)
        .child(el("details").child(summary).child(all))
}

/// A line as text of the page. Every character must be restored when it is read, so none is replaced by an escape.
fn escaped(line: &str) -> String {
    let line = line.replace('&', "&amp;").replace('<', "&lt;");
    line.replace('>', "&gt;")
}

pub(super) fn script() -> Element {
    el("script").about("the script").raw(SCRIPT.clone())
}
