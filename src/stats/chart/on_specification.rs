//! Control limits on the specification, for a process that is better than it must be.

use super::{Chance, Chart, Panel, Point, Reach};
use crate::stats::Undefined;
use crate::stats::distribution::quantile;

/// The chart with the limits of its main panel at the specification, and the other panels as they were.
///
/// ```text
/// upper - (z(1-δ) - 3/√n) sigma,   lower + (z(1-δ) - 3/√n) sigma
/// ```
///
/// `δ` is the share outside a limit that is tolerated. A point beyond shows that more is outside: while it is not, a point is
/// beyond in at most 0.135 %. Of one limit there is one such line, and the centre stays that of the process. Only points beyond a limit are signals. For normal readings with the standard deviation of the
/// baseline. Source: modified control limits, Montgomery 2013, 10.2, from memory.
///
/// # Errors
///
/// [`Undefined::NoLimits`] without a limit, [`Undefined::NotApplicable`] of a chart that uses earlier points, and if no
/// mean keeps so small a share outside; [`Undefined::OutOfRange`] unless `δ` is between 0 and 1.
pub fn on_specification(
    mut chart: Chart<'_>,
    ends: (Option<f64>, Option<f64>),
    share: f64,
) -> Result<Chart<'_>, Undefined> {
    let (lower, upper) = ends;
    if lower.or(upper).is_none() {
        return Err(Undefined::NoLimits);
    }
    let far = -quantile(share)? * chart.baseline.sigma;
    let main = chart.panels.first();
    let main = main
        .filter(|panel| panel.independent)
        .ok_or(Undefined::NotApplicable {
            why: "each point depends on earlier ones",
        })?;
    let moved = move |point: Point| {
        // Three standard deviations of this point.
        let inward = far - point.upper.map_or(0.0, |upper| upper - point.center);
        let middle = lower.zip(upper);
        Point {
            value: point.value,
            center: middle.map_or(point.center, |(lower, upper)| f64::midpoint(lower, upper)),
            lower: lower.map(|lower| lower + inward),
            upper: upper.map(|upper| upper - inward),
        }
    };
    if lower
        .zip(upper)
        .is_some_and(|(lower, upper)| 2.0 * far > upper - lower)
    {
        return Err(Undefined::NotApplicable {
            why: "the spread is too wide: no mean keeps so small a share outside",
        });
    }
    let (name, words, count) = (main.name, main.words, main.len());
    let first = chart.panels.remove(0);
    let panel = Panel::of(name, words, count, move || first.points().map(moved));
    chart.panels.insert(
        0,
        Panel {
            reach: Reach::default(),
            ..panel
        },
    );
    chart.chance = Chance::default();
    Ok(chart)
}
