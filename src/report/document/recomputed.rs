//! What a checkable page has besides: at its head, what the script of the page found; at its end the lines of the journal,
//! and the script.
//!
//! Only this script may run, by its digest in the page's policy. On paper there is nothing of this, but for differences.

use super::heading;
use crate::entry::line::Digest;
use crate::markup::{Element, el, free};
use crate::report::Lines;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

/// Recomputes the page in the reader's browser.
const SCRIPT: &str = concat!(
    "\n",
    include_str!("../checkable/journal.js"),
    "\n",
    include_str!("../checkable/check.js"),
    "\n",
    include_str!("../checkable/show.js")
);
pub(super) const STYLE: &str = include_str!("../checkable/checkable.css");

/// What the page's policy allows: the script alone.
pub(super) fn policy() -> String {
    let digest = STANDARD.encode(Digest::of(SCRIPT.as_bytes()).bytes());
    format!("; script-src 'sha256-{digest}'")
}

/// The place at the head where the script says what it found. Without it, this stands there.
pub(super) fn found() -> Element {
    el("section")
        .class("recomputed")
        .with("id", "recomputed")
        .with("aria-label", "Recomputed in this browser")
        .about("the place of what the browser recomputes")
        .child(el("p").text(
            "This page has not recomputed itself: its script did not run in this program. Everything can be read all the same; tallyjaw verify FILE checks it beside the journal.",
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

/// A line as text of the page. Every character must come back as it was, so none is shown as an escape.
fn escaped(line: &str) -> String {
    let line = line.replace('&', "&amp;").replace('<', "&lt;");
    line.replace('>', "&gt;")
}

pub(super) fn script() -> Element {
    el("script").about("the script").raw(SCRIPT.to_owned())
}
