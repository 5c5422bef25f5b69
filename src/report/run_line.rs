//! The time line of a production run: its crimps from the first to the last, their disposition, and its samples.
//!
//! Crimps go from left to right in the order in which they were counted, so a change of the clock has no effect.
//! Dispositions differ by hatching and words, not only by colour.

use super::Report;
use crate::entry::production::fold::Says;
use crate::entry::production::history::{Fate, RunRecord, SampleRecord, Span};
use crate::markup::{Element, el};
use crate::stats::picture::shapes::{Ruler, px, upright, word};

/// The style of the time line, for pages that have one.
pub(super) const STYLE: &str = ".timeline rect.vouched { fill: #dbe6ee; stroke: var(--pass) }
.timeline rect.held { fill: url(#run-held); stroke: var(--fail); stroke-width: 2 }
.timeline rect.hatch { fill: #efc9c2 }
.timeline rect.settled { fill: #fff; stroke: var(--ink) }
.timeline rect.open { fill: #fff; stroke: var(--unsure); stroke-dasharray: 4 3 }
.timeline .good { fill: var(--pass); font-weight: 700 }
.timeline .bad { fill: var(--fail); font-weight: 700 }
.counts :is(th, td) { text-align: end }
";

/// Lengths in tenths of a pixel, as in the other pictures.
const WIDTH: i64 = 7200;
const HEIGHT: i64 = 1230;
const LEFT: i64 = 200;
const RIGHT: i64 = 7000;
/// Position of the band of crimps.
const TOP: i64 = 420;
const FOOT: i64 = 760;
/// Positions of the marks of samples, of the numbers below the band, and of the times below those.
const MARKS: i64 = 270;
const NUMBERS: i64 = 920;
const TIMES: i64 = 1100;
/// The smallest room for a number, a time, or the word of a span.
const APART: i64 = 560;
const WORD: i64 = 700;

/// The picture; `None` before a crimp is counted.
pub(super) fn time_line(report: &Report, run: &RunRecord) -> Option<Element> {
    if run.crimps == 0 {
        return None;
    }
    let scale = Ruler {
        from: 0,
        to: i64::try_from(run.crimps).unwrap_or(i64::MAX),
        begin: LEFT,
        end: RIGHT,
    };
    let spans = run.spans();
    let says = spans.iter().map(|span| {
        let (_, word) = look(span.fate);
        format!("{} to {} {word}", span.first, span.last)
    });
    let title = format!("Time line of run {}", run.id);
    let description = format!("Crimps {}", says.collect::<Vec<_>>().join(", "));
    Some(
        el("svg")
            .class("timeline")
            .with("viewBox", format!("0 0 {} {}", px(WIDTH), px(HEIGHT)))
            .with("role", "img")
            .with("aria-labelledby", "run-t run-d")
            .about("the time line")
            .child(el("title").with("id", "run-t").text(title))
            .child(el("desc").with("id", "run-d").text(description))
            .child(hatch())
            .children(spans.iter().flat_map(|span| band(span, scale)))
            .children(samples(report, run, scale)),
    )
}

/// The hatching of held crimps.
fn hatch() -> Element {
    el("defs").child(
        el("pattern")
            .with("id", "run-held")
            .with("width", "6")
            .with("height", "6")
            .with("patternUnits", "userSpaceOnUse")
            .with("patternTransform", "rotate(45)")
            .child(
                el("rect")
                    .class("hatch")
                    .with("width", "3")
                    .with("height", "6"),
            ),
    )
}

/// Class and word of a disposition.
const fn look(fate: Fate) -> (&'static str, &'static str) {
    match fate {
        Fate::Vouched => ("vouched", "vouched for"),
        Fate::Held(_) => ("held", "held"),
        Fate::Settled(_) => ("settled", "settled"),
        Fate::Open => ("open", "open"),
    }
}

fn place(crimps: u64, scale: Ruler) -> i64 {
    scale.at(i64::try_from(crimps).unwrap_or(i64::MAX))
}

/// A piece of the band, with its word if there is room.
fn band(span: &Span, scale: Ruler) -> Vec<Element> {
    let (class, said) = look(span.fate);
    let (from, to) = (
        place(span.first.saturating_sub(1), scale),
        place(span.last, scale),
    );
    let about = format!("the time line, crimps {} to {}", span.first, span.last);
    let mut drawn = vec![
        el("rect")
            .class(class)
            .with("x", px(from))
            .with("y", px(TOP))
            .with("width", px((to - from).max(10)))
            .with("height", px(FOOT - TOP))
            .about(about.clone()),
    ];
    if to - from >= WORD {
        let middle = from.midpoint(to);
        drawn.push(word("mid", middle, TOP.midpoint(FOOT) + 45, said).about(about));
    }
    drawn
}

/// The marks of the samples, with crimps and time below those that have room.
fn samples(report: &Report, run: &RunRecord, scale: Ruler) -> Vec<Element> {
    let mut drawn = Vec::new();
    let mut free = i64::MIN;
    let mut marked = i64::MIN;
    for sample in &run.samples {
        let x = place(sample.crimps, scale);
        let about = format!("the time line, series {}", sample.series);
        drawn.push(upright("axis", x, MARKS + 90, FOOT + 40).about(about.clone()));
        // Samples without a crimp between them stand beside each other.
        let beside = x.max(marked);
        marked = beside + 130;
        drawn.push(mark(sample, beside).about(about.clone()));
        if x < free {
            continue;
        }
        free = x + APART;
        let at = sample.at.local_minute(&report.asked.zone);
        let minute = at.get(11..16).unwrap_or(&at).to_owned();
        drawn.push(word("mid", x, NUMBERS, sample.crimps.to_string()).about(about.clone()));
        drawn.push(word("mid", x, TIMES, minute).about(about));
    }
    drawn
}

fn mark(sample: &SampleRecord, x: i64) -> Element {
    let (class, sign) = match sample.says {
        Says::Good => ("mid good", "✓"),
        Says::Bad => ("mid bad", "✗"),
        Says::Nothing => ("mid", "?"),
    };
    word(class, x, MARKS, sign)
}
