//! The figures of a series: its statistics, and what they show about the limits.

use super::found::capital;
use super::table::{Table, td, th};
use super::{about, heading};
use crate::markup::{Element, el, free};
use crate::report::facts::{self, Facts};
use crate::spec::ArmedAxis;
use crate::stats::capability::{Capability, Claim, FIGURES, PULL_FIGURES};
use crate::stats::chart::{CHARTS, Groups, Input, Memory, draw, usual_rules};
use crate::stats::picture::{self, Histogram};
use crate::stats::text::{self, Digits, Shown};
use crate::stats::{Limits, Sample, describe, rounding};

/// With fewer readings a histogram shows no shape (common practice, no source).
const FEWEST_OF_HISTOGRAM: u64 = 10;
/// With fewer readings the limits of a chart are not reliable (common practice, no source).
const FEWEST_OF_CHART: u64 = 20;
/// A chart of more points than this shows only the last ones.
const CHART: &str = "individuals";

/// The figures of each axis.
pub(super) fn parts(facts: &Facts, level: usize) -> Vec<Element> {
    if facts.is_of_blocks() {
        return Vec::new();
    }
    let axes = facts.record.series.spec.axes.iter().enumerate();
    let parts: Vec<Element> = axes
        .filter_map(|(at, axis)| of_axis(facts, axis, at, level))
        .collect();
    if parts.is_empty() {
        return parts;
    }
    let lead = el("p").class("fine").text(
        "Of the readings that count. A dash is a figure without a value, with the reason. From and To are a 95 % confidence interval.",
    );
    std::iter::once(lead).chain(parts).collect()
}

fn of_axis(facts: &Facts, axis: &ArmedAxis, at: usize, level: usize) -> Option<Element> {
    let sample = facts.sample(axis).ok()?;
    if sample.count() == 0 {
        return None;
    }
    let words = axis.name.words();
    let id = format!("s{}-f{at}", facts.record.series.id);
    let about = format!("{}, figures of {words}", about(facts));
    let section = el("section")
        .class("axis")
        .child(heading(level, free(format!("Figures of {words}"))));
    Some(section.children(figures(&id, &about, &words, &sample, axis)))
}

/// The sentence, the table and the pictures of one sample.
fn figures(id: &str, about: &str, words: &str, sample: &Sample, axis: &ArmedAxis) -> Vec<Element> {
    let (all, limits) = (sample.summary(), facts::limits(axis));
    let capability = Capability::of_singles(sample, limits);
    let (digits, claim) = (Digits::of(all), capability.claim());
    let shown = if facts::is_pull(axis) {
        text::all(PULL_FIGURES, &capability)
    } else {
        text::all(FIGURES, &capability)
    };
    let mut parts = vec![
        el("p")
            .about(format!("{about}, the sentence"))
            .text(format!("{}.", capital(&claim.sentence))),
        grounds(about, &claim),
    ];
    let described = text::all(describe::FIGURES, all);
    let beside = described.iter().chain(
        shown
            .iter()
            .filter(|figure| !described.iter().any(|known| known.name == figure.name)),
    );
    parts.push(table(
        &format!("Figures of {words}"),
        about,
        &beside.copied().collect::<Vec<_>>(),
        digits,
    ));
    let warnings = rounding::warnings(all, &limits);
    if !warnings.is_empty() {
        let items = warnings
            .iter()
            .map(|warning| el("li").text(capital(warning.words)));
        parts.push(
            el("ul")
                .class("fine")
                .about(format!("{about}, remarks"))
                .children(items),
        );
    }
    parts.extend(pictures(id, words, sample, &limits, digits));
    parts
}

/// The preconditions of a claim about the limits.
fn grounds(about: &str, claim: &Claim) -> Element {
    let items = claim.worth_stating().map(|ground| {
        let holds = if ground.holds { "holds" } else { "fails" };
        el("li").text(format!("{holds}: {}", ground.finding))
    });
    el("ul")
        .class("fine")
        .about(format!("{about}, preconditions"))
        .children(items)
}

pub(super) fn table(caption: &str, about: &str, shown: &[Shown], digits: Digits<'_>) -> Element {
    let heads = &["Figure", "Value", "From", "To"];
    let mut table = Table::new("figures", caption, heads);
    for line in text::lines(shown, digits) {
        let name = th(line.words);
        let about = format!("{about}, {}", line.words);
        match (line.value, line.bounds) {
            (Ok(written), Some((low, high))) => {
                table.row(
                    &about,
                    vec![name, number(written), number(low), number(high)],
                );
            }
            (Ok(written), None) => {
                table.row(&about, vec![name, number(written), td(""), td("")]);
            }
            (Err(reason), _) => {
                let why = el("td")
                    .class("why")
                    .with("colspan", "3")
                    .text(format!("– {reason}"));
                table.row(&about, vec![name, why]);
            }
        }
    }
    table.element()
}

fn number(text: String) -> Element {
    el("td").class("n").text(text)
}

fn pictures(
    id: &str,
    words: &str,
    sample: &Sample,
    limits: &Limits,
    digits: Digits<'_>,
) -> Vec<Element> {
    let all = sample.summary();
    let mut drawn = Vec::new();
    if sample.count() >= FEWEST_OF_HISTOGRAM {
        let title = format!("Histogram of {words}");
        let histogram = Histogram::new(all, limits);
        drawn.extend(histogram.map(|histogram| {
            let svg = histogram.picture(&title).element(&format!("{id}h"));
            figure(svg, &title)
        }));
    }
    if sample.count() >= FEWEST_OF_CHART {
        let title = format!("Control chart of {words}");
        drawn.extend(chart(&format!("{id}c"), &title, sample, digits));
    }
    if drawn.is_empty() {
        let few = format!(
            "Too few readings for a histogram (from {FEWEST_OF_HISTOGRAM}) or a control chart (from {FEWEST_OF_CHART})."
        );
        drawn.push(el("p").class("fine").text(few));
    }
    drawn
}

fn chart(id: &str, title: &str, sample: &Sample, digits: Digits<'_>) -> Option<Element> {
    let singles = Sample::from_bases(sample.bases().to_vec(), sample.unit()).ok()?;
    let input = Input {
        groups: &Groups::singles(&singles),
        baseline: None,
        kept: None,
        memory: Memory::default(),
    };
    let kind = CHARTS.iter().find(|kind| kind.name == CHART)?;
    let chart = draw(kind, &input).ok()?;
    let rules = usual_rules();
    let digits = (digits.places, sample.unit());
    let svg = picture::chart(title, &chart, &rules, digits).element(id);
    let caption = format!(
        "{title}. {}. Control limits come from the readings, not from the sheet. ■ marks a signal of a run rule.",
        capital(&chart.sentence(&rules))
    );
    Some(figure(svg, &caption))
}

fn figure(svg: Element, caption: &str) -> Element {
    el("figure")
        .child(svg)
        .child(el("figcaption").child(free(caption)))
}
