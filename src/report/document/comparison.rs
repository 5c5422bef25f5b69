//! Groups side by side, with the sentence of the study on top.

use super::found::capital;
use super::table::{Table, th};
use crate::markup::{Element, el, free};
use crate::report::Report;
use crate::report::comparison::Compared;
use crate::report::words;
use crate::spec;
use crate::stats::capability::{Capability, FIGURES as CAPABILITY};
use crate::stats::compare::{ANOVA_FIGURES, FIGURES, anova_of_independent};
use crate::stats::picture::Histogram;
use crate::stats::text::{self, Digits, Shown};
use crate::stats::{Limits, Sample, describe};

/// With fewer readings a histogram shows no shape (common practice, no source).
const FEWEST_OF_HISTOGRAM: u64 = 5;

/// The sentences of the comparison. They come first.
pub(super) fn sentences(report: &Report) -> Vec<Element> {
    let line = report.compared.iter().flat_map(|compared| {
        compared.comparisons.iter().map(|comparison| {
            let about = format!("the sentence on {}", compared.axis.words());
            let axis = capital(&compared.axis.words());
            el("p")
                .class("outcome plain")
                .about(about)
                .child(el("strong").child(free(axis)))
                .text(" ")
                .child(free(format!("{}.", capital(&comparison.sentence()))))
        })
    });
    line.collect()
}

/// The tables: every axis with its groups.
pub(super) fn parts(report: &Report) -> Vec<Element> {
    let full = report.asked.full;
    let parts = report.compared.iter().enumerate();
    let parts = parts.map(|(at, compared)| {
        let name = capital(&compared.axis.words());
        super::part(2, &name, axis(compared, at, full)).about("side by side")
    });
    parts.collect()
}

fn axis(compared: &Compared, at: usize, full: bool) -> Vec<Element> {
    let words = compared.axis.words();
    let mut parts = vec![groups(compared, &words)];
    let mut remarks = Vec::new();
    if compared.is_mixed {
        remarks.push(
            "These readings are of different terminals or wires: a difference may be theirs.",
        );
    }
    if !compared.is_of_one_nominal {
        remarks.push(
            "They are of different nominals, so their means are not compared; tallyjaw study compare --deviation compares deviations from nominal.",
        );
    }
    if compared.limits.is_none() {
        remarks.push("They were judged by different limits, so limits are left out here.");
    }
    let about = format!("{words} side by side, remarks");
    parts.extend(
        remarks
            .into_iter()
            .map(|remark| el("p").about(about.as_str()).text(remark)),
    );
    if !compared.is_of_one_nominal {
        return parts;
    }
    parts.push(pictures(compared, at, &words));
    if !full {
        return parts;
    }
    let digits = compared
        .groups
        .first()
        .map(|(_, sample)| Digits::of(sample.summary()));
    let Some(digits) = digits else {
        return parts;
    };
    if let [only] = &compared.comparisons[..] {
        let (first, second) = only.names();
        let caption = format!("{second} (second) against {first} (first)");
        parts.push(figures(&caption, &words, &text::all(FIGURES, only), digits));
    } else {
        let samples: Vec<Sample> = compared
            .groups
            .iter()
            .map(|(_, sample)| sample.clone())
            .collect();
        if let Ok(table) = anova_of_independent(&samples) {
            let caption = "All groups at once, by analysis of variance";
            parts.push(figures(
                caption,
                &words,
                &text::all(ANOVA_FIGURES, &table),
                digits,
            ));
        }
    }
    parts
}

fn limits(compared: &Compared) -> Limits {
    let known = compared.limits.as_ref();
    let end = |end: fn(&spec::Limits) -> Option<crate::quantity::Quantity>| known.and_then(end);
    Limits {
        lower: end(spec::Limits::lower),
        nominal: end(spec::Limits::nominal),
        upper: end(spec::Limits::upper),
    }
}

fn groups(compared: &Compared, words: &str) -> Element {
    let heads = &[
        "Group",
        "Readings",
        "Mean",
        "Standard deviation",
        "Minimum",
        "Maximum",
        "Ppk",
        "Lower confidence bound (95 %)",
    ];
    let limits = limits(compared);
    let asked = compared.limits.as_ref();
    let asked = asked.map_or(String::new(), |limits| format!("; limits {limits}"));
    let mut table = Table::new("groups", format!("Groups of {words}{asked}"), heads);
    for (name, sample) in &compared.groups {
        let all = sample.summary();
        let digits = Digits::of(all);
        let capability = Capability::of_singles(sample, limits);
        let mut shown = text::all(describe::FIGURES, all);
        shown.extend(text::all(CAPABILITY, &capability));
        let figure = |name: &&str| {
            let figure = shown.iter().find(|figure| figure.name == *name);
            match figure.map(|figure| (figure.kind, figure.value)) {
                Some((kind, Ok(value))) => el("td").class("n").text(digits.text(kind, value)),
                Some((_, Err(reason))) => el("td").class("why").text(format!("– {reason}")),
                None => el("td").text("–"),
            }
        };
        let mut cells = vec![
            th(free(name.as_str())),
            el("td").class("n").text(all.count().to_string()),
        ];
        cells.extend(
            ["mean", "sd", "min", "max", "ppk", "ppk_least"]
                .iter()
                .map(figure),
        );
        table.row(&format!("{words} side by side, {name}"), cells);
    }
    table.element()
}

/// The histograms of all groups, two in a row.
fn pictures(compared: &Compared, at: usize, words: &str) -> Element {
    let limits = limits(compared);
    let groups: Vec<_> = compared
        .groups
        .iter()
        .filter(|(_, sample)| sample.count() >= FEWEST_OF_HISTOGRAM)
        .collect();
    let summaries: Vec<_> = groups.iter().map(|(_, sample)| sample.summary()).collect();
    let histograms = Histogram::side_by_side(&summaries, &limits);
    let drawn = groups.iter().zip(&histograms).enumerate();
    let drawn = drawn.map(|(nth, ((name, sample), histogram))| {
        let title = format!("{name}: histogram of {words}");
        let id = format!("c{at}g{nth}");
        let svg = histogram.picture(&title).element(&id);
        let caption = el("figcaption").child(free(name.as_str()));
        let caption = caption.text(format!(", {}", words::count(nth_of(sample), "reading")));
        el("figure").child(svg).child(caption)
    });
    let class = if groups.len() > 2 { "pair" } else { "stacked" };
    el("div").class(class).children(drawn)
}

fn nth_of(sample: &Sample) -> usize {
    usize::try_from(sample.count()).unwrap_or(usize::MAX)
}

fn figures(caption: &str, words: &str, shown: &[Shown], digits: Digits<'_>) -> Element {
    super::figures::table(caption, &format!("{words} side by side"), shown, digits)
}
