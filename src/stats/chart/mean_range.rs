//! Chart of means and ranges of subgroups.
//!
//! ```text
//! means:   grand mean ± A2 · mean range       = ± 3 sigma / √n,  sigma = mean range / d2
//! ranges:  D3 · mean range .. D4 · mean range
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.1, from memory; constants checked against a table.

use super::points::{grand_mean, mean_of, positive, taken};
use super::{Baseline, Chart, ChartKind, Input, Panel};
use crate::stats::Undefined;
use crate::stats::constants::Constants;

pub(super) const CHART: ChartKind = ChartKind {
    name: "mean_range",
    words: "means and ranges of subgroups",
    of_subgroups: true,
    panels,
};

fn panels<'g>(input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let groups = input.groups;
    let size = groups.size()?;
    let constants = Constants::new(size)?;
    let baseline = if let Some(kept) = input.kept {
        kept
    } else {
        let points = taken(input);
        let mean_range = mean_of(groups.ranges().take(points), groups.scale())?;
        Baseline {
            center: grand_mean(groups, points)?,
            sigma: positive(mean_range, points * size)? / constants.d2,
            size,
            points,
            given: false,
        }
    };
    let (center, range) = (baseline.center, baseline.sigma * constants.d2);
    let reach = constants.a2() * range;
    let (lower, upper) = constants.d3_d4();
    Ok(Chart::new(
        baseline,
        vec![
            Panel::level(
                "mean",
                "means of subgroups",
                groups.len(),
                (center - reach, center, center + reach),
                move || groups.means(),
            )
            .of_independent_points(),
            Panel::level(
                "range",
                "ranges of subgroups",
                groups.len(),
                (lower * range, range, upper * range),
                move || groups.ranges().map(|range| groups.in_unit(range)),
            ),
        ],
    ))
}
