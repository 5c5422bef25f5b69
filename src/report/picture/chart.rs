//! A control chart: a field a panel, points between centre and limits.

use super::{LEFT, RIGHT, Scale, beside, level, picture, px, word};
use crate::quantity::Unit;
use crate::report::node::{Element, el};
use crate::stats::chart::{Chart, Panel, Rule, rule};
use crate::stats::figures::millionths;
use std::fmt::Write as _;

const TOP: i64 = 300;
const FIELD: i64 = 1300;
const GAP: i64 = 560;
/// Points are smaller where there are more of them.
const CROWDED: usize = 150;

/// All panels with the signals of `rules`; `places` digits after the point, in `unit`.
pub(in crate::report) fn chart(
    id: &str,
    title: &str,
    chart: &Chart,
    rules: &[&'static Rule],
    (places, unit): (usize, Unit),
) -> Element {
    let panels = i64::try_from(chart.panels.len()).unwrap_or(1);
    let height = TOP + panels * FIELD + (panels - 1) * GAP + 260;
    let mut svg = picture(id, title, &description(chart, rules), height);
    let mut top = TOP;
    for panel in &chart.panels {
        svg = svg.children(fields(panel, rules, top, (places, unit)));
        top += FIELD + GAP;
    }
    svg
}

fn fields(
    panel: &Panel,
    rules: &[&'static Rule],
    top: i64,
    (places, unit): (usize, Unit),
) -> Vec<Element> {
    let ends = || {
        let points = panel.points.iter();
        points.flat_map(|point| {
            [
                Some(point.value),
                point.lower,
                Some(point.upper),
                Some(point.center),
            ]
            .into_iter()
            .flatten()
            .map(millionths)
        })
    };
    let scale = Scale {
        from: ends().min().unwrap_or(0),
        to: ends().max().unwrap_or(1),
        begin: top + FIELD,
        end: top,
    };
    let across = Scale {
        from: 0,
        to: 2 * i64::try_from(panel.points.len()).unwrap_or(i64::MAX / 2),
        begin: LEFT,
        end: RIGHT,
    };
    let mut drawn = vec![word("", LEFT, top - 90, panel.words)];
    if let Some(last) = panel.points.last() {
        let mut names = Vec::new();
        let lines = [
            ("upper", "limit", Some(last.upper)),
            ("centre", "aim", Some(last.center)),
            ("lower", "limit", last.lower),
        ];
        for (name, class, value) in lines {
            let Some(value) = value else { continue };
            let y = scale.at(millionths(value));
            let text = format!("{name} {value:.places$} {unit}");
            drawn.push(level(class, y).about(format!("the line of {text}")));
            names.push((y, text));
        }
        drawn.extend(beside(names));
    }
    let signals = panel.signals(rules);
    let size = if panel.points.len() > CROWDED { 16 } else { 30 };
    let mut run = String::new();
    let mut points = Vec::new();
    for (at, point) in panel.points.iter().enumerate() {
        let x = across.at(2 * i64::try_from(at).unwrap_or(0) + 1);
        let y = scale.at(millionths(point.value));
        let letter = if at == 0 { 'M' } else { 'L' };
        let _ = write!(run, "{letter}{} {}", px(x), px(y));
        let number = panel.first + at;
        let about = format!("point {number} of \"{}\"", panel.words);
        if signals.iter().any(|signal| signal.at == number) {
            let two = px(2 * size + 40);
            points.push(
                el("rect")
                    .class("signal")
                    .with("x", px(x - size - 20))
                    .with("y", px(y - size - 20))
                    .with("width", two.clone())
                    .with("height", two)
                    .about(about),
            );
        } else {
            let circle = el("circle")
                .class("point")
                .with("cx", px(x))
                .with("cy", px(y));
            points.push(circle.with("r", px(size)).about(about));
        }
        if at == 0 || at + 1 == panel.points.len() {
            points.push(word("mid", x, top + FIELD + 170, number.to_string()));
        }
    }
    drawn.push(
        el("path")
            .class("run")
            .with("d", run)
            .about(format!("the line through \"{}\"", panel.words)),
    );
    drawn.into_iter().chain(points).collect()
}

fn description(chart: &Chart, rules: &[&'static Rule]) -> String {
    let panels = chart.panels.iter().map(|panel| {
        let signals = panel.signals(rules);
        let told: Vec<String> = signals
            .iter()
            .filter_map(|signal| Some(format!("point {}: {}", signal.at, rule(signal.rule)?.words)))
            .collect();
        let told = if told.is_empty() {
            "no signal".to_owned()
        } else {
            told.join("; ")
        };
        format!("{}, {} points: {told}", panel.words, panel.points.len())
    });
    panels.collect::<Vec<_>>().join(". ")
}
