//! A control chart as SVG: a field a panel.

use super::scale;
use super::svg::Svg;
use crate::quantity::Unit;
use crate::stats::chart::{Chart, Rule, rule};
use crate::stats::sample::float_of;

/// All panels of `chart`, with the signals of `rules`; `places` digits after the point, in `unit`.
pub fn chart_svg(
    title: &str,
    chart: &Chart,
    rules: &[&'static Rule],
    (places, unit): (usize, Unit),
) -> String {
    let mut svg = Svg::new(title);
    for (at, panel) in chart.panels.iter().enumerate() {
        if at > 0 {
            svg.next_field();
        }
        let signals = panel.signals(rules);
        let ends = || {
            panel
                .points
                .iter()
                .flat_map(|point| {
                    [
                        Some(point.value),
                        point.lower,
                        Some(point.upper),
                        Some(point.center),
                    ]
                })
                .flatten()
        };
        let most = ends().fold(f64::NEG_INFINITY, f64::max);
        let lowest = ends().fold(f64::INFINITY, f64::min);
        let span = if most > lowest { most - lowest } else { 1.0 };
        let y = |value: f64| (value - lowest) / span * 0.9 + 0.05;
        let count = float_of(panel.points.len());
        let x = |column: usize| (float_of(column) + 0.5) / count;
        let points = || panel.points.iter().enumerate();
        if let Some(last) = panel.points.last() {
            svg.level(
                y(last.center),
                "center",
                &format!("centre {:.places$} {unit}", last.center),
            );
            svg.line(
                "limit",
                points().map(|(column, point)| (x(column), y(point.upper))),
            );
            svg.level(
                y(last.upper),
                "none",
                &format!("upper {:.places$} {unit}", last.upper),
            );
            if let Some(lower) = last.lower {
                let lowers =
                    points().filter_map(|(column, point)| Some((x(column), y(point.lower?))));
                svg.line("limit", lowers);
                svg.level(y(lower), "none", &format!("lower {lower:.places$} {unit}"));
            }
        }
        svg.line(
            "run",
            points().map(|(column, point)| (x(column), y(point.value))),
        );
        for (column, point) in points() {
            let number = panel.first + column;
            let words: Vec<&str> = signals
                .iter()
                .filter(|signal| signal.at == number)
                .filter_map(|signal| rule(signal.rule))
                .map(|rule| rule.words)
                .collect();
            let words = (!words.is_empty()).then(|| words.join("; "));
            svg.point(x(column), y(point.value), words.as_deref());
        }
        let first = float_of(panel.first);
        let numbers = scale::ticks(first - 0.5, first + count - 0.5);
        let numbers: Vec<_> = numbers.into_iter().filter(scale::Tick::is_whole).collect();
        svg.axis_below(&numbers, &chart.each());
        let margin = span * 0.05 / 0.9;
        let values = scale::ticks(lowest - margin, most + margin);
        svg.axis_left(&values, &format!("{} in {unit}", panel.words));
    }
    svg.finish()
}
