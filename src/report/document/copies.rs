//! The pictures of a series: microscope, cross-section, the harness.

use super::about;
use crate::entry::{Pictured, Seq};
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::copies::{MOST_ON_SHEET, pictured, subject};
use crate::report::facts::Facts;

/// The style of pictures, for pages that have pictures.
pub(super) const STYLE: &str = include_str!("copies.css");
/// Lines that a row of pictures takes on a sheet.
const LINES_OF_ROW: usize = 9;
/// Number of pictures side by side on paper.
const ACROSS: usize = 3;
/// Number of digits shown of a picture's SHA-256.
const DIGITS: usize = 12;

/// The pictures on the sheet; `None` where the series has none.
pub(super) fn part(report: &Report, facts: &Facts, level: usize) -> Option<Element> {
    let number = pictured(&facts.record).count();
    let shown = pictured(&facts.record).take(MOST_ON_SHEET);
    let mut said = vec![album(report, facts, shown)];
    let more = number.saturating_sub(MOST_ON_SHEET);
    if more > 0 {
        let what = if more == 1 { "picture" } else { "pictures" };
        let place = if report.asked.full {
            "the appendix has them"
        } else {
            "the report with --full has them"
        };
        let about = format!("{}, how many pictures are left out", about(facts));
        let text = format!("{more} more {what}: {place}.");
        said.push(el("p").class("fine").about(about).text(text));
    }
    (number > 0).then(|| super::part(level, "Pictures", said))
}

/// The pictures for which the sheet has no room, in the appendix.
pub(super) fn others(report: &Report, facts: &Facts, level: usize) -> Option<Element> {
    let mut others = pictured(&facts.record).skip(MOST_ON_SHEET).peekable();
    others.peek()?;
    let section = el("section").class("times");
    Some(
        section
            .child(super::heading(level, "More pictures"))
            .child(album(report, facts, others)),
    )
}

/// Lines that the pictures take on the sheet.
pub(super) fn lines(facts: &Facts) -> usize {
    let shown = pictured(&facts.record).count().min(MOST_ON_SHEET);
    shown.div_ceil(ACROSS) * LINES_OF_ROW
}

/// Whether the page of these series has pictures.
pub(super) fn any(report: &Report) -> bool {
    let mut all = report.series.iter();
    all.any(|facts| pictured(&facts.record).next().is_some())
}

fn album<'a>(
    report: &Report,
    facts: &Facts,
    shown: impl Iterator<Item = (Seq, &'a Pictured)>,
) -> Element {
    let figures = shown.map(|(seq, pictured)| figure(report, facts, seq, pictured));
    let figures: Vec<Element> = figures.collect();
    // a few pictures on a page of their own are larger
    let class = match figures.len() {
        1 => "album one",
        2..=4 => "album few",
        _ => "album",
    };
    el("div").class(class).children(figures)
}

fn figure(report: &Report, facts: &Facts, seq: Seq, pictured: &Pictured) -> Element {
    let of = subject(pictured);
    let about = format!("{}, picture of {of} (entry {seq})", about(facts));
    let seen = match report.asked.copies.data_url(seq) {
        // The caption says what the picture shows, so its alternative text is empty.
        Some(url) => el("img")
            .class("copy")
            .with("id", format!("p{seq}"))
            .with("src", url)
            .with("alt", ""),
        None => el("p")
            .class("copy")
            .text("The picture is missing at the time of the report."),
    };
    let digest: String = pictured.picture.to_string().chars().take(DIGITS).collect();
    let size = format!("{} × {} pixels, ", pictured.width_px, pictured.height_px);
    let caption = el("figcaption")
        .child(el("strong").text(super::capital(&of)))
        .text(format!(", entry {seq}: "))
        .child(free(pictured.file_name.as_str()))
        .text(format!(", {size}SHA-256 "))
        .child(el("code").text(format!("{digest}…")));
    el("figure").about(about).child(seen).child(caption)
}
