//! Cumulative sum chart: detects small lasting shifts, and when they began.

use super::points::baseline;
use super::{Chart, ChartKind, Input, Panel, Point};
use crate::stats::Undefined;

pub(super) const CHART: ChartKind = ChartKind {
    name: "cusum",
    words: "cumulative sums (CUSUM)",
    of_subgroups: false,
    panels,
};

fn panels<'g>(input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let groups = input.groups;
    let baseline = baseline(input)?;
    let memory = input.memory;
    let sigma = baseline.point_sigma();
    let decision = memory.decision * sigma;
    let target = memory.target.unwrap_or(baseline.center);
    let sums = Sums::new(target, memory.allowance * sigma, decision)?;
    let panel = |name, words, sign| {
        Panel::of(name, words, groups.len(), move || {
            sums.of(groups.means(), sign).map(move |value| Point {
                value,
                center: 0.0,
                lower: None,
                upper: Some(decision),
            })
        })
    };
    Ok(Chart::new(
        baseline,
        vec![
            panel("sum_above", "cumulative sum above target", 1.0),
            panel("sum_below", "cumulative sum below target", -1.0),
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
    let sums = Sums::new(target, allowance, decision)?;
    let of = |sign| sums.of(values.iter().copied(), sign).collect();
    Ok((of(1.0), of(-1.0)))
}

/// What [`cusum`] computes with.
#[derive(Debug, Clone, Copy)]
struct Sums {
    target: f64,
    allowance: f64,
}

impl Sums {
    fn new(target: f64, allowance: f64, decision: f64) -> Result<Self, Undefined> {
        if !(allowance >= 0.0 && decision > 0.0) {
            return Err(Undefined::OutOfRange {
                what: "the allowance or the decision interval",
            });
        }
        Ok(Self { target, allowance })
    }

    /// The sums above the target, or below it where `sign` is -1.
    fn of(self, values: impl Iterator<Item = f64>, sign: f64) -> impl Iterator<Item = f64> {
        let mut sum = 0.0_f64;
        values.map(move |value| {
            sum = (sum + sign * (value - self.target) - self.allowance).max(0.0);
            sum
        })
    }
}
