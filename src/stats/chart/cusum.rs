//! Cumulative sum chart: detects small lasting shifts, and when they began.

use super::points::baseline;
use super::{Chart, ChartKind, Input, Panel, Point, Reach};
use crate::stats::Undefined;

pub(super) const CHART: ChartKind = ChartKind {
    name: "cusum",
    words: "cumulative sums (CUSUM)",
    of_subgroups: false,
    panels,
    of_bases: None,
};

fn panels(input: &Input<'_>) -> Result<Chart, Undefined> {
    let baseline = baseline(input)?;
    let memory = input.memory;
    let sigma = baseline.point_sigma();
    let decision = memory.decision * sigma;
    let (above, below) = cusum(
        &input.groups.means()?,
        memory.target.unwrap_or(baseline.center),
        memory.allowance * sigma,
        decision,
    )?;
    let panel = |name, words, sums: Vec<f64>| {
        let point = |value| Point {
            value,
            center: 0.0,
            lower: None,
            upper: decision,
        };
        Panel {
            name,
            words,
            first: 1,
            points: sums.into_iter().map(point).collect(),
            independent: false,
            reach: Reach::default(),
        }
    };
    Ok(Chart::new(
        baseline,
        vec![
            panel("sum_above", "cumulative sum above target", above),
            panel("sum_below", "cumulative sum below target", below),
        ],
    ))
}

/// The cumulative sums above and below `target`.
///
/// ```text
/// above: Sᵢ = max(0, Sᵢ₋₁ + xᵢ - target - k);  below: Sᵢ = max(0, Sᵢ₋₁ + target - k - xᵢ);  S₀ = 0
/// ```
///
/// A sum above `decision` is a signal. All values are in the unit of the readings. Source: NIST/SEMATECH e-Handbook
/// 6.3.2.3; checked against its example.
///
/// # Errors
///
/// [`Undefined::OutOfRange`] if the allowance is negative, or the decision interval is not positive.
pub fn cusum(
    values: &[f64],
    target: f64,
    allowance: f64,
    decision: f64,
) -> Result<(Vec<f64>, Vec<f64>), Undefined> {
    if !(allowance >= 0.0 && decision > 0.0) {
        return Err(Undefined::OutOfRange {
            what: "the allowance or the decision interval",
        });
    }
    let sums = |sign: f64| {
        let mut sum = 0.0_f64;
        let next = |value: &f64| {
            sum = (sum + sign * (value - target) - allowance).max(0.0);
            sum
        };
        values.iter().map(next).collect()
    };
    Ok((sums(1.0), sums(-1.0)))
}
