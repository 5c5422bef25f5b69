//! Exponentially weighted moving average chart: detects small lasting shifts sooner.

use super::points::baseline;
use super::{Chart, ChartKind, Input, Panel, Point};
use crate::stats::Undefined;

pub(super) const CHART: ChartKind = ChartKind {
    name: "ewma",
    words: "exponentially weighted moving average (EWMA)",
    of_subgroups: false,
    panels,
};

fn panels<'g>(input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let groups = input.groups;
    let baseline = baseline(input)?;
    let memory = input.memory;
    let center = memory.target.unwrap_or(baseline.center);
    let levels = Levels::new(center, baseline.point_sigma(), memory.weight, memory.width)?;
    Ok(Chart::new(
        baseline,
        vec![Panel::of(
            "ewma",
            "exponentially weighted moving average",
            groups.len(),
            move || levels.of(groups.means()),
        )],
    ))
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
    let levels = Levels::new(center, sigma, weight, width)?;
    Ok(levels.of(values.iter().copied()).collect())
}

/// What [`ewma`] computes with.
#[derive(Debug, Clone, Copy)]
struct Levels {
    center: f64,
    sigma: f64,
    weight: f64,
    width: f64,
}

impl Levels {
    fn new(center: f64, sigma: f64, weight: f64, width: f64) -> Result<Self, Undefined> {
        let out = |what| Err(Undefined::OutOfRange { what });
        if !(weight > 0.0 && weight <= 1.0) {
            return out("the weight of the newest point");
        }
        if !(width > 0.0 && sigma > 0.0) {
            return out("the width of the control limits");
        }
        Ok(Self {
            center,
            sigma,
            weight,
            width,
        })
    }

    fn of(self, values: impl Iterator<Item = f64>) -> impl Iterator<Item = Point> {
        let Self {
            center,
            sigma,
            weight,
            width,
        } = self;
        let keep = 1.0 - weight;
        let (mut level, mut forgotten) = (center, 1.0);
        values.map(move |value| {
            level = weight * value + keep * level;
            forgotten *= keep * keep;
            let reach = width * sigma * (weight / (2.0 - weight) * (1.0 - forgotten)).sqrt();
            Point {
                value: level,
                center,
                lower: Some(center - reach),
                upper: Some(center + reach),
            }
        })
    }
}
