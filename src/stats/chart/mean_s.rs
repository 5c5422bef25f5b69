//! Chart of means and standard deviations of subgroups, which may differ in size.
//!
//! ```text
//! means:                grand mean ± 3 sigma / √nᵢ        (A3 · mean sd, where all have the same size)
//! standard deviations:  c4 sigma ± 3 sigma √(1 - c4²), not under 0, each with c4 of its size     (B3, B4)
//! sigma = mean( sdᵢ / c4(nᵢ) )
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.1, from memory; constants checked against a table.

use super::points::{grand_mean, positive, taken};
use super::{Baseline, Chart, ChartKind, Groups, Input, Panel, Point};
use crate::stats::Undefined;
use crate::stats::constants::Constants;
use crate::stats::sample::float_of;

pub(super) const CHART: ChartKind = ChartKind {
    name: "mean_s",
    words: "means and standard deviations of subgroups",
    of_subgroups: true,
    panels,
};

fn panels<'g>(input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let groups = input.groups;
    // Each has constants and a value, so that the panels below leave none out.
    groups
        .sizes()
        .try_for_each(|size| Constants::new(size).map(drop))?;
    groups.sds().try_for_each(|sd| sd.map(drop))?;
    let baseline = match input.kept {
        Some(kept) => kept,
        None => own(groups, taken(input))?,
    };
    let constants = move || groups.sizes().filter_map(|size| Constants::new(size).ok());
    let (center, sigma) = (baseline.center, baseline.sigma);
    let mean = move |(value, of): (f64, Constants)| {
        let reach = of.a3() * of.c4 * sigma;
        Point {
            value,
            center,
            lower: Some(center - reach),
            upper: Some(center + reach),
        }
    };
    let spread = move |(value, of): (f64, Constants)| {
        let sd = sigma * of.c4;
        let (lower, upper) = of.b3_b4();
        Point {
            value,
            center: sd,
            lower: Some(lower * sd),
            upper: Some(upper * sd),
        }
    };
    let sds = move || groups.sds().filter_map(Result::ok).zip(constants());
    Ok(Chart::new(
        baseline,
        vec![
            Panel::of("mean", "means of subgroups", groups.len(), move || {
                groups.means().zip(constants()).map(mean)
            })
            .of_independent_points(),
            Panel::of(
                "s",
                "standard deviations of subgroups",
                groups.len(),
                move || sds().map(spread),
            ),
        ],
    ))
}

/// The baseline of the first `points`.
fn own(groups: &Groups, points: usize) -> Result<Baseline, Undefined> {
    let mut sum = 0.0;
    let mut readings = 0;
    for (sd, size) in groups.sds().zip(groups.sizes()).take(points) {
        sum += sd? / Constants::new(size)?.c4;
        readings += size;
    }
    if points == 0 {
        return Err(Undefined::TooFewGroups { got: 0, want: 1 });
    }
    Ok(Baseline {
        center: grand_mean(groups, points)?,
        sigma: positive(sum / float_of(points), readings)?,
        size: groups.size_or_several(),
        points,
        given: false,
    })
}
