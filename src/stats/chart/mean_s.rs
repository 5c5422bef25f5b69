//! Chart of means and standard deviations of subgroups.
//!
//! ```text
//! means:                grand mean ± A3 · mean sd    = ± 3 sigma / √n,  sigma = mean sd / c4
//! standard deviations:  B3 · mean sd .. B4 · mean sd
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.1, from memory; constants checked against a table.

use super::points::baseline;
use super::{Chart, ChartKind, Input, Panel};
use crate::stats::Undefined;
use crate::stats::constants::Constants;

pub(super) const CHART: ChartKind = ChartKind {
    name: "mean_s",
    words: "means and standard deviations of subgroups",
    of_subgroups: true,
    panels,
};

fn panels<'g>(input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let groups = input.groups;
    let constants = Constants::new(groups.size()?)?;
    let baseline = baseline(input)?;
    let (center, sd) = (baseline.center, baseline.sigma * constants.c4);
    let reach = constants.a3() * sd;
    let (lower, upper) = constants.b3_b4();
    // Each has a value, so that the panel below leaves none out.
    groups.sds().try_for_each(|sd| sd.map(drop))?;
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
                "s",
                "standard deviations of subgroups",
                groups.len(),
                (lower * sd, sd, upper * sd),
                move || groups.sds().filter_map(Result::ok),
            ),
        ],
    ))
}
