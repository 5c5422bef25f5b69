//! Exponentially weighted moving average chart: detects small lasting shifts sooner.

use super::points::baseline;
use super::{Chart, ChartKind, Input, Panel, Point, Reach};
use crate::stats::Undefined;

pub(super) const CHART: ChartKind = ChartKind {
    name: "ewma",
    words: "exponentially weighted moving average (EWMA)",
    of_subgroups: false,
    panels,
    of_bases: None,
};

fn panels(input: &Input<'_>) -> Result<Chart, Undefined> {
    let baseline = baseline(input)?;
    let memory = input.memory;
    let points = ewma(
        &input.groups.means()?,
        memory.target.unwrap_or(baseline.center),
        baseline.point_sigma(),
        memory.weight,
        memory.width,
    )?;
    let panel = Panel {
        name: "ewma",
        words: "exponentially weighted moving average",
        first: 1,
        points,
        independent: false,
        reach: Reach::default(),
    };
    Ok(Chart::new(baseline, vec![panel]))
}

/// Weighted means of `values` around `center`, with the control limits of each point.
///
/// ```text
/// zᵢ = λ xᵢ + (1 - λ) zᵢ₋₁,  z₀ = center
/// limits: center ± L sigma √( λ/(2-λ) · (1 - (1-λ)²ⁱ) )
/// ```
///
/// `sigma` is the standard deviation of a value, `weight` is λ, `width` is L. The handbook draws the limits to which
/// this formula converges. Source: NIST/SEMATECH e-Handbook 6.3.2.4; checked against its example.
///
/// # Errors
///
/// [`Undefined::OutOfRange`] unless λ is above 0 and at most 1, and L and sigma are positive.
pub fn ewma(
    values: &[f64],
    center: f64,
    sigma: f64,
    weight: f64,
    width: f64,
) -> Result<Vec<Point>, Undefined> {
    let out = |what| Err(Undefined::OutOfRange { what });
    if !(weight > 0.0 && weight <= 1.0) {
        return out("the weight of the newest point");
    }
    if !(width > 0.0 && sigma > 0.0) {
        return out("the width of the control limits");
    }
    let keep = 1.0 - weight;
    let (mut level, mut forgotten) = (center, 1.0);
    let points = values.iter().map(|value| {
        level = weight * value + keep * level;
        forgotten *= keep * keep;
        let reach = width * sigma * (weight / (2.0 - weight) * (1.0 - forgotten)).sqrt();
        Point {
            value: level,
            center,
            lower: Some(center - reach),
            upper: center + reach,
        }
    });
    Ok(points.collect())
}
