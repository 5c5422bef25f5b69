//! Chart of individual readings and moving ranges.
//!
//! ```text
//! individuals:   mean ± 3 sigma,  sigma = mean moving range / d2(2)
//! moving range:  D3 sigma d2 .. D4 sigma d2  about  sigma d2
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.2 (which uses d2 = 1.128; ours is exact).

use super::points::{baseline, moving_ranges};
use super::{Chart, ChartKind, Input, Panel};
use crate::stats::Undefined;
use crate::stats::constants::Constants;

pub(super) const CHART: ChartKind = ChartKind {
    name: "individuals",
    words: "single readings and moving ranges",
    of_subgroups: false,
    panels,
};

fn panels<'g>(input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let groups = input.groups;
    if groups.size()? != 1 {
        return Err(Undefined::NotApplicable {
            why: "the readings are in subgroups",
        });
    }
    let baseline = baseline(input)?;
    let of_two = Constants::new(2)?;
    let (lower, upper) = of_two.d3_d4();
    let (reach, range) = (3.0 * baseline.sigma, baseline.sigma * of_two.d2);
    let center = baseline.center;
    let singles = Panel::level(
        "individuals",
        "single readings",
        groups.len(),
        (center - reach, center, center + reach),
        move || groups.bases().map(|base| groups.in_unit(base)),
    );
    let ranges = Panel::level(
        "moving_range",
        "moving ranges",
        groups.len() - 1,
        (lower * range, range, upper * range),
        move || moving_ranges(groups.bases()).map(|range| groups.in_unit(range)),
    );
    Ok(Chart::new(
        baseline,
        vec![singles.of_independent_points(), ranges.beginning_at(2)],
    ))
}
