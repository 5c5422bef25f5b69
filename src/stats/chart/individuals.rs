//! Individuals and moving range.
//!
//! ```text
//! individuals:   mean ± 3 sigma,  sigma = mean moving range / d2(2)
//! moving range:  D3 sigma d2 .. D4 sigma d2  about  sigma d2
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.2 (which uses d2 = 1.128; ours is exact).

use super::points::{baseline, common_size, joined, moving_ranges};
use super::{Chart, ChartKind, Input, Panel};
use crate::stats::Undefined;
use crate::stats::constants::Constants;

pub(super) const CHART: ChartKind = ChartKind {
    name: "individuals",
    words: "single readings and the distance between neighbours",
    of_subgroups: false,
    panels,
};

fn panels(input: &Input<'_>) -> Result<Chart, Undefined> {
    if common_size(input.groups)? != 1 {
        return Err(Undefined::NotApplicable {
            why: "the readings are in subgroups",
        });
    }
    let baseline = baseline(input)?;
    let all = joined(input.groups)?;
    let of_two = Constants::new(2)?;
    let (lower, upper) = of_two.d3_d4();
    let (reach, range) = (3.0 * baseline.sigma, baseline.sigma * of_two.d2);
    let center = baseline.center;
    let singles = Panel::level(
        "individuals",
        "single readings",
        all.values(),
        (center - reach, center, center + reach),
    );
    let ranges = moving_ranges(&all);
    let ranges = Panel::level(
        "moving_range",
        "distance to the reading before",
        ranges.into_iter().map(|range| all.summary().in_unit(range)),
        (lower * range, range, upper * range),
    );
    Ok(Chart {
        baseline,
        panels: vec![singles.of_independent_points(), ranges.beginning_at(2)],
    })
}
